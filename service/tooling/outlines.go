package tooling

import (
	"fmt"
	"math"

	"hatchwright/service/part"
)

// The families of outlines: those of one are offsets of one another.
const (
	familyRecess = iota
	familyTrunk  // a trunk whose corners were re-rounded is no offset of the recess
	familyCavity // and on: holes that no bit can follow, each its own
)

// bearingHeight is how tall a bearing is, mm (common practice, no source): by so
// much of the leaning wall already cut a second depth steps out.
const bearingHeight = 5.0

func tangent(deg float64) float64 { return math.Tan(deg * math.Pi / 180) }

// outlinesNeeded lists the outlines that the molds need cut. size is what the
// molds are made larger by. Depths are those of the sections' corners inside R0:
//
//	block 1       R0; a gutter's ring stands on it and is cut with it, one wall
//	block 2       at the trunk's upper corner; re-rounded, it is of no family
//	coaming       the hole at the coaming's top, where it is narrowest
//	lid cavity    the hole at the lid's top
//	gutter ring   its inside at the upstand's top
func (c *Crib) outlinesNeeded(k *part.Configuration, g *part.Geometry, size float64, made stacks) ([]need, error) {
	p := c.practice
	list := make([]need, 0, 4)
	hole := func(n need, at, draft float64, s Stack) error {
		if n.outline.IsZero() {
			var err error
			if n.outline, err = g.Outlines.Recess.Offset(size * at); err != nil {
				return fmt.Errorf("%s hole: %w", n.name, err)
			}
		}
		n.hole = true
		if c.hole(&n, -size*at, draft, s); n.family == familyCavity {
			n.family += len(list)
		}
		list = append(list, n)
		return nil
	}
	if k.HasLeg(part.Wall) {
		n := need{name: "recess", part: part.Receiver, board: RecessBlock, outline: g.Outlines.Recess, tolerance: p.SizeTolerance, ring: k.HasLeg(part.Upstand)}
		stack := made.receiver[RecessBlock]
		if ring := made.receiver[GutterRing]; n.ring {
			stack.Thickness += ring.Thickness
			stack.Sheets = append(stack.Sheets[:len(stack.Sheets):len(stack.Sheets)], ring.Sheets...)
		}
		c.block(&n, 0, k.Receiver.Draft, stack)
		list = append(list, n)
	}
	if k.HasLeg(part.CoamingWall) {
		n := need{name: "coaming", part: part.Receiver, board: CavityBoard, tolerance: p.SizeTolerance}
		if err := hole(n, g.Corner(part.CoamingTop).N, k.Receiver.Draft, made.receiver[CavityBoard]); err != nil {
			return nil, err
		}
	}
	if k.HasTrunk() {
		n := need{name: "trunk", part: part.Receiver, board: TrunkBlock, outline: g.Outlines.Trunk, tolerance: p.TrunkTolerance}
		depth := -size * g.Corner(part.Lip).N
		if g.TrunkRounded {
			n.family, depth = familyTrunk, 0
		}
		c.block(&n, depth, k.Receiver.TrunkDraft, made.receiver[TrunkBlock])
		list = append(list, n)
	}
	n := need{name: "lid", part: part.Lid, board: CavityBoard, outline: g.Outlines.Lid, tolerance: p.SizeTolerance}
	if err := hole(n, g.Corner(part.LidEdge).N, k.Lid.Draft, made.lid); err != nil {
		return nil, err
	}
	if k.HasLeg(part.Upstand) {
		n := need{name: "gutter", part: part.Receiver, board: GutterRing, tolerance: p.TrunkTolerance}
		if err := hole(n, g.Corner(part.UpstandTop).N, k.Receiver.Draft, made.receiver[GutterRing]); err != nil {
			return nil, err
		}
	}
	return list, nil
}

func thickest(s Stack) float64 {
	t := 0.0
	for _, sheet := range s.Sheets {
		t = math.Max(t, sheet.Thickness)
	}
	return t
}

// leaning returns the tapered bits of a draft, no wider than widest, that cut a
// whole stack's edge in the fewest passes.
func (c *Crib) leaning(draft float64, s Stack, widest float64) (set uint64, passes int) {
	first, n := c.taperedFor(draft)
	return c.fewest(c.tapered[first:first+n], len(c.flush)+first, s.Thickness, widest)
}

// wallError is what cutting a wall in passes adds: each pass its own, and where
// the wall leans each further one a step of the bearing's height.
func (c *Crib) wallError(passes int, draft float64) float64 {
	return float64(passes)*c.practice.passError() + float64(passes-1)*bearingHeight*tangent(draft)
}

// block gives a block the one way it is cut: copied from a template its size,
// sheet by sheet where its wall is square, as a whole where it leans.
func (c *Crib) block(n *need, depth, draft float64, s Stack) {
	n.draft, n.pieces = draft, len(s.Sheets)
	o := option{depth: depth, frame: -1}
	if draft > sameDraft {
		if o.tools, o.passes = c.leaning(draft, s, math.Inf(1)); o.tools == 0 {
			n.bevel = true
		}
	}
	if o.tools != 0 {
		o.err = c.wallError(o.passes, draft)
	} else {
		o.tools, o.passes = c.fewest(c.flush, 0, thickest(s), math.Inf(1))
		o.err = c.wallError(o.passes, 0)
	}
	n.options = []option{o}
}

// hole gives a cavity board the ways its hole is cut. A bit of diameter d that
// follows the outside of a template leaves the edge d outside it, so that the
// template must lie d inside the hole; the edge comes out with corner radii of d
// or more. A leaning wall may also be cut from a hole template, whose inside the
// tapered bit follows: it needs corners of half its diameter only.
//
//	              d
//	template ────┤ ├──── hole
//	             (o)  bit and bearing
func (c *Crib) hole(n *need, depth, draft float64, s Stack) {
	n.draft, n.pieces = draft, len(s.Sheets)
	radius := n.outline.MinCornerRadius()
	inside, insidePasses := uint64(0), 1
	if draft > sameDraft {
		inside, insidePasses = c.leaning(draft, s, 2*radius)
		n.bevel = inside == 0
	}
	n.options = make([]option, 0, len(c.flush)+2)
	if inside != 0 {
		first, count := c.taperedFor(draft)
		for i := first; i < first+count; i++ {
			t := c.tapered[i]
			if t.diameter > radius+sameSize || len(c.flush)+i >= mostTools {
				continue
			}
			p := t.passes(s.Thickness)
			n.options = append(n.options, option{depth: depth + t.diameter, follow: t.diameter, frame: -1, tools: 1 << (len(c.flush) + i), passes: p, err: c.wallError(p, draft)})
		}
	}
	for i, t := range c.flush {
		if t.diameter > radius+sameSize || i >= mostTools {
			continue
		}
		o := option{depth: depth + t.diameter, follow: t.diameter, frame: -1}
		if inside != 0 {
			o.frame, o.cuts, o.tools, o.passes = i, 1, inside, insidePasses
			o.err = c.wallError(t.passes(c.practice.TemplateThickness), 0) + c.wallError(insidePasses, draft)
		} else {
			o.tools, o.passes = 1<<i, t.passes(thickest(s))
			o.err = c.wallError(o.passes, 0)
		}
		n.options = append(n.options, o)
	}
	if len(n.options) > 0 {
		return
	}
	// No bit turns in the corners: the hole's template is laid out by hand, and
	// its inside copied by what fits, or the corners are cut by hand.
	n.family = familyCavity
	o := option{frame: -1, tools: inside, passes: insidePasses}
	if inside != 0 {
		o.err = c.wallError(o.passes, draft)
	} else {
		if o.tools, o.passes = c.fewest(c.flush, 0, thickest(s), 2*radius); o.tools == 0 {
			n.corners = true
			o.tools, o.passes = c.smallest(thickest(s))
		}
		o.err = c.wallError(o.passes, 0)
	}
	n.options = append(n.options, o)
}

// smallest returns the straight bit of least diameter.
func (c *Crib) smallest(height float64) (set uint64, passes int) {
	d := math.Inf(1)
	passes = 1
	for i, t := range c.flush {
		if t.diameter < d && i < mostTools {
			d, set, passes = t.diameter, 1<<i, t.passes(height)
		}
	}
	return set, passes
}
