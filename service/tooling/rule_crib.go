package tooling

import (
	"math"

	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// RuleCrib rules on what the shop's bits and sheets make of a hatch whose sections
// stand: offsets, corners, drafts, rounded edges, panels. Whatever the crib lacks
// is done by hand, so all of it is a caution. It is asked a thousand times while
// mends are sought, and looks nothing up but tables.
func RuleCrib(k *part.Configuration, g *part.Geometry, d shop.Documents, s *Stacker, c *Crib) []finding.Finding {
	if g.Stage < part.StageSections {
		return nil
	}
	h := holesOf(k, g)
	list := c.ruleCorners(k, &h, nil)
	list = c.ruleOffsets(k, g, &h, c.moldScale(k, d), list)
	list = c.ruleDrafts(k, &h, list)
	list = c.ruleRoundOvers(k, list)
	return c.rulePanels(k, g, d, s, list)
}

const (
	sourceCrib   = "shop setting: tool crib"
	sourceSheets = "shop setting: stocked sheets"
)

// holed is a hole that a mold needs: where it lies about R0, and its tightest
// corner.
type holed struct {
	figure
	of        part.Part
	n         float64
	radius    float64
	draft     float64
	tolerance func(Practice) float64
}

// figure is the one figure of a configuration that moves an outline in or out.
type figure struct {
	what    string
	pointer string
	inward  float64 // +1: raising it moves the outline inward, -1: outward
}

// holes are those of a hatch; the seat is a coaming's, which the lid fits round.
type holes struct {
	list [3]holed
	n    int
	seat bool // the first is the seat
}

func fits(p Practice) float64    { return p.SizeTolerance }
func opening(p Practice) float64 { return p.TrunkTolerance }

func holesOf(k *part.Configuration, g *part.Geometry) (h holes) {
	add := func(x holed) { h.list[h.n] = x; h.n++ }
	round := g.Outlines.Recess.MinCornerRadius()
	lid := holed{of: part.Lid, figure: figure{"lid", "/lid/gap", 1}, n: g.Corner(part.LidEdge).N, radius: g.Outlines.Lid.MinCornerRadius(), draft: k.Lid.Draft, tolerance: fits}
	if k.HasLeg(part.CoamingWall) {
		n := g.Corner(part.CoamingTop).N
		add(holed{of: part.Receiver, figure: figure{what: "coaming"}, n: n, radius: math.Max(0, round+n), draft: k.Receiver.Draft, tolerance: fits})
		h.seat = true
		lid.inward = -1
	}
	if k.HasLeg(part.Upstand) {
		n := g.Corner(part.UpstandTop).N
		add(holed{of: part.Receiver, figure: figure{"gutter ring", "/gutter/width", 1}, n: n, radius: math.Max(0, round+n), draft: k.Receiver.Draft, tolerance: opening})
	}
	add(lid)
	return h
}

// follow appends how far outside its template each bit that turns in the hole's
// corners leaves the edge: its diameter.
func (c *Crib) follow(into []float64, x *holed) []float64 {
	if x.draft > sameDraft {
		first, n := c.taperedFor(x.draft)
		for _, t := range c.tapered[first : first+n] {
			if t.diameter <= x.radius+sameSize {
				into = append(into, t.diameter)
			}
		}
	}
	for _, t := range c.flush {
		if t.diameter <= x.radius+sameSize && len(into) < cap(into) {
			into = append(into, t.diameter)
		}
	}
	return into
}

// mostFollow bounds the bits that are asked for one hole.
const mostFollow = 24

// ruleCorners rules on the tightest hole: whether any bit that follows a template
// turns in its corners.
func (c *Crib) ruleCorners(k *part.Configuration, h *holes, list []finding.Finding) []finding.Finding {
	if len(c.flush) == 0 {
		return append(list, finding.Finding{
			Code: "tooling.no_flush_trim", Severity: finding.Caution, Pointer: "/pattern",
			Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count), Source: sourceCrib,
		}.Say("The crib has no bit whose bearing is as wide as its cutter: every edge is sawn and filed by hand to its template."))
	}
	worst, least := -1, 0.0
	for i := range h.list[:h.n] {
		x := &h.list[i]
		var buf [mostFollow]float64
		if len(c.follow(buf[:0], x)) == 0 && (worst < 0 || x.radius < h.list[worst].radius) {
			worst = i
		}
	}
	if worst < 0 {
		return list
	}
	least = math.Inf(1)
	for _, t := range c.flush {
		least = math.Min(least, t.diameter)
	}
	x := &h.list[worst]
	pointer := "/outline"
	f := finding.Finding{Code: "tooling.corner_too_sharp", Severity: finding.Caution,
		Measured: quantity.Length(x.radius), Limit: quantity.Length(least),
		Source: "geometry: a bit that follows the outside of a template leaves corners as round as it is wide"}
	if part.At("/outline/corner_radius").Used(k) {
		pointer = "/outline/corner_radius"
		f.Mends = append(f.Mends, finding.Seek(pointer, quantity.Up))
	}
	f.Pointer = pointer
	return append(list, f.Say("The hole of the %s's mold has a corner of %v; the crib's thinnest bit, %v, leaves %v. The hole's template is laid out by hand.",
		x.what, f.Measured, f.Limit, f.Limit))
}

// ruleOffsets rules on whether the crib makes each outline from the first one: the
// recess, of a coaming its hole.
func (c *Crib) ruleOffsets(k *part.Configuration, g *part.Geometry, h *holes, size float64, list []finding.Finding) []finding.Finding {
	if len(c.flush) == 0 || !k.HasTrunk() {
		return list
	}
	var refs, ways [mostFollow]float64
	from, first := refs[:1], 0
	if h.seat {
		first = 1
		from = c.follow(refs[:0], &h.list[0])
		for i := range from {
			from[i] -= size * h.list[0].n
		}
		if len(from) == 0 {
			return list // laid out by hand: nothing is measured from it
		}
	}
	if !g.TrunkRounded {
		trunk := figure{"trunk", k.SeatWidth(), 1}
		ways[0] = -size * g.Corner(part.Lip).N
		list = c.ruleOffset(k, trunk, from, ways[:1], c.practice.TrunkTolerance, size, list)
	}
	for i := first; i < h.n; i++ {
		x := &h.list[i]
		to := c.follow(ways[:0], x)
		for j := range to {
			to[j] -= size * x.n
		}
		if len(to) > 0 {
			list = c.ruleOffset(k, x.figure, from, to, x.tolerance(c.practice), size, list)
		}
	}
	return list
}

// ruleOffset rules on one outline: from and to are how deep inside R0 its template
// and the one to start from may lie.
func (c *Crib) ruleOffset(k *part.Configuration, x figure, from, to []float64, tolerance, size float64, list []finding.Finding) []finding.Finding {
	down, up := math.Inf(-1), math.Inf(1) // changes of depth that would be made
	wanted := math.Inf(1)
	for _, a := range from {
		for _, b := range to {
			below, above := c.nearest(b - a)
			down, up = math.Max(down, below-(b-a)), math.Min(up, above-(b-a))
			if math.Abs(b-a) < math.Abs(wanted) {
				wanted = b - a
			}
		}
	}
	miss := math.Min(-down, up)
	if miss <= tolerance+sameSize {
		return list
	}
	f := finding.Finding{Code: "tooling.offset_not_in_crib", Severity: finding.Caution, Pointer: x.pointer,
		Measured: quantity.Length(miss), Limit: quantity.Length(tolerance), Source: sourceCrib}
	now, _ := k.Number(x.pointer)
	for _, change := range [...]float64{down, up} {
		if math.IsInf(change, 0) {
			continue
		}
		value := now + x.inward*change/size
		if value < now {
			f.Mends = append(f.Mends, finding.AtMost(x.pointer, quantity.Length(value)))
		} else {
			f.Mends = append(f.Mends, finding.AtLeast(x.pointer, quantity.Length(value)))
		}
	}
	where := "inside"
	if wanted < 0 {
		where, wanted = "outside", -wanted
	}
	if s, ok := c.suggest(wanted); ok {
		return append(list, f.Say("The %s's template would lie %v %s the one it is cut with; the nearest that up to %d rabbets make is %v off. A bearing of %v on %q would make it. As it is, its master is laid out by hand.",
			x.what, quantity.Length(wanted), where, c.limit, f.Measured, quantity.Length(s.bearing), s.bit))
	}
	return append(list, f.Say("The %s's template would lie %v %s the one it is cut with; the nearest that up to %d rabbets make is %v off. A rabbeting bit that takes off %v would make it. As it is, its master is laid out by hand.",
		x.what, quantity.Length(wanted), where, c.limit, f.Measured, quantity.Length(wanted)))
}

// leastBearing is the smallest bearing that is put on a rabbeting bit, mm (common
// practice: 3/8 in down to 1/4 in).
const leastBearing = 6.0

// suggest names a bearing that is not in the crib and makes an offset of d with as
// few of the crib's largest rabbets before it as can be:
//
//	bearing = cutter - 2 rabbet
func (c *Crib) suggest(d float64) (rabbetStep, bool) {
	for n := 0; n < mostSteps; n++ {
		rest := d
		if n > 0 {
			if len(c.steps) == 0 {
				break
			}
			rest -= float64(n) * c.steps[0].size
		}
		if rest <= 0 {
			break
		}
		for _, b := range c.rabbets {
			if bearing := b.Diameter - 2*rest; bearing >= leastBearing {
				return rabbetStep{rest, b.Key, bearing}, true
			}
		}
	}
	return rabbetStep{}, false
}

// ruleDrafts rules on whether a tapered bit leans each wall.
func (c *Crib) ruleDrafts(k *part.Configuration, h *holes, list []finding.Finding) []finding.Finding {
	rule := func(pointer, wall string, draft, radius float64) {
		if draft <= sameDraft {
			return
		}
		first, n := c.taperedFor(draft)
		for _, t := range c.tapered[first : first+n] {
			if t.diameter <= 2*radius+sameSize {
				return
			}
		}
		f := finding.Finding{Code: "tooling.draft_by_hand", Severity: finding.Caution, Pointer: pointer,
			Measured: quantity.Angle(draft), Limit: quantity.Angle(0), Source: sourceCrib}
		below, above := 0.0, math.Inf(1)
		for _, t := range c.tapered {
			if t.diameter > 2*radius+sameSize {
				continue
			}
			if t.draft < draft {
				below = math.Max(below, t.draft)
			} else {
				above = math.Min(above, t.draft)
			}
		}
		f.Mends = append(f.Mends, finding.AtMost(pointer, quantity.Angle(below)))
		f.Limit = f.Mends[0].Value
		if !math.IsInf(above, 1) {
			f.Mends = append(f.Mends, finding.AtLeast(pointer, quantity.Angle(above)))
			if above-draft < draft-below {
				f.Limit = quantity.Angle(above)
			}
		}
		if n > 0 && part.At("/outline/corner_radius").Used(k) {
			f.Mends = append(f.Mends, finding.Seek("/outline/corner_radius", quantity.Up))
		}
		list = append(list, f.Say("No tapered bit that fits leans the %s by %v; the nearest is %v. The wall is cut square and leaned by hand to a bevel gauge.", wall, f.Measured, f.Limit))
	}
	receiver := math.Inf(1)
	for _, x := range h.list[:h.n] {
		if x.of == part.Lid {
			rule("/lid/draft_deg", "wall of the lid's cavity", k.Lid.Draft, x.radius)
		} else {
			receiver = x.radius
		}
	}
	if k.HasTrunk() {
		rule("/receiver/draft_deg", "receiver's wall", k.Receiver.Draft, receiver)
		rule("/receiver/trunk_draft_deg", "trunk's wall", k.Receiver.TrunkDraft, math.Inf(1))
	}
	return list
}

// ruleRoundOvers rules on the edge that a round-over bit runs along: whether the
// crib has the radius, and the wall under the edge room for its bearing.
func (c *Crib) ruleRoundOvers(k *part.Configuration, list []finding.Finding) []finding.Finding {
	var lowest *wall
	for i := range walls {
		if w := &walls[i]; w.rounded != "" && k.HasLeg(w.leg) {
			lowest = w
		}
	}
	if lowest == nil {
		return list
	}
	pointer, depth, wall := lowest.rounded, lowest.depth, lowest.height(k)
	radius, _ := k.Number(pointer)
	if radius <= 0 {
		return list
	}
	bit, found, room := c.roundOverBit(radius, wall)
	if room {
		return list
	}
	f := finding.Finding{Code: "tooling.round_over_by_hand", Severity: finding.Caution, Pointer: pointer, Source: sourceCrib}
	below, above := math.Inf(-1), math.Inf(1)
	for _, b := range c.rounds {
		if b.CuttingLength > wall+sameSize {
			continue
		}
		if b.Radius < radius {
			below = math.Max(below, b.Radius)
		} else {
			above = math.Min(above, b.Radius)
		}
	}
	if !math.IsInf(below, -1) {
		f.Mends = append(f.Mends, finding.AtMost(pointer, quantity.Length(below)))
	}
	if !math.IsInf(above, 1) {
		f.Mends = append(f.Mends, finding.AtLeast(pointer, quantity.Length(above)))
	}
	if found {
		f.Measured, f.Limit = quantity.Length(wall), quantity.Length(bit.CuttingLength)
		f.Mends = append(f.Mends, finding.AtLeast(depth, f.Limit))
		return append(list, f.Say("The bit %q reaches %v down, the wall under the edge is %v: the edge is rounded to %v by hand.",
			bit.Key, f.Limit, f.Measured, quantity.Length(radius)))
	}
	nearest := below
	if above-radius < radius-below {
		nearest = above
	}
	if math.IsInf(nearest, 0) {
		nearest = 0
	}
	f.Measured, f.Limit = quantity.Length(radius), quantity.Length(nearest)
	return append(list, f.Say("No round-over bit of the crib has a radius of %v; the nearest with room is %v. The edge is rounded by hand to a radius gauge.", f.Measured, f.Limit))
}

// rulePanels rules on whether every board comes out of one sheet.
func (c *Crib) rulePanels(k *part.Configuration, g *part.Geometry, d shop.Documents, s *Stacker, list []finding.Finding) []finding.Finding {
	t := d.Profile.Tooling
	type board struct {
		what          string
		length, width float64
		stack         func() Stack
	}
	sides := func(o *part.Outlines) [4]board {
		f0, f1 := o.Flange.Bounds()
		r0, r1 := o.Recess.Bounds()
		l0, l1 := o.Lid.Bounds()
		b, m := 2*t.BaseMargin, 2*t.CavityMargin
		e := 2 * c.practice.BlankMargin
		base := board{"receiver's base board", f1.X - f0.X + b, f1.Y - f0.Y + b, func() Stack { return s.atLeast(t.BaseThickness) }}
		block := board{"receiver's block 1", r1.X - r0.X + e, r1.Y - r0.Y + e, func() Stack { return s.nearestOrNext(k.Receiver.RecessDepth, t.SheetTolerance) }}
		template := board{"recess template", block.length, block.width, func() Stack { return s.atLeast(c.practice.TemplateThickness) }}
		switch {
		case k.HasLeg(part.CoamingWall):
			block = board{"receiver's cavity board", base.length, base.width, func() Stack { return s.nearestOrNext(k.Coaming.Height, t.SheetTolerance) }}
		case !k.HasLeg(part.Wall):
			block = board{}
		}
		return [4]board{base, block, template,
			{"lid's cavity board", l1.X - l0.X + m, l1.Y - l0.Y + m, func() Stack { return s.atLeast(g.SkirtHeight + t.RimRadius) }}}
	}
	boards := sides(&g.Outlines)
	large := false
	for i := range boards {
		b := &boards[i]
		large = large || math.Max(b.length, b.width) > c.sheetLong+sameSize || math.Min(b.length, b.width) > c.sheetShort+sameSize
	}
	if !large {
		return list
	}
	for i := range boards {
		b := &boards[i]
		if b.stack == nil {
			continue
		}
		for _, sheet := range b.stack().Sheets {
			if fitsSheet(sheet, b.length, b.width, t.SheetTrim) {
				continue
			}
			measured, limit := math.Max(b.length, b.width), math.Max(sheet.Length, sheet.Width)-2*t.SheetTrim
			if measured <= limit+sameSize {
				measured, limit = math.Min(b.length, b.width), math.Min(sheet.Length, sheet.Width)-2*t.SheetTrim
			}
			f := finding.Finding{Code: "tooling.panel_too_large", Severity: finding.Caution, Pointer: "/outline",
				Measured: quantity.Length(measured), Limit: quantity.Length(limit), Source: sourceSheets}
			for _, p := range k.SizePointers() {
				f.Mends = append(f.Mends, finding.Seek(p, quantity.Down))
			}
			f.Mends = append(f.Mends, finding.Seek("/receiver/flange_width", quantity.Down))
			return append(list, f.Say("The %s is %v by %v; sheet %q gives %v along that side. The board is joined from pieces.",
				b.what, quantity.Length(b.length), quantity.Length(b.width), sheet.Key, f.Limit))
		}
	}
	return list
}
