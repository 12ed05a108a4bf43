package outline

import "math"

// Translate returns o moved by dx, dy, mm. A move that is not finite, or that
// takes the outline past [MaxCoordinate], gives the zero Outline.
func (o Outline) Translate(dx, dy float64) Outline {
	v := Point{dx, dy}
	return o.mapped(1, func(p Point) Point { return p.add(v) }, func(u Point) Point { return u })
}

// Rotate returns o turned counter-clockwise about the origin, degrees. Whole
// quarter turns are exact. A turn that is not finite gives the zero Outline.
func (o Outline) Rotate(degrees float64) Outline {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	switch math.Mod(degrees, 360) {
	case 0:
		sin, cos = 0, 1
	case 90, -270:
		sin, cos = 1, 0
	case 180, -180:
		sin, cos = 0, -1
	case 270, -90:
		sin, cos = -1, 0
	}
	turn := func(p Point) Point { return Point{p.X*cos - p.Y*sin, p.X*sin + p.Y*cos} }
	return o.mapped(1, turn, turn)
}

// Mirror returns o reflected in the x axis, y becoming -y: port for starboard.
// Corner 0 stays corner 0 and the others are reversed, so that the order remains
// counter-clockwise.
func (o Outline) Mirror() Outline {
	n := len(o.corners)
	out := Outline{
		corners: make([]Corner, n), dir: make([]Point, n), turn: make([]float64, n),
		half: make([]float64, n), straight: make([]float64, n), size: o.size}
	for i := range o.corners {
		j := (n - i) % n // corner i of the mirror image is corner j
		c := o.corners[j]
		out.corners[i] = Corner{Point{c.At.X, -c.At.Y}, c.Radius}
		out.turn[i], out.half[i] = o.turn[j], o.half[j]
		// Edge i of the image runs from corner j to corner j-1: edge j-1 backwards.
		k := (j + n - 1) % n
		out.dir[i] = Point{-o.dir[k].X, o.dir[k].Y}
		out.straight[i] = o.straight[k]
	}
	return out
}

// Scale returns o scaled about the origin, radii included. The factor must be
// positive and finite, else the error is a *[DimensionError]; a result too small
// or too large to be an outline is a *[DegenerateError].
func (o Outline) Scale(factor float64) (Outline, error) {
	if !(factor > 0) || math.IsInf(factor, 0) {
		return Outline{}, &DimensionError{"scale", factor}
	}
	if o.IsZero() {
		return o, nil
	}
	out := o.mapped(factor, func(p Point) Point { return p.times(factor) }, func(u Point) Point { return u })
	if out.IsZero() {
		return out, &DegenerateError{-1, TooLarge}
	}
	return out.settled()
}

// mapped returns o with its corners moved and its directions turned; lengths
// grow by the factor. Results that are not finite or too large are the zero
// Outline.
func (o Outline) mapped(factor float64, move, turn func(Point) Point) Outline {
	n := len(o.corners)
	out := Outline{corners: make([]Corner, n), dir: make([]Point, n), straight: make([]float64, n), turn: o.turn, half: o.half}
	for i, c := range o.corners {
		at := move(c.At)
		// Written so that NaN fails it too.
		if !(math.Abs(at.X) <= MaxCoordinate && math.Abs(at.Y) <= MaxCoordinate && c.Radius*factor <= MaxCoordinate) {
			return Outline{}
		}
		out.corners[i] = Corner{at, c.Radius * factor}
		out.dir[i] = turn(o.dir[i])
		out.straight[i] = o.straight[i] * factor
	}
	out.size = sizeOf(out.corners)
	return out
}

// sizeOf returns what tolerances are relative to; see tolerance.go.
func sizeOf(corners []Corner) float64 {
	if len(corners) == 0 {
		return 0
	}
	lo, hi := corners[0].At, corners[0].At
	size := 0.0
	for _, c := range corners {
		size = math.Max(size, math.Max(math.Abs(c.At.X), math.Abs(c.At.Y)))
		lo = Point{math.Min(lo.X, c.At.X), math.Min(lo.Y, c.At.Y)}
		hi = Point{math.Max(hi.X, c.At.X), math.Max(hi.Y, c.At.Y)}
	}
	return math.Max(size, hi.sub(lo).norm())
}
