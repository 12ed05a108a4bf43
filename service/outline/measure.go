package outline

import "math"

// Perimeter returns the length of the curve, mm.
//
//	L = sum of straight parts + sum of r p      (p the turn at a corner)
func (o Outline) Perimeter() float64 {
	l := 0.0
	for i, c := range o.corners {
		l += o.straight[i] + c.Radius*o.turn[i]
	}
	return l
}

// Area returns the area within the curve, mm^2.
//
//	A = area of the sharp polygon - sum of r^2 (tan(p/2) - p/2)
func (o Outline) Area() float64 {
	if o.IsZero() {
		return 0
	}
	a := twiceArea(o.corners) / 2
	for i, c := range o.corners {
		a -= c.Radius * c.Radius * (o.half[i] - o.turn[i]/2)
	}
	return a
}

// mitre returns the vector by which a corner moves when its edges, of unit
// directions u and v, each move 1 along their outward normals nu and nv:
//
//	m = (nu + nv) / (1 + nu . nv)
func mitre(u, v Point) Point {
	nu, nv := u.outward(), v.outward()
	if d := u.dot(v); d > -0.5 {
		return nu.add(nv).times(1 / (1 + d))
	}
	// Sharp corner: nu + nv is small and 1 + d smaller still. The same vector is
	// nu + u tan(p/2).
	_, half := turnBetween(u, v)
	return nu.along(u, half)
}

// centre returns the centre of the arc at corner i.
func (o Outline) centre(i int) Point {
	return o.corners[i].At.along(mitre(o.dir[o.before(i)], o.dir[i]), -o.corners[i].Radius)
}

// arcEnds returns where the arc at corner i begins and ends.
func (o Outline) arcEnds(i int) (from, to Point) {
	t := o.tangent(i)
	at := o.corners[i].At
	return at.along(o.dir[o.before(i)], -t), at.along(o.dir[i], t)
}

// Bounds returns the least and greatest x and y of the curve, mm, arcs
// included: those of the curve itself, not of its sharp corners.
func (o Outline) Bounds() (min, max Point) {
	if o.IsZero() {
		return Point{}, Point{}
	}
	min = Point{math.Inf(1), math.Inf(1)}
	max = Point{math.Inf(-1), math.Inf(-1)}
	take := func(p Point) {
		min = Point{math.Min(min.X, p.X), math.Min(min.Y, p.Y)}
		max = Point{math.Max(max.X, p.X), math.Max(max.Y, p.Y)}
	}
	for i, c := range o.corners {
		from, to := o.arcEnds(i)
		take(from)
		take(to)
		if c.Radius == 0 {
			continue
		}
		// The arc's normals run from nu to nv, turning left. It holds an axis
		// direction a when a is left of nu and right of nv.
		nu, nv := o.dir[o.before(i)].outward(), o.dir[i].outward()
		for _, a := range [...]Point{{1, 0}, {0, 1}, {-1, 0}, {0, -1}} {
			if nu.cross(a) > 0 && a.cross(nv) > 0 {
				take(o.centre(i).along(a, c.Radius))
			}
		}
	}
	return min, max
}

// Length returns the extent of the curve along x, mm.
func (o Outline) Length() float64 { min, max := o.Bounds(); return max.X - min.X }

// Width returns the extent of the curve along y, mm.
func (o Outline) Width() float64 { min, max := o.Bounds(); return max.Y - min.Y }

// Contains reports whether p is within the curve or on it.
func (o Outline) Contains(p Point) bool {
	if o.IsZero() {
		return false
	}
	for i, c := range o.corners {
		if p.sub(c.At).dot(o.dir[i].outward()) > 0 {
			return false
		}
	}
	for i, c := range o.corners {
		if c.Radius > 0 {
			if v := p.sub(o.centre(i)); o.inSector(i, v) && v.norm() > c.Radius {
				return false
			}
		}
	}
	return true
}

// inSector reports whether v, from the centre of corner i's arc, points into the
// angle the arc spans.
func (o Outline) inSector(i int, v Point) bool {
	return v.dot(o.dir[o.before(i)]) >= 0 && v.dot(o.dir[i]) <= 0
}

// Distance returns the distance of p from the curve, mm, negative within it.
// The zero Outline is infinitely far from everything.
func (o Outline) Distance(p Point) float64 {
	d := math.Inf(1)
	for i, c := range o.corners {
		_, a := o.arcEnds(i)
		b, _ := o.arcEnds(o.after(i))
		u := o.dir[i]
		v := p.sub(a)
		switch s := v.dot(u); {
		case s <= 0:
			d = math.Min(d, v.norm())
		case s >= o.straight[i]:
			d = math.Min(d, p.sub(b).norm())
		default:
			d = math.Min(d, math.Abs(v.cross(u)))
		}
		if c.Radius > 0 {
			if v := p.sub(o.centre(i)); o.inSector(i, v) {
				d = math.Min(d, math.Abs(v.norm()-c.Radius))
			}
		}
	}
	if o.Contains(p) {
		return -d
	}
	return d
}
