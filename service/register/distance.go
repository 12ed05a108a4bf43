package register

import (
	"math"
	"slices"

	"hatchwright/service/outline"
)

// disc is a corner of an outline as its support function sees it: the middle of
// its arc and the radius, 0 for a sharp corner.
type disc struct {
	at     outline.Point
	radius float64
}

// discs of an outline and the directions, radians, in which one takes over from
// the next: the normals of its edges.
func discs(o outline.Outline) (list []disc, normals []float64) {
	corners := o.Corners()
	n := len(corners)
	for i, c := range corners {
		before, after := corners[(i+n-1)%n].At, corners[(i+1)%n].At
		in, out := unit(before, c.At), unit(c.At, after)
		normals = append(normals, math.Atan2(-out.X, out.Y)) // right of the way: (y, -x)
		at := c.At
		if c.Radius > 0 {
			// The middle of the arc lies inside both edges by the radius:
			//
			//	m = corner + r (v - u) / |u x v| = corner + r (v - u) / sin(turn)
			//
			// with u, v the directions of the edges in and out.
			turn := in.X*out.Y - in.Y*out.X
			at = outline.Point{X: c.At.X + c.Radius*(out.X-in.X)/turn, Y: c.At.Y + c.Radius*(out.Y-in.Y)/turn}
		}
		list = append(list, disc{at, c.Radius})
	}
	return list, normals
}

func unit(a, b outline.Point) outline.Point {
	x, y := b.X-a.X, b.Y-a.Y
	l := math.Hypot(x, y)
	return outline.Point{X: x / l, Y: y / l}
}

// support is the greatest reach of the discs in a direction, and the disc that has
// it:
//
//	h(u) = max over corners of (m . u + r)
func support(list []disc, angle float64) (reach float64, which int) {
	s, c := math.Sincos(angle)
	reach = math.Inf(-1)
	for i, d := range list {
		if h := d.at.X*c + d.at.Y*s + d.radius; h > reach {
			reach, which = h, i
		}
	}
	return reach, which
}

// Distance is the Hausdorff distance of two outlines as they lie, mm: the most
// that any point of either curve is away from the other.
//
//	H = max over directions of |h(u) - h'(u)|
//
// Between two directions in which a disc takes over, h - h' is one sinusoid, so
// its extremes are at the ends and where u points along the line between the two
// middles. Exact for convex outlines.
func Distance(a, b outline.Outline) float64 {
	if a.IsZero() || b.IsZero() {
		if a.IsZero() && b.IsZero() {
			return 0
		}
		return math.Inf(1)
	}
	da, na := discs(a)
	db, nb := discs(b)
	turns := slices.Concat(na, nb)
	slices.Sort(turns)
	worst := 0.0
	for i, from := range turns {
		to := turns[0] + 2*math.Pi
		if i+1 < len(turns) {
			to = turns[i+1]
		}
		ha, _ := support(da, from)
		hb, _ := support(db, from)
		worst = math.Max(worst, math.Abs(ha-hb))
		if to <= from {
			continue
		}
		_, p := support(da, (from+to)/2)
		_, q := support(db, (from+to)/2)
		dx, dy := da[p].at.X-db[q].at.X, da[p].at.Y-db[q].at.Y
		if dx == 0 && dy == 0 {
			continue
		}
		along := math.Atan2(dy, dx)
		for _, extreme := range []float64{along - math.Pi, along, along + math.Pi, along + 2*math.Pi} {
			if extreme > from && extreme < to {
				s, c := math.Sincos(extreme)
				worst = math.Max(worst, math.Abs(dx*c+dy*s+da[p].radius-db[q].radius))
			}
		}
	}
	return worst
}
