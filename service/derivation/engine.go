package derivation

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"time"

	"hatchwright/service/bill"
	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
	"hatchwright/service/tooling"
)

// Engine works out derivations from one set of shop documents. It is safe for
// concurrent use.
type Engine struct {
	docs     shop.Documents
	shop     part.Shop
	sizes    part.Sizes
	stacker  *tooling.Stacker
	crib     *tooling.Crib
	calendar *schedule.Calendar
	centers  []schedule.Center
}

// Faults are what the documents have wrong that package shop does not know of: defaults
// of figures, the calendar, and rates of operations.
func Faults(p *shop.Profile) (out shop.Faults) {
	for _, m := range part.Defaults(p.Defaults).Misfits() {
		f := shop.OfProfile(shop.Below("/defaults", m.Pointer), m.Code, "%s", m.Message)
		f.Range = m.Range
		out = append(out, f)
	}
	_, err := routing.Calendar(p)
	out = append(out, shop.FaultsOf(err)...)
	return append(out, routing.Lacking(p)...)
}

// New prepares an engine. The error is shop.Faults, see Faults.
func New(d shop.Documents) (*Engine, error) {
	if faults := Faults(d.Profile); len(faults) > 0 {
		return nil, faults
	}
	e := &Engine{docs: d, sizes: part.Sizes{LargestSide: d.Profile.LargestSide, SmallestSide: d.Profile.SmallestSide,
		CoamingHeight: map[string]float64{}, BoltPitch: map[string]float64{}}}
	for word, t := range d.Profile.Tightness {
		e.sizes.CoamingHeight[word], e.sizes.BoltPitch[word] = t.CoamingHeight, t.BoltPitch
	}
	e.shop = part.Shop{Defaults: d.Profile.Defaults, Core: d.Profile.Standard.Core}
	e.shop.Panel = func(c *part.Configuration) float64 {
		lid, _, _ := choose(c, e.docs)
		return lid.Thickness
	}
	e.shop.Margin = func(c *part.Configuration, side float64, sides int) float64 {
		resin, _ := e.docs.Materials.Resin(c.Laminate.Resin)
		return tooling.FitMargin(side, sides, resin.Shrinkage, e.docs, e.crib)
	}
	for _, b := range d.Profile.Crib {
		if b.Kind == shop.Tapered {
			e.shop.Tapers = append(e.shop.Tapers, b.Draft)
		}
	}
	e.stacker = tooling.NewStacker(d.Profile.Sheets, tooling.DeepestStack)
	e.crib = tooling.NewCrib(d.Profile)
	var err error
	if e.centers, e.calendar, err = routing.Centers(d.Profile); err != nil {
		return nil, fmt.Errorf("shop %w", err)
	}
	return e, nil
}

// Documents returns the shop documents that the engine works from.
func (e *Engine) Documents() shop.Documents { return e.docs }

// Location returns the shop's time zone.
func (e *Engine) Location() *time.Location { return e.calendar.Location() }

// Complete fills in what the request leaves open.
func (e *Engine) Complete(r part.Request) part.Configuration { return part.Complete(r, e.shop) }

// Ruling is the word on a configuration.
type Ruling struct {
	Configuration part.Configuration
	Digest        string
	Revision      shop.Revision
	Verdict       finding.Verdict
	Findings      []finding.Finding
}

// Result is a ruling and, when the part can be made, all that follows from it.
type Result struct {
	Ruling
	Geometry part.Geometry
	Lid      Laminate
	Receiver Laminate
	Hardware []Placement
	tooling.Workshop
	Mixes    []Mix // of one hatch, at the shop's temperature
	Bill     bill.Bill
	LeadTime LeadTime
	Cautions []string
}

// Makeable reports whether the result goes beyond the ruling.
func (r *Result) Makeable() bool { return r.Verdict != finding.NotMakeable }

// Check rules on a request: verdict, findings and mends.
func (e *Engine) Check(r part.Request) Ruling {
	c := e.Complete(r)
	s := e.rule(&c)
	return e.judge(r, s)
}

// Derive does the whole work for a request whose work may start at the given
// instant. Errors are shop data that lacks what is needed.
func (e *Engine) Derive(r part.Request, start time.Time) (Result, error) {
	c := e.Complete(r)
	s := e.rule(&c)
	out := Result{Ruling: e.judge(r, s), Geometry: s.geometry, Lid: s.lid, Receiver: s.receiver, Hardware: s.hardware, Cautions: cautions()}
	if !out.Makeable() {
		return out, nil
	}
	err := s.geometry.Measure(&s.config)
	if err != nil {
		return out, fmt.Errorf("surfaces: %w", err)
	}
	out.Geometry = s.geometry
	if out.Workshop, err = tooling.Build(&s.config, s.geometry, e.docs, e.stacker, e.crib); err != nil {
		return out, fmt.Errorf("tooling: %w", err)
	}
	out.Receiver.fill(s.geometry.Receiver.Area, out.Mold(part.Receiver).FaceArea, 0)
	core := 0.0
	if out.Lid.Core != nil {
		if edge, _, ok := s.geometry.CoreEdge(&s.config); ok {
			core = edge.Area()
		}
	}
	out.Lid.fill(s.geometry.Lid.Area, out.Mold(part.Lid).FaceArea, core)
	if err = e.weigh(&out); err != nil {
		return out, err
	}
	if out.Mixes, _, err = e.Mixes(&out, e.docs.Profile.ShopTemperature); err != nil {
		return out, err
	}
	steps, err := e.Route(&out, 1)
	if err == nil {
		out.LeadTime, err = e.place(steps, start)
	}
	if f := beyondPlanning(err, c.Quantity, len(steps)); f != nil {
		out.Findings = append(out.Findings, *f)
		finding.Sort(out.Findings)
		out.Verdict = finding.Judge(out.Findings)
		return out, nil
	}
	if err != nil {
		return out, err
	}
	needs, err := e.needs(&out)
	if err != nil {
		return out, err
	}
	hours := labor(steps)
	if missing := bill.Missing(needs, hours, e.docs.Prices); len(missing) > 0 {
		for _, m := range missing {
			out.Findings = append(out.Findings, unpriced(m, "/pattern", nil))
		}
		finding.Sort(out.Findings)
		out.Verdict = finding.Judge(out.Findings)
		return out, nil
	}
	if out.Bill, err = bill.Make(needs, hours, int(c.Quantity), e.docs.Prices); err != nil {
		return out, err
	}
	timely := e.ruleRuns(steps, &c)
	if late := e.ruleNeededBy(&out); late != nil {
		timely = append(timely, *late)
	}
	if len(timely) > 0 {
		out.Findings = append(out.Findings, timely...)
		finding.Sort(out.Findings)
		out.Verdict = finding.Judge(out.Findings)
	}
	return out, nil
}

// state is what one pass of the rules leaves behind.
type state struct {
	config   part.Configuration
	geometry part.Geometry
	lid      Laminate
	receiver Laminate
	choice   []finding.Finding // on the choice of laminates alone
	findings []finding.Finding
	hardware []Placement
	shown    []string // the plies that an automatic schedule chose
	memo     *memo
}

// rule completes nothing and solves nothing: it says what the rules say of c.
func (e *Engine) rule(c *part.Configuration) state { return e.ruleWith(c, newMemo()) }

func (e *Engine) ruleWith(c *part.Configuration, m *memo) state {
	s := state{config: *c, memo: m}
	s.lid, s.receiver, s.choice = choose(c, e.docs)
	s.choice = append(s.choice, e.ruleTemperature(s.lid.Resin, s.lid.Gelcoat, e.docs.Profile.ShopTemperature)...)
	s.choice = append(s.choice, e.ruleDose(s.lid.Resin, s.lid.Gelcoat, e.docs.Profile.ShopTemperature)...)
	if c.Laminate.Schedule == part.ScheduleAuto {
		e.selectLid(c, &s)
	}
	return e.whole(c, s)
}

// whole is shape with the rules that take longer: those that no search for a mend
// runs through at every step.
func (e *Engine) whole(c *part.Configuration, s state) state {
	s = e.shape(c, s)
	s.findings = append(s.findings, e.ruleStrength(&s)...)
	s.findings = append(s.findings, e.ruleEdge(&s)...)
	if len(s.lid.Rows) == 0 && finding.Judge(s.findings) != finding.NotMakeable {
		// The choice gave up on a shape that stands all the same, with the lid's own
		// thicknesses: what has no glass is not made.
		s.findings = append(s.findings, finding.Finding{
			Code: "laminate.not_chosen", Severity: finding.Error, Pointer: "/laminate/schedule", Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count),
			Source: "shop setting: stocked materials", Mends: []finding.Mend{finding.Choose("/laminate/schedule", part.ScheduleStandard)},
		}.Say("No schedule can be searched: the outlines leave no span to search it for."))
	}
	return s
}

// shape rules on everything that follows the choice of laminates.
func (e *Engine) shape(c *part.Configuration, s state) state {
	var list []finding.Finding
	s.config = *c
	s.findings = append([]finding.Finding(nil), s.choice...)
	t := part.Thicknesses{Receiver: s.receiver.SkirtThickness, Skirt: s.lid.SkirtThickness, Panel: s.lid.Thickness}
	s.geometry, list = part.Resolve(c, t, e.sizes)
	s.findings = append(s.findings, list...)
	s.findings = append(s.findings, tooling.Rule(c, e.stacker, e.docs.Profile.Tooling)...)
	s.findings = append(s.findings, tooling.RuleCrib(c, &s.geometry, e.docs, e.stacker, e.crib)...)
	s.findings = append(s.findings, tooling.RuleLeastGap(c, e.docs)...)
	s.findings = append(s.findings, tooling.RuleOdds(c, &s.geometry, e.docs, e.stacker, e.crib, s.memo.plans)...)
	s.findings = append(s.findings, e.ruleHardware(&s)...)
	s.findings = append(s.findings, e.ruleReceiver(&s)...)
	s.findings = append(s.findings, e.rulePrices(&s)...)
	if s.shown != nil {
		s.config.Laminate.Lid = s.shown
		s.config.Laminate.Receiver = e.docs.Profile.Standard.Receiver
	}
	return s
}

// judge solves the mends and gives the verdict.
func (e *Engine) judge(r part.Request, s state) Ruling {
	out := Ruling{Configuration: s.config, Digest: s.config.Digest(), Revision: e.docs.Revision, Findings: s.findings}
	finding.Sort(out.Findings)
	s.memo.brief = true
	for i := range out.Findings {
		out.Findings[i].Mends = e.solve(r, s, out.Findings[i])
	}
	out.Verdict = finding.Judge(out.Findings)
	return out
}

// solve turns the mends that a rule proposed into mends that hold: each value is
// rounded to the wire's step in its direction and kept only if, with it alone
// changed, the finding is gone and no error has come. That is asked of the
// completed configuration and of the request completed anew.
func (e *Engine) solve(r part.Request, s state, f finding.Finding) []finding.Mend {
	var out []finding.Mend
	for _, m := range f.Mends {
		switch {
		case m.Word != "":
			if e.takes(r, s, f, m) {
				out = append(out, m)
			}
		case m.Sought:
			if x, ok := e.seek(r, s, f, m); ok {
				m.Value, m.Sought = x, false
				out = append(out, m)
			}
		default:
			x := e.round(s, m, m.Value.Magnitude)
			if e.holds(r, s, f, m.Pointer, x) {
				m.Value.Magnitude = x
				out = append(out, m)
			}
		}
	}
	return out
}

// takes reports whether the word of m mends f, in the completed configuration and
// in the request completed anew.
func (e *Engine) takes(r part.Request, s state, f finding.Finding, m finding.Mend) bool {
	c := s.config.Clone()
	if c.SetWord(m.Pointer, m.Word) != nil || !e.mends(&c, s, f, wholly) {
		return false
	}
	again := r.With(m.Pointer)
	again.Configuration = again.Configuration.Clone()
	if again.SetWord(m.Pointer, m.Word) != nil {
		return false
	}
	c = e.Complete(again)
	return e.mends(&c, s, f, wholly)
}

// How much is asked of a change: quickly leaves out strength and keeps an
// automatic schedule as it is; what a search ends at is then asked wholly.
const (
	quickly = false
	wholly  = true
)

// round puts a figure on the wire's step, in the mend's direction.
func (e *Engine) round(s state, m finding.Mend, x float64) float64 {
	sys := s.config.Units
	p := part.At(m.Pointer)
	switch {
	case p != nil && p.Whole:
		return quantity.Round(x, 0, m.Toward)
	case p != nil && !p.IsLength():
		return quantity.Round(x, otherPlaces, m.Toward)
	}
	return sys.Millimeters(quantity.Round(sys.Length(x), sys.Places(), m.Toward))
}

// otherPlaces are the decimals of mends that are not lengths: a thousandth of a
// degree or of a ratio is finer than any shop can set.
const otherPlaces = 3

func (e *Engine) holds(r part.Request, s state, f finding.Finding, pointer string, x float64) bool {
	if p := part.At(pointer); p != nil && !(x >= p.Min && x <= p.Max) {
		return false
	}
	c := s.config.Clone()
	if c.SetNumber(pointer, x) != nil || !e.mends(&c, s, f, wholly) {
		return false
	}
	again := r.With(pointer)
	again.Configuration = again.Configuration.Clone()
	if again.SetNumber(pointer, x) != nil {
		return false
	}
	anew := e.Complete(again)
	// Mostly the two are the same hatch, and the rules were just asked.
	return reflect.DeepEqual(anew, c) || e.mends(&anew, s, f, wholly)
}

// mends reports whether f is gone from what the rules say of c, and no error has
// come that was not there before. Where the change lets the shape stand further
// than it did, errors of rules that could not be asked before do not count.
func (e *Engine) mends(c *part.Configuration, before state, f finding.Finding, how bool) bool {
	same := c.Laminated(&before.config)
	if how == wholly && (!same || c.Laminate.Schedule == part.ScheduleAuto) || how == quickly && !same {
		after := e.ruleWith(c, before.memo)
		return better(after, after.findings, before, f)
	}
	after := e.shape(c, before)
	if !better(after, after.findings, before, f) {
		return false // and strength, which takes longest, need not be asked
	}
	if how == quickly {
		return true
	}
	list := e.ruleStrength(&after)
	if underLidEdge(f) { // it knows no errors
		list = append(list, e.ruleEdge(&after)...)
	}
	return better(after, list, before, f)
}

// closes reports whether f says that the lid does not go down as drawn. A change that
// lets it do that and leaves it likely to jam is no mend.
func closes(f finding.Finding) bool { return f.Code == "fit.gap_closes" }

// better reports whether f is not among the findings of after, and none of them is
// an error that before had not.
func better(after state, findings []finding.Finding, before state, f finding.Finding) bool {
	further := after.geometry.Stage > before.geometry.Stage
	for _, now := range findings {
		if finding.Same(now, f) || closes(f) && now.Code == tooling.MayJam {
			return false
		}
		if now.Severity != finding.Error || further {
			continue
		}
		known := slices.ContainsFunc(before.findings, func(old finding.Finding) bool {
			return old.Severity == finding.Error && finding.Same(now, old)
		})
		if !known {
			return false
		}
	}
	return after.geometry.Stage >= before.geometry.Stage
}

// How far and how finely a mend is searched.
const (
	// seekSpan bounds the search: mends further than this are no mends, mm (or deg).
	seekSpan = 5000.0
	// seekDoublings are the steps from the smallest change tried to the span, each
	// twice the one before: 5000/2^18 is about 0.02 mm.
	seekDoublings = 18
	// seekHalvings narrow the bracket: each doubling's bracket is at most half the
	// span, and 2500/2^24 is below a quarter of the finest wire step, 0.00025 mm.
	seekHalvings = 24
)

// seek searches the value nearest to the present one that mends, going Toward.
// Brackets double outward from the present value; the first in which the finding
// goes is halved.
func (e *Engine) seek(r part.Request, s state, f finding.Finding, m finding.Mend) (quantity.Value, bool) {
	now, ok := s.config.Number(m.Pointer)
	if !ok {
		return quantity.Value{}, false
	}
	unit, least, most := quantity.Millimeter, 0.0, seekSpan
	if p := part.At(m.Pointer); p != nil {
		if !p.Used(&s.config) {
			return quantity.Value{}, false
		}
		unit, least, most = p.Unit, p.Min, p.Max
	}
	span := math.Min(seekSpan, most-now)
	if m.Toward == quantity.Down {
		span = math.Min(seekSpan, now-least)
	}
	if span <= 0 {
		return quantity.Value{}, false
	}
	at := func(delta float64) float64 { return now + float64(m.Toward)*delta }
	try := func(delta float64) bool {
		c := s.config.Clone()
		return c.SetNumber(m.Pointer, at(delta)) == nil && e.mends(&c, s, f, f.Code == "laminate.no_schedule")
	}
	lo, hi := 0.0, 0.0
	for k := seekDoublings; k >= 0; k-- {
		if d := math.Ldexp(span, -k); try(d) {
			hi = d
			break
		} else {
			lo = d
		}
	}
	if hi == 0 {
		return quantity.Value{}, false
	}
	for i := 0; i < seekHalvings && hi-lo > s.config.Units.Millimeters(s.config.Units.Step())/4; i++ {
		if mid := (lo + hi) / 2; try(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	x := e.round(s, m, at(hi))
	if !e.holds(r, s, f, m.Pointer, x) {
		return quantity.Value{}, false
	}
	return quantity.Of(x, unit), true
}

func cautions() []string {
	return []string{
		"An estimate for planning: a licensed practice or class rules decide scantlings, and local codes come first.",
		"Lid strength: the plate behind it is a rectangle round the lid, held down at its corners, of one stiffness in all directions, which flatters by up to a third. Deflection, stress, core shear and the force on the edge are therefore those of the plate times " + quantity.Decimal(laminate.PlateFactor, 2) + ", until the lid's true outline is worked out.",
		"ISO 12216 is not evaluated: neither watertightness nor the strength of the closed hatch is certified here.",
		"Styrene and solvent vapor: ventilate, keep ignition sources away, wear an organic-vapor respirator.",
		"Peroxide catalyst: never let it meet a cobalt promoter undiluted; goggles and gloves; measure small amounts.",
		"Dust of MDF, glass and filler: extraction at the tool and a P100 respirator.",
		"Router: feed against the rotation, clamp the work, let the bit stop before lifting; unplug to change bits.",
		"Catalyzed resin heats up in the pot: never bin it before it has cooled; it can set waste on fire.",
		"Over a fuel tank: gas-free the space before opening or cutting, no spark or flame; 33 CFR 183 and the builder's own rules govern access and drainage.",
	}
}
