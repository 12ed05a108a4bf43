package profile

import (
	"math"

	"hatchwright/service/outline"
)

// Point is a point of a section, mm: N the outward offset from the reference
// outline, Z the depth below deck.
type Point struct{ N, Z float64 }

func (p Point) sub(q Point) Point              { return Point{p.N - q.N, p.Z - q.Z} }
func (p Point) norm() float64                  { return math.Hypot(p.N, p.Z) }
func (p Point) along(u Point, s float64) Point { return Point{p.N + u.N*s, p.Z + u.Z*s} }

// Mark says what a corner or a leg of a path is; its meaning is the caller's. The
// zero mark says nothing.
type Mark uint8

// Vertex is a corner of the path before rounding. Radius, mm, rounds it with the
// arc tangent to both legs, whatever their angle. Name says what it is ("edge",
// "root", "lip") in errors and segments; it may be empty. Corner marks the vertex
// itself, Leg the leg that leads to it.
type Vertex struct {
	At     Point
	Radius float64
	Name   string
	Corner Mark
	Leg    Mark
}

// Kind tells lines from arcs.
type Kind uint8

// The kinds of a [Segment].
const (
	Line Kind = iota
	Arc
)

func (k Kind) String() string {
	if k == Arc {
		return "arc"
	}
	return "line"
}

// Segment is one line or arc of a profile. Center, Radius, mm, Sweep and Start,
// radians, are those of an arc: the arc runs over the angles Start to Start +
// Sweep, measured at Center from +n towards +z. Name is that of the vertex an
// arc rounds, or of the vertex a line leads to. Mark is the corner's of an arc, the
// leg's of a line.
type Segment struct {
	Kind     Kind
	From, To Point
	Center   Point
	Radius   float64
	Start    float64
	Sweep    float64
	Name     string
	Mark     Mark
}

// Length returns the length of the segment, mm.
func (s Segment) Length() float64 {
	if s.Kind == Arc {
		return s.Radius * math.Abs(s.Sweep)
	}
	return s.To.sub(s.From).norm()
}

// At returns the point the part t, 0 to 1, of the way along the segment.
func (s Segment) At(t float64) Point {
	switch {
	case t <= 0:
		return s.From
	case t >= 1:
		return s.To
	case s.Kind == Line:
		return s.From.along(s.To.sub(s.From), t)
	}
	sin, cos := math.Sincos(s.Start + s.Sweep*t)
	return Point{s.Center.N + s.Radius*cos, s.Center.Z + s.Radius*sin}
}

// Profile is a path of lines and tangent arcs in (n, z). Make one with [New].
// Slices handed out are copies.
type Profile struct {
	vertices []Vertex
	segments []Segment
	arcOf    []int // segment that rounds vertex i, -1 when it is sharp
	size     float64
}

// New makes the profile through the vertices, in order. The first and last have
// no radius. A vertex at which the path does not turn gets no arc.
//
// Errors: *[DegenerateError], *[RadiusTooLargeError].
func New(vertices []Vertex) (Profile, error) {
	n := len(vertices)
	if n < 2 {
		return Profile{}, &DegenerateError{-1, "", TooFewVertices}
	}
	size := 0.0
	for i, v := range vertices {
		fault := Reason("")
		a, b := math.Abs(v.At.N), math.Abs(v.At.Z)
		switch {
		case !finite(a) || !finite(b) || !finite(v.Radius):
			fault = NotFinite
		case v.Radius < 0:
			fault = NegativeRadius
		case a > MaxCoordinate || b > MaxCoordinate || v.Radius > MaxCoordinate:
			fault = TooLarge
		case v.Radius > 0 && (i == 0 || i == n-1):
			fault = RoundedEnd
		}
		if fault != "" {
			return Profile{}, &DegenerateError{i, v.Name, fault}
		}
		size = math.Max(size, math.Max(a, b))
	}
	p := Profile{vertices: append([]Vertex(nil), vertices...), arcOf: make([]int, n), size: size}
	dir := make([]Point, n-1)
	leg := make([]float64, n-1)
	for i := range dir {
		d := vertices[i+1].At.sub(vertices[i].At)
		leg[i] = d.norm()
		if leg[i] <= fitTolerance*size {
			return Profile{}, &DegenerateError{i + 1, vertices[i+1].Name, RepeatedVertex}
		}
		dir[i] = Point{d.N / leg[i], d.Z / leg[i]}
	}
	turn := make([]float64, n)
	half := make([]float64, n)
	for i := 1; i < n-1; i++ {
		u, v := dir[i-1], dir[i]
		cross, dot := u.N*v.Z-u.Z*v.N, u.N*v.N+u.Z*v.Z
		turn[i] = math.Atan2(cross, dot)
		switch {
		case math.Pi-math.Abs(turn[i]) < straightTolerance:
			return Profile{}, &DegenerateError{i, vertices[i].Name, TurnsBack}
		case dot >= 0:
			half[i] = math.Abs(cross) / (1 + dot)
		default:
			half[i] = (1 - dot) / math.Abs(cross)
		}
		if math.Abs(turn[i]) < straightTolerance {
			turn[i], half[i] = 0, 0
		}
	}
	if err := p.checkFit(leg, half); err != nil {
		return Profile{}, err
	}

	at := vertices[0].At
	p.arcOf[0], p.arcOf[n-1] = -1, -1
	for i := 1; i < n; i++ {
		p.arcOf[i] = -1
		v := vertices[i]
		t := v.Radius * half[i]
		end := v.At.along(dir[i-1], -t)
		// What rounding leaves between two arcs that should touch is no line.
		straight := leg[i-1] - t - vertices[i-1].Radius*half[i-1]
		if straight > fitTolerance*size/1000 {
			p.segments = append(p.segments, Segment{Kind: Line, From: at, To: end, Name: v.Name, Mark: v.Leg})
			at = end
		}
		if t == 0 {
			continue
		}
		// The centre is a radius to the side the path turns to.
		side := math.Copysign(1, turn[i])
		u := dir[i-1]
		toCenter := Point{-u.Z * side, u.N * side}
		p.arcOf[i] = len(p.segments)
		p.segments = append(p.segments, Segment{
			Kind: Arc, From: at, To: v.At.along(dir[i], t),
			Center: end.along(toCenter, v.Radius), Radius: v.Radius,
			Start: math.Atan2(-toCenter.Z, -toCenter.N), Sweep: turn[i], Name: v.Name, Mark: v.Corner})
		at = v.At.along(dir[i], t)
	}
	return p, nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// checkFit refuses tangent lengths that overlap on a leg, naming the vertex with
// the longer of the two on the worst leg.
func (p Profile) checkFit(leg, half []float64) error {
	tangent := func(i int) float64 { return p.vertices[i].Radius * half[i] }
	worst, over := -1, fitTolerance*p.size
	for i := range leg {
		if o := tangent(i) + tangent(i+1) - leg[i]; o > over {
			worst, over = i, o
		}
	}
	if worst < 0 {
		return nil
	}
	at := worst
	if tangent(worst+1) > tangent(worst) {
		at++
	}
	left := math.Min(leg[at-1]-tangent(at-1), leg[at]-tangent(at+1))
	v := p.vertices[at]
	return &RadiusTooLargeError{at, v.Name, v.Radius, math.Max(left, 0) / half[at]}
}

// Vertices returns the vertices the profile was made of, as a copy.
func (p Profile) Vertices() []Vertex { return append([]Vertex(nil), p.vertices...) }

// Corner returns the vertex of the given mark, and false where there is none.
func (p Profile) Corner(m Mark) (Vertex, bool) {
	i := p.index(m)
	if i < 0 {
		return Vertex{}, false
	}
	return p.vertices[i], true
}

// index is the place of the corner of the given mark, -1 where there is none.
func (p Profile) index(m Mark) int {
	for i := range p.vertices {
		if p.vertices[i].Corner == m {
			return i
		}
	}
	return -1
}

// Leg returns the vertices between which the leg of the given mark runs, before
// rounding, and false where there is none.
func (p Profile) Leg(m Mark) (from, to Vertex, ok bool) {
	for i := 1; i < len(p.vertices); i++ {
		if p.vertices[i].Leg == m {
			return p.vertices[i-1], p.vertices[i], true
		}
	}
	return Vertex{}, Vertex{}, false
}

// Ends returns the first and the last vertex.
func (p Profile) Ends() (first, last Vertex) { return p.vertices[0], p.vertices[len(p.vertices)-1] }

// Line returns what rounding leaves of the leg of the given mark, and false where
// there is no such leg or nothing of it is left.
func (p Profile) Line(m Mark) (Segment, bool) { return p.segment(Line, m) }

// Arc returns the arc that rounds the corner of the given mark, and false where
// there is no such corner or it is sharp.
func (p Profile) Arc(m Mark) (Segment, bool) { return p.segment(Arc, m) }

func (p Profile) segment(k Kind, m Mark) (Segment, bool) {
	for _, s := range p.segments {
		if s.Kind == k && s.Mark == m {
			return s, true
		}
	}
	return Segment{}, false
}

// Segments returns the lines and arcs in order, each beginning exactly where the
// one before ends.
func (p Profile) Segments() []Segment { return append([]Segment(nil), p.segments...) }

// Length returns the length of the path, mm.
func (p Profile) Length() float64 {
	l := 0.0
	for _, s := range p.segments {
		l += s.Length()
	}
	return l
}

// Bounds returns the least and greatest n and z the path reaches, mm.
func (p Profile) Bounds() (min, max Point) {
	if len(p.segments) == 0 {
		return Point{}, Point{}
	}
	min, max = p.segments[0].From, p.segments[0].From
	take := func(q Point) {
		min = Point{math.Min(min.N, q.N), math.Min(min.Z, q.Z)}
		max = Point{math.Max(max.N, q.N), math.Max(max.Z, q.Z)}
	}
	for _, s := range p.segments {
		take(s.To)
		if s.Kind == Arc {
			for q := -4; q <= 4; q++ { // multiples of a quarter turn
				if t := (float64(q)*math.Pi/2 - s.Start) / s.Sweep; t > 0 && t < 1 {
					take(s.At(t))
				}
			}
		}
	}
	return min, max
}

// Translate returns the profile moved by dn, dz, mm, with the errors of [New].
func (p Profile) Translate(dn, dz float64) (Profile, error) {
	v := p.Vertices()
	for i := range v {
		v[i].At.N += dn
		v[i].At.Z += dz
	}
	return New(v)
}

// Sample returns points along the path, from end to end, such that no chord is
// further than chordError, mm, from it; see [outline.ArcSteps].
func (p Profile) Sample(chordError float64) []Point {
	if len(p.segments) == 0 {
		return nil
	}
	pts := []Point{p.segments[0].From}
	for _, s := range p.segments {
		if s.Kind == Arc {
			n := outline.ArcSteps(s.Radius, s.Sweep, chordError)
			for k := 1; k < n; k++ {
				pts = append(pts, s.At(float64(k)/float64(n)))
			}
		}
		pts = append(pts, s.To)
	}
	return pts
}
