package derivation

import (
	"math"
	"slices"

	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// Selection says how an automatic schedule was chosen, and out of what: the answer
// is the least of the stated space.
type Selection struct {
	Prefer string // cost or mass
	Status laminate.Status
	// Cost of the glass, resin and core of a square meter with waste, in the price
	// book's currency (an estimate for ranking, not a price); Mass of a square
	// meter with gelcoat, kg.
	Cost, Mass float64
	// Bound is proved for what is preferred: cost, or mass without gelcoat.
	Bound    float64
	MaxPlies int
	Stacks   float64 // how many stacks the space holds
	Nodes    int     // how many were looked at
	Plies    []string
	Barriers int
	Cores    []string // "none" stands for solid stacks
	Unpriced []string // stocked, but left out for want of a price
	Room     float64  // the thickest panel that goes into the recess, mm; 0: no limit
}

// selected is what the memo keeps: the stack's keys, empty when none passes.
type selected struct {
	keys      []string
	selection Selection
	best      float64 // the least worst utilization found when none passes
	governing laminate.Result
}

type choiceKey struct {
	panel               laminate.Panel
	duty                part.Duty
	resin, core, prefer string
	room                float64
}

const (
	// autoNodes bounds a search; the largest seen on the example catalog takes
	// 25,000.
	autoNodes = 300_000
	// autoRounds bounds how often panel and stack are worked out anew where the
	// panel follows from the stack's thickness.
	autoRounds = 8
	// firstSkirt and firstPanel stand for the lid's thicknesses until it is chosen, mm.
	firstSkirt, firstPanel = 3.0, 12.0
)

// selectLid picks the lid's stack for an automatic schedule. The panel hardly ever
// follows from the lid's thickness; where it does (a raised coaming that is sized
// by its lid) panel and stack are worked out in turn until they agree.
func (e *Engine) selectLid(c *part.Configuration, s *state) {
	if s.lid.Resin.Key == "" || s.lid.Gelcoat.Key == "" {
		return // told already
	}
	core := c.Lid.Core
	if core != part.AutoCore && core != part.NoCore {
		if _, ok := e.docs.Materials.Core(core); !ok {
			s.choice = append(s.choice, notStocked("laminate.material_unknown", "/lid/core", core, "core", e.coreWords(true)))
			return
		}
	}
	var got selected
	for range autoRounds {
		t := part.Thicknesses{Receiver: s.receiver.SkirtThickness, Skirt: s.lid.SkirtThickness, Panel: s.lid.Thickness}
		if len(s.lid.Rows) == 0 {
			t.Skirt, t.Panel = firstSkirt, firstPanel
			if !c.HasTrunk() {
				s.lid.Thickness = firstPanel // a plate of no thickness has no section to tell anything of
			}
		}
		g, _ := part.Resolve(c, t, e.sizes)
		if g.Stage < part.StageOutlines {
			return // its findings come with the shape
		}
		p := panel(c, g)
		loads, fault := cases(c.Duty, p)
		if fault != nil {
			s.choice = append(s.choice, *fault)
			return
		}
		key := choiceKey{panel: p, duty: c.Duty, resin: c.Laminate.Resin, core: core, prefer: c.Laminate.Prefer}
		if c.BearsOnSkirt() {
			key.room = g.SkirtHeight
		}
		next, ok := s.memo.choices[key]
		if !ok {
			var err error
			if next, err = e.search(key, loads, s); err != nil {
				s.choice = append(s.choice, finding.Finding{
					Code: "laminate.not_chosen", Severity: finding.Error, Pointer: "/laminate/schedule", Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count),
					Source: "shop setting: stocked materials", Mends: []finding.Mend{finding.Choose("/laminate/schedule", part.ScheduleStandard)},
				}.Say("No schedule can be searched: %v.", err))
				return
			}
			s.memo.choices[key] = next
		}
		if len(next.keys) == 0 {
			s.choice = append(s.choice, e.noSchedule(c, p, next))
			return
		}
		done := slices.Equal(next.keys, got.keys)
		got = next
		if done {
			break
		}
		lid, faults := build(got.keys, "/laminate/schedule", true, s.lid.Resin, s.lid.Gelcoat, e.docs)
		if len(faults) > 0 {
			s.choice = append(s.choice, faults...)
			return
		}
		selection := got.selection
		lid.Selection = &selection
		settled := len(s.lid.Rows) > 0 && lid.Thickness == s.lid.Thickness && lid.SkirtThickness == s.lid.SkirtThickness
		s.lid = lid
		if settled || !thicknessMoves(c) {
			break
		}
	}
	if len(c.Laminate.Lid) > 0 && !slices.Equal(c.Laminate.Lid, got.keys) {
		s.choice = append(s.choice, finding.Finding{
			Code: "laminate.choice_changed", Severity: finding.Note, Pointer: "/laminate/lid", Measured: quantity.Of(float64(len(c.Laminate.Lid)), quantity.Count),
			Limit: quantity.Of(float64(len(got.keys)), quantity.Count), Source: "the automatic schedule is chosen anew each time",
		}.Say("The plies given are not those that the automatic schedule chooses now: %v. List them with the schedule \"listed\" to keep them.", got.keys))
	}
	if got.selection.Status == laminate.BudgetReached {
		s.choice = append(s.choice, finding.Finding{
			Code: "laminate.choice_not_proved", Severity: finding.Note, Pointer: "/laminate/schedule", Measured: quantity.Of(float64(got.selection.Nodes), quantity.Count),
			Limit: quantity.Of(autoNodes, quantity.Count), Source: "search budget",
		}.Say("The lid's stack passes, but the search ended before it was proved to be the least."))
	}
	s.shown = got.keys
}

// thicknessMoves reports whether the panel follows from the lid's thickness.
func thicknessMoves(c *part.Configuration) bool {
	return c.SkirtOutside() && c.SizeBasis == part.BasisLid
}

func (e *Engine) coreWords(auto bool) []string {
	out := append(names(e.docs.Materials.Cores, func(k shop.Core) string { return k.Key }), part.NoCore)
	if auto {
		out = append(out, part.AutoCore)
	}
	return out
}

// search runs the laminate's search over what is stocked and goes into the recess.
func (e *Engine) search(k choiceKey, loads []laminate.Case, s *state) (selected, error) {
	d := e.docs
	resin := s.lid.Resin.Material(d.Materials.Catalyst)
	gelcoat := s.lid.Gelcoat.Material(d.Materials.Catalyst)
	space := laminate.Space{Gelcoat: &gelcoat, WovenApart: true, MaxThickness: k.room, Rules: d.Profile.Strength.Rules(), MaxNodes: autoNodes, MaxPlies: laminate.DefaultMaxPlies}
	out := selected{selection: Selection{Prefer: k.prefer, MaxPlies: space.MaxPlies, Room: k.room}, best: math.Inf(1)}
	byCost := k.prefer != part.PreferMass
	if ruled(k.duty) {
		lwl := k.duty.WaterlineLength / millimetersPerMeter
		space.MinThickness = laminate.MinDeckThickness(lwl)
		space.MinOuterGlass, space.MinInnerGlass = laminate.MinDeckSkins(lwl)
	}
	w := d.Profile.Waste
	liquid, resinPriced := e.unitPrice(s.lid.Resin.Key, "kg")
	liquid *= 1 + w.Resin
	if !resinPriced && byCost {
		out.selection.Unpriced = append(out.selection.Unpriced, s.lid.Resin.Key)
	}
	for _, row := range d.Materials.Reinforcements {
		cost, ok := e.unitPrice(row.Key, "m2")
		if !ok && byCost {
			out.selection.Unpriced = append(out.selection.Unpriced, row.Key)
			continue
		}
		ply := laminate.Ply{Reinforcement: row.Material(), Resin: resin}
		space.Plies = append(space.Plies, laminate.Option{Ply: ply, Cost: cost*(1+w.Glass) + ply.ResinMass()*liquid})
		out.selection.Plies = append(out.selection.Plies, row.Key)
	}
	for _, row := range d.Materials.Cores {
		if k.core != part.AutoCore && k.core != row.Key {
			continue
		}
		cost, ok := e.unitPrice(row.Key, "m2")
		if !ok && byCost {
			out.selection.Unpriced = append(out.selection.Unpriced, row.Key)
			continue
		}
		space.Cores = append(space.Cores, laminate.CoreOption{Core: row.Material(), Cost: cost*(1+w.Core) + row.BedResin*liquid})
	}
	space.NoSolid = k.core != part.AutoCore && k.core != part.NoCore
	if space.NoSolid && len(space.Cores) == 0 {
		out.selection.Status = laminate.Infeasible
	} else {
		choice, err := laminate.Choose(space, k.panel, loads, laminate.Prefer(k.prefer))
		if err != nil {
			return out, err
		}
		v := &out.selection
		v.Status, v.Bound, v.Stacks, v.Barriers, v.Nodes = choice.Status, choice.Bound, choice.Stacks, choice.Barriers, choice.Nodes
		for _, core := range space.Cores {
			v.Cores = append(v.Cores, core.Core.Key)
		}
		if !space.NoSolid {
			v.Cores = append(v.Cores, part.NoCore)
		}
		if choice.Found {
			v.Cost, v.Mass = choice.Cost, choice.Mass
			for _, p := range choice.Stack.Outer {
				out.keys = append(out.keys, p.Reinforcement.Key)
			}
			if choice.Stack.Core != nil {
				out.keys = append(out.keys, choice.Stack.Core.Key)
			}
			for _, p := range choice.Stack.Inner {
				out.keys = append(out.keys, p.Reinforcement.Key)
			}
			return out, nil
		}
	}
	if s.memo.brief {
		return out, nil
	}
	return e.closest(out, space, k, loads)
}

// closest finds how near the fullest stacks of one kind of ply come that still go
// into the room: what is told when none passes.
func (e *Engine) closest(out selected, space laminate.Space, k choiceKey, loads []laminate.Case) (selected, error) {
	barrier := -1
	for i, o := range space.Plies {
		r := o.Ply.Reinforcement
		if r.Kind == laminate.Mat && r.GlassMass() <= laminate.DefaultBarrierMass && (barrier < 0 || r.GlassMass() < space.Plies[barrier].Ply.Reinforcement.GlassMass()) {
			barrier = i
		}
	}
	if barrier < 0 {
		return out, nil
	}
	try := func(core, most int) error {
		for i := range space.Plies {
			counts := make([]int, len(space.Plies))
			for n := most; n >= 1; n-- {
				counts[i] = n
				stack, err := space.Arrange(barrier, core, counts)
				if err != nil {
					return err
				}
				if k.room > 0 && stack.Thickness() > k.room {
					continue
				}
				results, err := laminate.Check(stack, k.panel, loads, space.Rules)
				if err != nil {
					return err
				}
				if r := results[laminate.Worst(results)]; r.Utilization() < out.best {
					out.best, out.governing = r.Utilization(), r
				}
				break
			}
		}
		return nil
	}
	if !space.NoSolid {
		if err := try(-1, space.MaxPlies-1); err != nil {
			return out, err
		}
	}
	for i := range space.Cores {
		if err := try(i, (space.MaxPlies-1)/2); err != nil {
			return out, err
		}
	}
	return out, nil
}

func (e *Engine) noSchedule(c *part.Configuration, p laminate.Panel, s selected) finding.Finding {
	f := finding.Finding{
		Code: "laminate.no_schedule", Severity: finding.Error, Pointer: "/laminate/schedule", Limit: quantity.Of(1, quantity.Ratio),
		Source: "search over the stocked plies and cores; " + laminate.Basis + " annex C",
	}
	for _, k := range e.coreWords(true) {
		if k != c.Lid.Core {
			f.Mends = append(f.Mends, finding.Choose("/lid/core", k))
		}
	}
	if c.BearsOnSkirt() {
		f.Mends = append(f.Mends, finding.Seek("/receiver/recess_depth", quantity.Up))
	}
	for _, size := range c.SizePointers() {
		f.Mends = append(f.Mends, finding.Seek(size, quantity.Down))
	}
	if math.IsInf(s.best, 1) {
		f.Measured = quantity.Of(0, quantity.Ratio)
		f.Limit = quantity.Of(1, quantity.Ratio)
		return f.Say("No stack of what is stocked goes into the room of %v above the seal, or there is no light mat to lay against the gelcoat.", quantity.Length(s.selection.Room))
	}
	// A stack that passes but for the standard's least skins, or for its place in the
	// order of plies, may look used to less than its limit.
	f.Measured = quantity.Of(s.best, quantity.Ratio)
	return f.Say("No stack of up to %d stocked plies passes over an opening of %v by %v; the best found is used to %v of what is allowed under %q (%s governs).",
		s.selection.MaxPlies, quantity.Length(p.Long()), quantity.Length(p.Short()), quantity.Of(100*s.best, quantity.Percent), s.governing.Case.Name, s.governing.Governing)
}

// unitPrice is the price of one unit of a material, in the price book's currency,
// for ranking only: sums of money are decimal and made in the bill.
func (e *Engine) unitPrice(key, unit string) (float64, bool) {
	p, ok := e.docs.Prices.Prices[key]
	if !ok || p.Unit != unit || !(p.Pack > 0) {
		return 0, false
	}
	x, ok := p.Per.Float64()
	return x / p.Pack, ok
}
