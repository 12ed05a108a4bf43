package drawing

import (
	"cmp"
	"math"
	"slices"

	"hatchwright/service/derivation"
	"hatchwright/service/outline"
	"hatchwright/service/part"
)

// drainPlaces are where a gutter's drains are proposed: on the middle line of its
// floor, at the corners furthest aft first, where water stands in a boat that lies
// level or squats; one drain alone in the middle of the aft side; what is more than
// the corners in the middle of the longest stretch left, aft first.
//
// Source: shop rule (common practice, no published source).
func drainPlaces(r *derivation.Result) ([]outline.Point, error) {
	c, g := &r.Configuration, &r.Geometry
	n := int(c.Gutter.DrainCount)
	outer, inner, gutter := g.ReceiverProfile.Leg(part.GutterFloor)
	if !gutter || n < 1 {
		return nil, nil
	}
	line, err := g.Outlines.Recess.Offset((outer.At.N + inner.At.N) / 2)
	if err != nil {
		return nil, err
	}
	length := line.Perimeter()
	if n == 1 {
		return []outline.Point{aftMiddle(line)}, nil
	}
	type place struct {
		at outline.Point
		s  float64 // along the line
	}
	var corners []place
	s := 0.0
	segments := line.Segments()
	for i, seg := range segments {
		l := seg.Length()
		if seg.Kind == outline.Arc {
			p, _ := seg.At(0.5)
			corners = append(corners, place{p, s + l/2})
		} else if segments[(i+1)%len(segments)].Kind == outline.Line { // a sharp corner
			corners = append(corners, place{seg.To, s + l})
		}
		s += l
	}
	// Places within a micrometer along the boat are level with one another.
	const level = 1e-3
	slices.SortStableFunc(corners, func(a, b place) int {
		if d := a.at.X - b.at.X; math.Abs(d) > level {
			return cmp.Compare(d, 0)
		}
		return cmp.Compare(b.at.Y, a.at.Y)
	})
	chosen := corners[:min(n, len(corners))]
	for len(chosen) < n {
		along := slices.Clone(chosen)
		slices.SortFunc(along, func(a, b place) int { return cmp.Compare(a.s, b.s) })
		// The longest stretch; of equal ones the one furthest aft.
		var best place
		gap := 0.0
		for i, p := range along {
			next := along[(i+1)%len(along)].s
			if i+1 == len(along) {
				next += length
			}
			m := math.Mod((p.s+next)/2, length)
			at, _ := line.At(m)
			if l := next - p.s; l > gap+level || l > gap-level && at.X < best.at.X-level {
				best, gap = place{at, m}, math.Max(l, gap)
			}
		}
		chosen = append(chosen, best)
	}
	out := make([]outline.Point, n)
	for i, p := range chosen {
		out[i] = p.at
	}
	return out, nil
}

// aftMiddle is the middle of what lies furthest aft of a line: of an edge athwart,
// or of the ends of the arcs and corners that reach as far.
func aftMiddle(line outline.Outline) outline.Point {
	const level = 1e-3
	low, _ := line.Bounds()
	least, most := math.Inf(1), math.Inf(-1)
	reach := func(x, y float64) {
		if math.Abs(x-low.X) < level {
			least, most = math.Min(least, y), math.Max(most, y)
		}
	}
	for _, s := range line.Segments() {
		reach(s.From.X, s.From.Y)
		if s.Kind == outline.Arc {
			// The extreme of its circle, where that is as far aft as the line goes.
			reach(s.Center.X-s.Radius, s.Center.Y)
		}
	}
	return outline.Point{X: low.X, Y: (least + most) / 2}
}
