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
// the corners in the middle of the longest stretch left.
//
// Source: shop rule (common practice, no published source).
func drainPlaces(r *derivation.Result) ([]outline.Point, error) {
	c, g := &r.Configuration, &r.Geometry
	n := int(c.Gutter.DrainCount)
	if c.Pattern != part.FlushGutter || n < 1 {
		return nil, nil
	}
	v := g.ReceiverProfile.Vertices()
	line, err := g.Outlines.Recess.Offset((v[2].At.N + v[3].At.N) / 2)
	if err != nil {
		return nil, err
	}
	length := line.Perimeter()
	if n == 1 {
		return []outline.Point{aftMiddle(line, length)}, nil
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
		from, gap := 0.0, 0.0
		for i, p := range along {
			next := along[(i+1)%len(along)].s
			if i+1 == len(along) {
				next += length
			}
			if next-p.s > gap+level {
				from, gap = p.s, next-p.s
			}
		}
		at := math.Mod(from+gap/2, length)
		p, _ := line.At(at)
		chosen = append(chosen, place{p, at})
	}
	out := make([]outline.Point, n)
	for i, p := range chosen {
		out[i] = p.at
	}
	return out, nil
}

// aftMiddle is the middle of what lies furthest aft of a line.
func aftMiddle(line outline.Outline, length float64) outline.Point {
	const samples = 2000
	low, _ := line.Bounds()
	least, most := math.Inf(1), math.Inf(-1)
	for i := range samples {
		p, _ := line.At(length * float64(i) / samples)
		// A sample next to the extreme of an arc is off it by r (1 - cos(π/samples)).
		if p.X-low.X < length*1e-6 {
			least, most = math.Min(least, p.Y), math.Max(most, p.Y)
		}
	}
	if least > most { // between two samples
		p, _ := line.At(0)
		return p
	}
	return outline.Point{X: low.X, Y: (least + most) / 2}
}
