package derivation

import (
	"fmt"
	"slices"

	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/tooling"
)

// Limits is the word on a configuration with how far each of its figures can go
// while all others stay as they are.
type Limits struct {
	Configuration part.Configuration // completed
	Digest        string
	Verdict       finding.Verdict
	// Findings of the configuration as it is. They carry no mends: solving them is
	// Check's work.
	Findings []finding.Finding
	Numbers  []Interval
	Choices  []Choice
}

// Interval is how far one number can go. Both ends are feasible themselves and
// stand on the wire's step (0.001 mm, 0.00001 in, 0.001 deg or of a ratio, 1 of a
// count); one step beyond an end that is not the figure's own range, the verdict is
// not_makeable. The one exception is a present value that is feasible while its
// neighbor on the step is not: that end is then the present value as it is.
//
//	 infeasible │ feasible              │ infeasible
//	────────────┼───────●───────────────┼──────────→
//	           Min    Value            Max
type Interval struct {
	Pointer string
	Value   quantity.Value // as it is now; 0 when Null
	Null    bool           // the figure is left out (a flat deck, depth enough)
	// Feasible: some value of this figure works with the others as they are. When
	// none was found Min and Max are 0 and both bounds tell one error that stays.
	Feasible           bool
	Min, Max           quantity.Value
	MinBound, MaxBound Bound
	Whole              bool
	// Contains: the present value works, and so lies inside. Where the figure is
	// left out: leaving it out works.
	Contains bool
	// More: feasible values were met outside this interval, too.
	More bool
}

// Bound is what binds an end: the figure's own range, or a finding.
type Bound struct {
	// Range: values beyond make no sense at all and are refused before any rule.
	Range bool
	// Finding is the error just outside, one step beyond the end, without mends. It
	// is the first in the order of findings where several come at once.
	Finding finding.Finding
}

// Choice is which words a choice can take while everything else stays.
type Choice struct {
	Pointer string
	Value   string
	Allowed []string // that leave no error, in the order of the table or the catalog
	Refused []Refusal
}

// Refusal is a word that leaves an error, with the first of them.
type Refusal struct {
	Word    string
	Code    string
	Finding finding.Finding // without mends
}

// Limits answers, for a request (possibly partial: completed first), how far each
// figure can go with the others held.
//
// Numbers are those that apply to the pattern, shape and duty, in the order of
// the wire, then the corner radii of a polygon. Choices are those that apply, but
// pattern and shape, whose other figures would be missing, then the plies of a
// listed schedule and the fittings.
//
// The interval is the one around the present value or, where that is infeasible,
// one that was found near it. Samples are taken outward at doubling distances and
// between the ends found, so a gap narrower than a quarter of the way from the
// present value to an end may be stepped over; the ends themselves are always
// held against the rules, with their neighbors outside. A figure asks for some
// thirty rulings, bounded by the doublings and halvings of its range.
func (e *Engine) Limits(r part.Request) Limits {
	out, _ := e.LimitsWhile(r, func() bool { return true })
	return out
}

// LimitsWhile is Limits with a word before each figure and each choice on whether
// to go on: a polygon of many corners is many figures, each a ruling on all of
// them. It returns false when it was stopped; the limits are then worth nothing.
func (e *Engine) LimitsWhile(r part.Request, proceed func() bool) (Limits, bool) {
	c := e.Complete(r)
	s := newSurvey(e, &c)
	base := s.base
	out := Limits{Configuration: base.config, Digest: base.config.Digest(), Findings: bare(base.findings)}
	finding.Sort(out.Findings)
	out.Verdict = finding.Judge(out.Findings)
	for i := range part.Parameters {
		p := &part.Parameters[i]
		if !proceed() {
			return Limits{}, false
		}
		if p.IsNumber() && p.Used(&c) {
			out.Numbers = append(out.Numbers, s.number(figure{pointer: p.Pointer, unit: p.Unit, min: p.Min, max: p.Max, whole: p.Whole, null: p.Null}))
		}
	}
	if c.Outline.Shape == part.Polygon {
		radius := part.At("/outline/corner_radius")
		for i := range c.Outline.Corners {
			if !proceed() {
				return Limits{}, false
			}
			out.Numbers = append(out.Numbers, s.number(figure{pointer: fmt.Sprintf("/outline/corners/%d/radius", i), unit: radius.Unit, min: radius.Min, max: radius.Max}))
		}
	}
	for _, w := range e.words(&c) {
		if !proceed() {
			return Limits{}, false
		}
		out.Choices = append(out.Choices, s.choice(r, w))
	}
	return out, true
}

// bare copies findings without their mends.
func bare(list []finding.Finding) []finding.Finding {
	out := slices.Clone(list)
	for i := range out {
		out[i].Mends = nil
	}
	return out
}

// faults returns the errors among findings, in their fixed order.
func faults(list []finding.Finding) []finding.Finding {
	var out []finding.Finding
	for _, f := range list {
		if f.Severity == finding.Error {
			out = append(out, f)
		}
	}
	finding.Sort(out)
	return out
}

// boundBy makes a bound of the first of some errors.
func boundBy(errors []finding.Finding) Bound {
	f := errors[0]
	f.Mends = nil
	return Bound{Finding: f}
}

// survey asks the rules of one configuration with one figure changed, again and
// again.
type survey struct {
	e      *Engine
	base   state
	errors []finding.Finding // of the base
	// standing are findings on the laminates alone.
	standing []finding.Finding
	fixed    bool       // the laminates do not follow from the figures
	thin     bool       // no error but lid.panel_too_thick follows from the lid's thickness
	stacks   []Laminate // that an automatic schedule chose for other values
}

func newSurvey(e *Engine, c *part.Configuration) *survey {
	base := e.rule(c)
	s := &survey{e: e, base: base, errors: faults(base.findings), fixed: c.Laminate.Schedule != part.ScheduleAuto, thin: c.BearsOnSkirt()}
	s.standing = append(slices.Clone(base.choice), e.ruleTemperature(base.lid.Resin, base.lid.Gelcoat, e.docs.Profile.ShopTemperature)...)
	if len(base.lid.Stages) > 0 && len(s.errors) == 0 {
		s.stacks = append(s.stacks, base.lid)
	}
	return s
}

// apart reports whether no error but those of strength follows from the figure.
func apart(pointer string) bool {
	switch pointer {
	case "/duty/waterline_length", "/duty/displacement", "/duty/pressure", "/duty/point_load", "/duty/point_radius", "/duty/deflection_factor",
		"/quantity", "/size_tolerance":
		return true
	}
	return false
}

// ruling is what the rules say of one value: errors, nothing when it is feasible.
type ruling struct {
	errors []finding.Finding
	after  state // until strength is asked
	strong bool  // strength was asked, too
	lent   bool  // for strength a stack chosen for another value stands in
}

func (r *ruling) ok() bool { return len(r.errors) == 0 }

// quickly rules on everything but strength, and only with the rules that know
// errors; those that only warn are left out. Only with a fixed laminate, or where
// the shape's errors do not follow from the laminate, is there anything quicker
// than the whole.
func (s *survey) quickly(c *part.Configuration, pointer string) *ruling {
	if !s.fixed && !s.thin {
		return s.wholly(c)
	}
	r := &ruling{after: s.base}
	r.after.config = *c
	kept := func(list []finding.Finding) {
		for _, f := range list {
			// The choice of an automatic schedule is made anew by the whole.
			if f.Severity == finding.Error && !ofStrength(f.Code) && (s.fixed || !chosenAnew(f.Code)) {
				r.errors = append(r.errors, f)
			}
		}
	}
	if apart(pointer) {
		kept(s.errors)
		return r
	}
	var list []finding.Finding
	t := part.Thicknesses{Receiver: s.base.receiver.SkirtThickness, Skirt: s.base.lid.SkirtThickness, Panel: s.base.lid.Thickness}
	r.after.geometry, list = part.Resolve(c, t, s.e.sizes)
	kept(s.standing)
	kept(list)
	if len(c.Hardware) > 0 {
		kept(s.e.ruleHardware(&r.after))
	}
	if r.ok() {
		kept(s.e.rulePrices(&r.after))
		kept(tooling.RuleLeastGap(c, s.e.docs))
		kept(tooling.RuleOdds(c, &r.after.geometry, s.e.docs, s.e.stacker, s.e.crib, s.base.memo.plans))
	}
	finding.Sort(r.errors)
	return r
}

// strongly completes a quick ruling that found nothing.
func (s *survey) strongly(r *ruling, c *part.Configuration) {
	switch {
	case s.fixed:
		r.errors = faults(s.e.ruleStrength(&r.after))
	case s.passes(r):
		r.lent = true
	default:
		r.errors = s.wholly(c).errors
	}
	r.strong, r.after = true, state{}
}

// wholly rules on everything, with the laminates chosen anew.
func (s *survey) wholly(c *part.Configuration) *ruling {
	after := s.e.ruleWith(c, s.base.memo)
	r := &ruling{errors: faults(after.findings), strong: true}
	if !s.fixed && s.thin && r.ok() {
		s.stacks = append(s.stacks[max(0, len(s.stacks)-knownStacks+1):], after.lid)
	}
	return r
}

// knownStacks is how many stacks are kept to be tried before a search.
const knownStacks = 4

// passes reports whether a stack that was chosen for another value passes here, so
// that the search hardly fails to find one, too. (It may: what it finds must go into
// the recess, and a core whose least stack does not is left out.)
func (s *survey) passes(r *ruling) bool {
	c, g := &r.after.config, r.after.geometry
	if g.Stage < part.StageWhole || c.Duty != s.base.config.Duty {
		return false
	}
	p := panel(c, g)
	loads, f := cases(c.Duty, p)
	if f != nil {
		return false
	}
	for i := len(s.stacks) - 1; i >= 0; i-- {
		l := &s.stacks[i]
		if l.Thickness > g.SkirtHeight {
			continue
		}
		results, err := s.e.check(l, p, c.Duty, loads, s.base.memo)
		if err != nil {
			continue
		}
		weak := false
		for _, one := range results {
			weak = weak || !(one.Utilization() <= 1)
		}
		if !weak {
			return true
		}
	}
	return false
}

// ofStrength reports whether a finding comes from ruleStrength.
func ofStrength(code string) bool {
	switch code {
	case "laminate.overloaded", "laminate.not_checked", "duty.beyond_standard", "duty.no_load", "duty.refused":
		return true
	}
	return false
}

// chosenAnew reports whether a finding follows from which stack an automatic
// schedule chose, or from there being none.
func chosenAnew(code string) bool {
	switch code {
	case "lid.panel_too_thick", "laminate.no_schedule", "laminate.not_chosen":
		return true
	}
	return ofStrength(code)
}
