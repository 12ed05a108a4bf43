package outline

import (
	"math"
	"sort"
)

// Kind tells straight segments from arcs.
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

// Segment is one piece of a path in plan. Center, Radius, mm, and Sweep,
// radians, positive counter-clockwise, are those of an arc and zero for a line.
type Segment struct {
	Kind     Kind
	From, To Point
	Center   Point
	Radius   float64
	Sweep    float64
}

// Length returns the length of the segment, mm.
func (s Segment) Length() float64 {
	if s.Kind == Arc {
		return s.Radius * math.Abs(s.Sweep)
	}
	return s.To.sub(s.From).norm()
}

// At returns the point the part t, 0 to 1, of the way along the segment and the
// unit tangent there.
func (s Segment) At(t float64) (p, tangent Point) {
	if s.Kind == Line {
		v := s.To.sub(s.From)
		l := v.norm()
		if l == 0 {
			return s.From, Point{}
		}
		return s.From.along(v, t), v.times(1 / l)
	}
	sin, cos := math.Sincos(s.Sweep * t)
	v := s.From.sub(s.Center)
	v = Point{v.X*cos - v.Y*sin, v.X*sin + v.Y*cos}
	side := 1.0
	if s.Sweep < 0 {
		side = -1
	}
	return s.Center.add(v), Point{-v.Y, v.X}.times(side / s.Radius)
}

// Segments returns the curve as a closed counter-clockwise path: the straight
// part of edge 0, the arc at corner 1, and so on, ending with the arc at corner
// 0. Lines of no length and arcs of no radius are left out; each segment begins
// exactly where the one before ends.
func (o Outline) Segments() []Segment {
	segs := make([]Segment, 0, 2*len(o.corners))
	tiny := fit(o.size) / 1000 // rounding left over where two arcs should touch
	for i := range o.corners {
		_, a := o.arcEnds(i)
		j := o.after(i)
		b, c := o.arcEnds(j)
		if o.straight[i] > tiny {
			segs = append(segs, Segment{Kind: Line, From: a, To: b})
		}
		if r := o.corners[j].Radius; r > 0 {
			segs = append(segs, Segment{Kind: Arc, From: b, To: c, Center: o.centre(j), Radius: r, Sweep: o.turn[j]})
		}
	}
	for i := range segs {
		next := &segs[(i+1)%len(segs)]
		next.From = segs[i].To
	}
	return segs
}

// At returns the point at arc length s, mm, from the start of the first segment
// and the unit tangent there, in the direction of travel. s is taken modulo the
// perimeter; where two segments meet at a sharp corner the tangent is that of
// the later one.
func (o Outline) At(s float64) (p, tangent Point) {
	segs := o.Segments()
	if len(segs) == 0 || !finite(s) {
		return Point{}, Point{}
	}
	ends := make([]float64, len(segs))
	total := 0.0
	for i, g := range segs {
		total += g.Length()
		ends[i] = total
	}
	if s = math.Mod(s, total); s < 0 {
		s += total
	}
	i := sort.Search(len(ends), func(i int) bool { return ends[i] > s })
	if i == len(ends) { // s rounded up to the whole perimeter
		i, s = 0, 0
	}
	start := 0.0
	if i > 0 {
		start = ends[i-1]
	}
	return segs[i].At((s - start) / (ends[i] - start))
}

// Sample returns points on the curve, counter-clockwise, such that no chord
// between neighbours is further than chordError, mm, from the curve, and every
// segment's ends are among them. The first point is not repeated at the end.
// A chordError that is not positive, or under 1e-10 of an arc's radius, is taken
// as that; arcs get a point every 45 degrees or oftener.
//
//	chord error of an arc of radius r over an angle a = r (1 - cos(a/2))
func (o Outline) Sample(chordError float64) []Point {
	var pts []Point
	for _, g := range o.Segments() {
		pts = append(pts, g.From)
		if g.Kind == Line {
			continue
		}
		n := ArcSteps(g.Radius, g.Sweep, chordError)
		for k := 1; k < n; k++ {
			p, _ := g.At(float64(k) / float64(n))
			pts = append(pts, p)
		}
	}
	return pts
}

// ArcSteps returns into how many equal chords an arc of the given radius, mm,
// and sweep, radians, is cut so that none is further than chordError, mm, from
// it; see [Outline.Sample].
func ArcSteps(radius, sweep, chordError float64) int {
	e := chordFloor
	if radius > 0 && chordError > chordFloor*radius {
		e = math.Min(chordError/radius, 1)
	}
	step := math.Min(4*math.Asin(math.Sqrt(e/2)), math.Pi/4) // 1 - cos(a/2) = 2 sin^2(a/4)
	return int(math.Max(1, math.Ceil(math.Abs(sweep)/step-1e-9)))
}
