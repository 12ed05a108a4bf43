package outline

import "math"

// Point is a point, or a vector, in plan, mm.
type Point struct{ X, Y float64 }

func (p Point) add(q Point) Point              { return Point{p.X + q.X, p.Y + q.Y} }
func (p Point) sub(q Point) Point              { return Point{p.X - q.X, p.Y - q.Y} }
func (p Point) times(k float64) Point          { return Point{p.X * k, p.Y * k} }
func (p Point) dot(q Point) float64            { return p.X*q.X + p.Y*q.Y }
func (p Point) cross(q Point) float64          { return p.X*q.Y - p.Y*q.X }
func (p Point) norm() float64                  { return math.Hypot(p.X, p.Y) }
func (p Point) outward() Point                 { return Point{p.Y, -p.X} } // right of the direction of travel
func (p Point) finite() bool                   { return finite(p.X) && finite(p.Y) }
func finite(v float64) bool                    { return !math.IsNaN(v) && !math.IsInf(v, 0) }
func (p Point) along(u Point, s float64) Point { return Point{p.X + u.X*s, p.Y + u.Y*s} }

// Corner is one corner of an outline: At, the point where its two edges meet
// when produced, mm, and the Radius of the arc that rounds it, mm, 0 for a
// sharp corner.
type Corner struct {
	At     Point
	Radius float64
}

// Outline is a closed convex curve of straight edges and tangent corner arcs.
// Make one with [New] or a shape's constructor. Slices handed out are copies.
//
// Edge i runs from corner i to corner i+1. Directions, turns and straight
// lengths are carried along through offsets rather than worked out anew from
// the corners, so that edges that have become very short keep their direction.
type Outline struct {
	corners  []Corner
	dir      []Point   // unit direction of edge i
	turn     []float64 // turn angle at corner i, radians, 0 < turn < pi
	half     []float64 // tan(turn/2) at corner i
	straight []float64 // length of the straight part of edge i, >= 0
	size     float64   // what tolerances are relative to, mm
}

// New makes an outline of corners given in order round the shape, either way;
// clockwise corners are reversed, keeping the first one first. Corners on the
// straight line between their neighbours do nothing, whatever their radius, and
// are dropped. Corners kept are kept exactly, to the last bit.
//
// Errors: *[DegenerateError], *[ReflexError], *[RadiusTooLargeError]. Corner
// indices in errors are those of the slice given.
func New(corners []Corner) (Outline, error) {
	n := len(corners)
	if n < 3 {
		return Outline{}, &DegenerateError{-1, TooFewCorners}
	}
	size := 0.0
	lo, hi := corners[0].At, corners[0].At
	for i, c := range corners {
		switch {
		case !c.At.finite() || !finite(c.Radius):
			return Outline{}, &DegenerateError{i, NotFinite}
		case c.Radius < 0:
			return Outline{}, &DegenerateError{i, NegativeRadius}
		case math.Abs(c.At.X) > MaxCoordinate || math.Abs(c.At.Y) > MaxCoordinate || c.Radius > MaxCoordinate:
			return Outline{}, &DegenerateError{i, TooLarge}
		}
		size = math.Max(size, math.Max(math.Abs(c.At.X), math.Abs(c.At.Y)))
		lo = Point{math.Min(lo.X, c.At.X), math.Min(lo.Y, c.At.Y)}
		hi = Point{math.Max(hi.X, c.At.X), math.Max(hi.Y, c.At.Y)}
	}
	extent := hi.sub(lo).norm()
	if extent < MinExtent {
		return Outline{}, &DegenerateError{-1, NoArea}
	}
	size = math.Max(size, extent)
	tol := fit(size)
	for i := range corners {
		if corners[i].At.sub(corners[(i+n-1)%n].At).norm() <= tol {
			return Outline{}, &DegenerateError{i, RepeatedCorner}
		}
	}

	// index maps corners in counter-clockwise order to the caller's.
	index := make([]int, n)
	area := twiceArea(corners)
	for i := range index {
		index[i] = i
		if area < 0 && i > 0 {
			index[i] = n - i
		}
	}
	index, err := dropStraight(corners, index, size)
	flat := math.Abs(area)/2 < sliverTolerance*extent*extent
	if err != nil {
		if flat { // a there-and-back line is no spike on a shape
			err = &DegenerateError{-1, NoArea}
		}
		return Outline{}, err
	}
	if err := checkTurns(corners, index); err != nil {
		return Outline{}, err
	}
	if flat {
		return Outline{}, &DegenerateError{-1, NoArea}
	}

	kept := make([]Corner, len(index))
	for i, j := range index {
		kept[i] = corners[j]
	}
	o := Outline{corners: kept, size: size}
	o.dir = make([]Point, len(kept))
	for i := range kept {
		v := kept[o.after(i)].At.sub(kept[i].At)
		o.dir[i] = v.times(1 / v.norm())
	}
	o.setTurns()
	for i := range o.turn {
		if !(o.turn[i] > 0 && o.turn[i] < math.Pi-needleAngle && finite(o.half[i])) {
			return Outline{}, &DegenerateError{index[i], Spike}
		}
	}
	o.setStraights()
	if err := o.checkRadii(index); err != nil {
		return Outline{}, err
	}
	return o, nil
}

// twiceArea returns twice the signed area within the corners, taken about the
// first so that shapes far from the origin lose nothing.
func twiceArea(corners []Corner) float64 {
	a := 0.0
	p := corners[0].At
	for i := 1; i+1 < len(corners); i++ {
		a += corners[i].At.sub(p).cross(corners[i+1].At.sub(p))
	}
	return a
}

// dropStraight removes from index the corners that lie on the line between the
// last one kept and the next, and refuses those that turn straight back.
func dropStraight(corners []Corner, index []int, size float64) ([]int, error) {
	n := len(index)
	tol := collinearTolerance * size
	onLine := func(a, b, c int) (on, back bool) {
		u := corners[b].At.sub(corners[a].At)
		v := corners[c].At.sub(corners[b].At)
		// Distance of b from the line through a and c, or, where c is nearly on
		// a, from the line along the longer leg.
		chord := math.Max(u.add(v).norm(), math.Max(u.norm(), v.norm()))
		if math.Abs(u.cross(v))/chord > tol {
			return false, false
		}
		return true, u.dot(v) < 0
	}
	// Start at a corner that turns for certain: the lowest, then leftmost.
	first := 0
	for i, j := range index {
		a, b := corners[j].At, corners[index[first]].At
		if a.Y < b.Y || a.Y == b.Y && a.X < b.X {
			first = i
		}
	}
	keep := make([]bool, n)
	keep[first] = true
	last := first
	for k := 1; k < n; k++ {
		i := (first + k) % n
		on, back := onLine(index[last], index[i], index[(i+1)%n])
		if back {
			return nil, &DegenerateError{index[i], Spike}
		}
		if !on {
			keep[i] = true
			last = i
		}
	}
	out := make([]int, 0, n)
	for i, j := range index {
		if keep[i] {
			out = append(out, j)
		}
	}
	if len(out) < 3 {
		return nil, &DegenerateError{-1, NoArea}
	}
	// The starting corner itself, now that its neighbours are known.
	pos := 0
	for i, j := range out {
		if j == index[first] {
			pos = i
		}
	}
	m := len(out)
	if on, back := onLine(out[(pos+m-1)%m], out[pos], out[(pos+1)%m]); back {
		return nil, &DegenerateError{out[pos], Spike}
	} else if on {
		if out = append(out[:pos], out[pos+1:]...); len(out) < 3 {
			return nil, &DegenerateError{-1, NoArea}
		}
	}
	return out, nil
}

// checkTurns verifies that every corner turns left and that once round is one
// whole turn, which together say that the polygon is simple and convex.
func checkTurns(corners []Corner, index []int) error {
	n := len(index)
	total := 0.0
	reflex := -1
	for i, j := range index {
		u := corners[j].At.sub(corners[index[(i+n-1)%n]].At)
		v := corners[index[(i+1)%n]].At.sub(corners[j].At)
		turn := math.Atan2(u.cross(v), u.dot(v))
		if turn <= 0 && (reflex < 0 || j < reflex) {
			reflex = j
		}
		total += turn
	}
	switch {
	case math.Abs(total-2*math.Pi) > 1: // whole turns only: 0, 2 pi, 4 pi ...
		return &DegenerateError{-1, Crossing}
	case reflex >= 0:
		return &ReflexError{reflex, corners[reflex].At}
	}
	return nil
}

func (o Outline) after(i int) int {
	if i++; i == len(o.corners) {
		return 0
	}
	return i
}

func (o Outline) before(i int) int {
	if i == 0 {
		return len(o.corners) - 1
	}
	return i - 1
}

// setTurns works out the turn at every corner from the directions.
func (o *Outline) setTurns() {
	n := len(o.dir)
	o.turn, o.half = make([]float64, n), make([]float64, n)
	for i := range o.dir {
		o.turn[i], o.half[i] = turnBetween(o.dir[o.before(i)], o.dir[i])
	}
}

// turnBetween returns the angle from unit vector u to unit vector v and the
// tangent of half of it.
//
//	tan(p/2) = sin p / (1 + cos p) = (1 - cos p) / sin p
//
// of which the one that does not cancel is used.
func turnBetween(u, v Point) (turn, half float64) {
	s, c := u.cross(v), u.dot(v)
	turn = math.Atan2(s, c)
	if c >= 0 {
		return turn, s / (1 + c)
	}
	return turn, (1 - c) / s
}

// setStraights works out the straight parts of the edges from the corners.
func (o *Outline) setStraights() {
	o.straight = make([]float64, len(o.corners))
	for i := range o.corners {
		o.straight[i] = o.edgeLength(i) - o.tangent(i) - o.tangent(o.after(i))
	}
}

func (o Outline) edgeLength(i int) float64 {
	return o.corners[o.after(i)].At.sub(o.corners[i].At).norm()
}

// tangent returns the tangent length at corner i.
func (o Outline) tangent(i int) float64 { return o.corners[i].Radius * o.half[i] }

// checkRadii refuses straight parts that are negative by more than rounding and
// sets the others that are negative to zero. index maps to the caller's corners.
func (o *Outline) checkRadii(index []int) error {
	tol := fit(o.size)
	worst := -1
	for i, s := range o.straight {
		if s < -tol && (worst < 0 || s < o.straight[worst]) {
			worst = i
		}
		if s < 0 && s >= -tol {
			o.straight[i] = 0
		}
	}
	if worst < 0 {
		return nil
	}
	at := worst
	if next := o.after(worst); o.tangent(next) > o.tangent(at) {
		at = next
	}
	left := math.Min(
		o.edgeLength(at)-o.tangent(o.after(at)),
		o.edgeLength(o.before(at))-o.tangent(o.before(at)))
	return &RadiusTooLargeError{
		Corner:  index[at],
		Radius:  o.corners[at].Radius,
		Largest: math.Max(left, 0) / o.half[at],
		Common:  o.largestCommon(),
	}
}

// largestCommon returns the largest radius that fits at every corner at once:
// the least over the edges of edge length / (tan(p1/2) + tan(p2/2)).
func (o Outline) largestCommon() float64 {
	r := math.Inf(1)
	for i := range o.corners {
		r = math.Min(r, o.edgeLength(i)/(o.half[i]+o.half[o.after(i)]))
	}
	return r
}

// Corners returns the corners, counter-clockwise, as a copy.
func (o Outline) Corners() []Corner { return append([]Corner(nil), o.corners...) }

// IsZero reports whether o is the zero Outline, which has no corners.
func (o Outline) IsZero() bool { return len(o.corners) == 0 }

// Equal reports whether o and p have the same corners in the same order, to the
// last bit.
func (o Outline) Equal(p Outline) bool {
	if len(o.corners) != len(p.corners) {
		return false
	}
	for i := range o.corners {
		if o.corners[i] != p.corners[i] {
			return false
		}
	}
	return true
}

// MinCornerRadius returns the least corner radius, mm.
func (o Outline) MinCornerRadius() float64 {
	if o.IsZero() {
		return 0
	}
	r := math.Inf(1)
	for _, c := range o.corners {
		r = math.Min(r, c.Radius)
	}
	return r
}

// WithMinRadius returns o with every corner whose radius is below r, mm, rounded
// to r instead. When that does not fit, the error is a *[RadiusTooLargeError]
// whose Largest is the largest r that does; a negative or non-finite r is a
// *[DimensionError].
func (o Outline) WithMinRadius(r float64) (Outline, error) {
	if !(r >= 0 && r <= MaxCoordinate) {
		return Outline{}, &DimensionError{"radius", r}
	}
	if o.IsZero() {
		return o, nil
	}
	out := o
	out.corners = o.Corners()
	for i := range out.corners {
		out.corners[i].Radius = math.Max(out.corners[i].Radius, r)
	}
	out.straight = make([]float64, len(o.corners))
	tol := fit(o.size)
	fits := true
	for i := range out.corners {
		// Take from the straight part only what the corners grew by.
		j := o.after(i)
		grown := (out.corners[i].Radius-o.corners[i].Radius)*o.half[i] +
			(out.corners[j].Radius-o.corners[j].Radius)*o.half[j]
		s := o.straight[i] - grown
		fits = fits && s >= -tol
		out.straight[i] = math.Max(s, 0)
	}
	if fits {
		return out, nil
	}
	// On each edge, with radii a <= b: a alone grows until it reaches b, then
	// both grow.
	//	x ta + b tb = l        x (ta + tb) = l
	largest := math.Inf(1)
	for i := range o.corners {
		a, b := i, o.after(i)
		if o.corners[a].Radius > o.corners[b].Radius {
			a, b = b, a
		}
		x := o.corners[a].Radius + o.straight[i]/o.half[a]
		if rb := o.corners[b].Radius; x > rb {
			over := o.straight[i] - (rb-o.corners[a].Radius)*o.half[a]
			x = rb + over/(o.half[a]+o.half[b])
		}
		largest = math.Min(largest, x)
	}
	return Outline{}, &RadiusTooLargeError{Corner: -1, Radius: r, Largest: largest, Common: o.largestCommon()}
}
