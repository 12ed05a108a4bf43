package derivation

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
	"hatchwright/service/tooling"
)

// longestPanel is the aspect up to which a panel is worked out as it is: a plate
// of 20 to 1 is a strip to 1e-12 already, so a longer one is cut to this.
const longestPanel = 100.0

// panel returns the span that the lid bridges: the trunk's outline at the seat,
// simply supported. A circle is itself, everything else its smallest enclosing
// rectangle along one of its edges, which is never stiffer. The skirt is ignored,
// which is conservative.
func panel(c *part.Configuration, g part.Geometry) laminate.Panel {
	o := g.Outlines.Trunk
	if o.IsZero() {
		o = g.Outlines.ClearOpening
	}
	if c.Outline.Shape == part.Circle {
		return laminate.Panel{Radius: o.Length() / 2}
	}
	a, b := o.Length(), o.Width()
	if c.Outline.Turns() {
		for _, s := range o.Segments() {
			if s.Kind != outline.Line {
				continue
			}
			turned := o.Rotate(-math.Atan2(s.To.Y-s.From.Y, s.To.X-s.From.X) * 180 / math.Pi)
			if l, w := turned.Length(), turned.Width(); l*w < a*b*(1-sameArea) {
				a, b = l, w
			}
		}
	}
	a, b = math.Max(a, b), math.Min(a, b)
	return laminate.Panel{A: math.Min(a, longestPanel*b), B: b}
}

// sameArea keeps float64 noise from picking a turned rectangle over a straight one.
const sameArea = 1e-9

// demand turns the duty into the laminate's. The kind of craft is not asked for:
// of the three of the standard the one with the largest pressure is taken.
func demand(d part.Duty, p laminate.Panel) (laminate.Demand, error) {
	out := laminate.Demand{Duty: laminate.Duty(d.Kind)}
	switch d.Kind {
	case part.WorkingDeck:
		worst := -1.0
		for _, craft := range []laminate.Craft{laminate.MotorPlaning, laminate.MotorDisplacement, laminate.Sailing} {
			deck := laminate.Deck{Craft: craft, Category: laminate.Category(d.Category), LWL: d.WaterlineLength / millimetersPerMeter, Displacement: d.Displacement}
			r, err := deck.Pressure(p.Long(), p.Short())
			if err != nil {
				return out, err
			}
			if r.Pressure > worst {
				worst, out.Deck = r.Pressure, &deck
			}
		}
	case part.Custom:
		out.Pressure, out.Force, out.Radius = d.Pressure, d.PointLoad, d.PointRadius
		out.Limit = 1 / d.DeflectionFactor
	}
	return out, nil
}

// cases returns the loads on the lid, or the finding that says why there are none.
func cases(d part.Duty, p laminate.Panel) ([]laminate.Case, *finding.Finding) {
	if d.Kind == part.WorkingDeck && d.WaterlineLength > longestWaterline {
		f := finding.Finding{
			Code: "duty.beyond_standard", Severity: finding.Error, Pointer: "/duty/waterline_length",
			Measured: quantity.Length(d.WaterlineLength), Limit: quantity.Length(longestWaterline),
			Mends: []finding.Mend{finding.AtMost("/duty/waterline_length", quantity.Length(longestWaterline))}, Source: laminate.Basis + ": scope",
		}.Say("The deck pressure of %s is for craft up to %v; a waterline of %v is beyond it.", laminate.Basis, quantity.Length(longestWaterline), quantity.Length(d.WaterlineLength))
		return nil, &f
	}
	if d.Kind == part.Custom && d.Pressure == 0 && d.PointLoad == 0 {
		hand := quantity.Of(laminate.HandForce, quantity.Newton)
		f := finding.Finding{
			Code: "duty.no_load", Severity: finding.Error, Pointer: "/duty/point_load", Measured: quantity.Of(0, quantity.Newton), Limit: hand,
			Mends: []finding.Mend{finding.AtLeast("/duty/point_load", hand)}, Source: "shop rule: a lid bears at least a hand",
		}.Say("A custom duty needs a pressure or a point load; a lid bears at least a hand, %v.", hand)
		return nil, &f
	}
	of, err := demand(d, p)
	if err == nil {
		var list []laminate.Case
		if list, err = laminate.Cases(of, p); err == nil {
			return list, nil
		}
	}
	f := finding.Finding{
		Code: "duty.refused", Severity: finding.Error, Pointer: "/duty/kind", Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count),
		Source: laminate.Basis,
	}.Say("No load follows from this duty: %v.", err)
	return nil, &f
}

// longestWaterline is the scope of the deck pressure, mm (ISO 12215-5:2008: craft
// up to 24 m).
const longestWaterline = 24_000.0

// memo keeps what was worked out for one request: rules are asked hundreds of
// times while mends are solved, and most changes leave panel and stack alone.
type memo struct {
	checks  map[checkKey][]laminate.Result
	choices map[choiceKey]selected
	plans   tooling.Plans
	// brief leaves out how near a search without a result came: while mends are
	// solved nobody reads it.
	brief bool
}

type checkKey struct {
	panel laminate.Panel
	duty  part.Duty
	stack string
}

func newMemo() *memo {
	return &memo{checks: map[checkKey][]laminate.Result{}, choices: map[choiceKey]selected{}, plans: tooling.Plans{}}
}

// keys names the stack: plies and core from the mold face, material keys.
func (l *Laminate) keys() []string {
	var out []string
	for i, r := range l.Rows {
		if l.Core != nil && i == l.CoreAt {
			out = append(out, l.Core.Key)
		}
		out = append(out, r.Key)
	}
	return out
}

// check holds the lid's stack against the loads.
func (e *Engine) check(l *Laminate, p laminate.Panel, d part.Duty, list []laminate.Case, m *memo) ([]laminate.Result, error) {
	key := checkKey{p, d, l.Resin.Key + "|" + strings.Join(l.keys(), "|")}
	if got, ok := m.checks[key]; ok {
		return got, nil
	}
	out, err := laminate.Check(l.Stack, p, list, e.docs.Profile.Strength.Rules())
	if err != nil {
		return nil, err
	}
	m.checks[key] = out
	return out, nil
}

// ruleStrength rules on the lid's strength, once its shape stands: checks go into
// s.lid.
func (e *Engine) ruleStrength(s *state) []finding.Finding {
	if s.geometry.Stage < part.StageWhole || len(s.lid.Stages) == 0 { // no stages: no laminate, which was told
		return nil
	}
	c := &s.config
	p := panel(c, s.geometry)
	s.lid.Panel = p
	loads, f := cases(c.Duty, p)
	if f != nil {
		return []finding.Finding{*f}
	}
	results, err := e.check(&s.lid, p, c.Duty, loads, s.memo)
	if err != nil {
		return []finding.Finding{finding.Finding{
			Code: "laminate.not_checked", Severity: finding.Error, Pointer: lidPointer(c), Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count), Source: laminate.Basis,
		}.Say("The lid's strength cannot be worked out: %v.", err)}
	}
	s.lid.Checks = results
	var list []finding.Finding
	worst := results[laminate.Worst(results)]
	if u := worst.Utilization(); !(u <= 1) {
		list = append(list, e.overloaded(c, p, worst))
	}
	deep := -1
	for i, r := range results {
		if r.LargeDeflection && (deep < 0 || r.Deflection > results[deep].Deflection) {
			deep = i
		}
	}
	if deep >= 0 {
		r := results[deep]
		half := quantity.Length(s.lid.Thickness / 2)
		list = append(list, finding.Finding{
			Code: "laminate.large_deflection", Severity: finding.Note, Pointer: lidPointer(c), Measured: quantity.Length(r.Deflection), Limit: half,
			Source: "small-deflection plate theory holds to about half the thickness",
		}.Say("Under %q the lid bends by %v, more than half its thickness (%v): the figures given are then too large, on the safe side.", r.Case.Name, quantity.Length(r.Deflection), half))
	}
	return append(list, e.ruleMinimumLid(s)...)
}

func lidPointer(c *part.Configuration) string { return laminatePointer(c, part.Lid) }

// laminatePointer is where the plies of a part are chosen.
func laminatePointer(c *part.Configuration, of part.Part) string {
	if c.Laminate.Schedule == part.ScheduleListed {
		return "/laminate/" + string(of)
	}
	return "/laminate/schedule"
}

func (e *Engine) overloaded(c *part.Configuration, p laminate.Panel, worst laminate.Result) finding.Finding {
	f := finding.Finding{
		Code: "laminate.overloaded", Severity: finding.Error, Pointer: lidPointer(c),
		Measured: quantity.Of(worst.Utilization(), quantity.Ratio), Limit: quantity.Of(1, quantity.Ratio),
		Source: fmt.Sprintf("plate theory, simply supported; %s annex C; load: %s", laminate.Basis, worst.Case.Source),
	}
	if c.Laminate.Schedule != part.ScheduleAuto {
		f.Mends = append(f.Mends, finding.Choose("/laminate/schedule", part.ScheduleAuto))
	}
	if c.Laminate.Schedule == part.ScheduleStandard {
		for _, k := range e.docs.Materials.Cores {
			if k.Key != c.Lid.Core {
				f.Mends = append(f.Mends, finding.Choose("/lid/core", k.Key))
			}
		}
	}
	share := quantity.Of(100*worst.Utilization(), quantity.Percent)
	if p.Radius > 0 {
		return f.Say("Under %q the lid, over a round opening of %v, is used to %v of what is allowed; %s governs.", worst.Case.Name, quantity.Length(2*p.Radius), share, worst.Governing)
	}
	return f.Say("Under %q the lid, over an opening of %v by %v, is used to %v of what is allowed; %s governs.", worst.Case.Name, quantity.Length(p.Long()), quantity.Length(p.Short()), share, worst.Governing)
}

// ruled reports whether the duty says how long the craft is, so that the least
// laminates of the standard apply.
func ruled(d part.Duty) bool {
	return (d.Kind == part.Step || d.Kind == part.WorkingDeck) && d.WaterlineLength <= longestWaterline
}

// leastSource names the standard's least laminates.
const leastSource = laminate.Basis + " table 15 and equations 44 and 45, least laminates of a deck"

// ruleMinimumLid holds the lid against the standard's least laminates.
func (e *Engine) ruleMinimumLid(s *state) []finding.Finding {
	c, l := &s.config, &s.lid
	if !ruled(c.Duty) {
		return nil
	}
	lwl := c.Duty.WaterlineLength / millimetersPerMeter
	auto := func(f *finding.Finding) {
		if c.Laminate.Schedule != part.ScheduleAuto {
			f.Mends = append(f.Mends, finding.Choose("/laminate/schedule", part.ScheduleAuto))
		}
	}
	if l.Core == nil {
		return minimum(lidPointer(c), l.Thickness, lwl, part.Lid, auto)
	}
	outer, inner := laminate.MinDeckSkins(lwl)
	var list []finding.Finding
	for _, side := range []struct {
		name  string
		plies []laminate.Ply
		least float64
	}{{"outer", l.Stack.Outer, outer}, {"inner", l.Stack.Inner, inner}} {
		glass := 0.0
		for _, p := range side.plies {
			glass += p.GlassMass()
		}
		if glass < side.least-glassSlack {
			f := finding.Finding{
				Code: "laminate." + side.name + "_skin_thin", Severity: finding.Caution, Pointer: lidPointer(c),
				Measured: quantity.Of(glass, quantity.Kilogram), Limit: quantity.Of(side.least, quantity.Kilogram), Source: leastSource,
			}.Say("The lid's %s skin has %v of dry glass per square meter; a deck of this craft has at least %v.", side.name, quantity.Of(glass, quantity.Kilogram), quantity.Of(side.least, quantity.Kilogram))
			auto(&f)
			list = append(list, f)
		}
	}
	return list
}

// glassSlack is far below what a scale shows and above float64 noise, kg/m2.
const glassSlack = 1e-9

func minimum(pointer string, thickness, lwl float64, of part.Part, mend func(*finding.Finding)) []finding.Finding {
	least := laminate.MinDeckThickness(lwl)
	if thickness >= least-measureSlack {
		return nil
	}
	f := finding.Finding{
		Code: "laminate.thin", Severity: finding.Caution, Pointer: pointer, Measured: quantity.Length(thickness), Limit: quantity.Length(least), Source: leastSource,
	}.Say("The %s's laminate is %v thick; a solid deck of a craft with a waterline of %v has at least %v.", of, quantity.Length(thickness), quantity.Length(lwl*millimetersPerMeter), quantity.Length(least))
	mend(&f)
	return []finding.Finding{f}
}

// measureSlack is how far a measured length may miss its limit and still count as
// on it, mm: above float64 noise, a thousandth of the wire's smallest step.
const measureSlack = 1e-6

// ruleTemperature rules on resin, gelcoat and filler at a temperature, °C: outside
// a product's own table nothing is laminated.
func (e *Engine) ruleTemperature(resin shop.Resin, gelcoat shop.Gelcoat, t float64) []finding.Finding {
	var list []finding.Finding
	if resin.Key != "" {
		r := resin.Material(e.docs.Materials.Catalyst)
		_, _, err := r.Dose(r.Key, t)
		if err == nil {
			_, err = r.CureHours(t)
		}
		if f := outside(err, "laminate", "/laminate/resin"); f != nil {
			for _, other := range e.docs.Materials.Resins {
				if other.Key != r.Key {
					f.Mends = append(f.Mends, finding.Choose("/laminate/resin", other.Key))
				}
			}
			list = append(list, *f)
		}
	}
	if gelcoat.Key != "" {
		g := gelcoat.Material(e.docs.Materials.Catalyst)
		_, _, err := g.Dose(g.Key, t)
		if f := outside(err, "gelcoat", "/gelcoat/color"); f != nil {
			for _, other := range e.docs.Materials.Gelcoats {
				if other.Color != gelcoat.Color {
					f.Mends = append(f.Mends, finding.Choose("/gelcoat/color", other.Color))
				}
			}
			list = append(list, *f)
		}
	}
	_, err := e.docs.Materials.Fillers[0].Material().Mix(0, e.mixing(t))
	if f := outside(err, "mold.filler", "/receiver/root_radius"); f != nil {
		list = append(list, *f)
	}
	return list
}

// outside turns an error about a product at a temperature into a finding; nil for
// no error.
func outside(err error, what, pointer string) *finding.Finding {
	if err == nil {
		return nil
	}
	f := finding.Finding{Severity: finding.Error, Pointer: pointer, Source: "the product's own table"}
	var wrong *laminate.TemperatureError
	if !errors.As(err, &wrong) {
		f.Code = what + ".catalyst"
		f.Measured, f.Limit = quantity.Of(0, quantity.Percent), quantity.Of(0, quantity.Percent)
		var dose *laminate.CatalystError
		if !errors.As(err, &dose) {
			f = f.Say("There is no catalyst percent to work with: %v.", err)
			return &f
		}
		percent := func(x float64) quantity.Value { return quantity.Of(x, quantity.Percent) }
		least, most, at := percent(dose.Least), percent(dose.Most), quantity.Of(dose.Temperature, quantity.Celsius)
		f.Measured, f.Limit = percent(dose.Percent), least
		switch {
		case dose.Percent > 0:
			if dose.Percent > dose.Most {
				f.Limit = most
			}
			f = f.Say("%q is set to %v of catalyst or hardener; it takes %v to %v.", dose.Product, f.Measured, least, most)
		case dose.TableMost == 0:
			f = f.Say("%q has no gel time at %v in its table: it is not to be worked there. Warm or cool the shop, or take another product.", dose.Product, at)
		default:
			f.Measured = percent(dose.TableMost)
			if dose.TableLeast > dose.Most {
				f.Measured, f.Limit = percent(dose.TableLeast), most
			}
			f = f.Say("%q takes %v to %v of catalyst; at %v its table has gel times of %v to %v: there is no dose to work with. Mend the table, or take another product.",
				dose.Product, least, most, at, percent(dose.TableLeast), percent(dose.TableMost))
		}
		return &f
	}
	f.Code, f.Limit = what+".too_cold", quantity.Of(wrong.Least, quantity.Celsius)
	if wrong.Temperature > wrong.Most {
		f.Code, f.Limit = what+".too_hot", quantity.Of(wrong.Most, quantity.Celsius)
	}
	f.Measured = quantity.Of(wrong.Temperature, quantity.Celsius)
	f = f.Say("Do not work %q at %v: its table runs from %v to %v. Warm or cool the shop, or take another product.", wrong.Product,
		f.Measured, quantity.Of(wrong.Least, quantity.Celsius), quantity.Of(wrong.Most, quantity.Celsius))
	return &f
}

// mixing returns the shop's settings for mixes at a temperature.
func (e *Engine) mixing(temperature float64) laminate.Shop {
	p := e.docs.Profile
	return laminate.Shop{
		Temperature: temperature, Waste: p.Waste.Resin, WetOutRate: p.Mixing.WetOutRate, SprayRate: p.Mixing.SprayRate, SpreadRate: p.Mixing.SpreadRate,
		Transfer: laminate.Transfer(p.Mixing.Transfer),
	}
}

// transfer is the share of the gelcoat that stays on the mold, as it is put on.
func transfer(g shop.Gelcoat, p *shop.Profile) float64 {
	if laminate.Transfer(p.Mixing.Transfer) == laminate.Brush {
		return laminate.DefaultTransferBrush
	}
	return g.TransferSpray
}
