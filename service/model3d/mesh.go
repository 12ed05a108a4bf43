package model3d

import (
	"fmt"
	"math"

	"hatchwright/service/outline"
	"hatchwright/service/profile"
)

// Vertex is a point of a mesh, mm: x forward, y to port, z up.
type Vertex struct{ X, Y, Z float64 }

// Mesh is a closed surface of triangles, counter-clockwise seen from outside.
// Every edge belongs to exactly two triangles.
type Mesh struct {
	Name      string
	Vertices  []Vertex
	Triangles [][3]uint32
	// ChordError is how far the mesh may lie from the true surface, mm.
	ChordError float64
}

// Volume is the signed volume of the mesh, mm3, positive for one that is closed
// and faces outward: the sum over its triangles of a . (b x c) / 6.
func (m Mesh) Volume() float64 {
	v := 0.0
	for _, t := range m.Triangles {
		a, b, c := m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
		v += a.X*(b.Y*c.Z-b.Z*c.Y) + a.Y*(b.Z*c.X-b.X*c.Z) + a.Z*(b.X*c.Y-b.Y*c.X)
	}
	return v / 6
}

// leg is a stretch of a solid's surface: a section path swept round an outline.
// Between the end of one leg and the start of the next lies a ring, flat or not.
type leg struct {
	round outline.Outline
	path  []profile.Segment
}

// line is a straight section path through the points.
func line(points ...profile.Point) []profile.Segment {
	var out []profile.Segment
	for i := 0; i+1 < len(points); i++ {
		out = append(out, profile.Segment{From: points[i], To: points[i+1]})
	}
	return out
}

// The chord errors that are made, mm. At the least, a 600 mm circle has some 1,700
// points; the most still shows a 3 mm radius.
const (
	LeastChordError   = 0.001
	MostChordError    = 1.0
	DefaultChordError = 0.05
)

// ChordError says that a mesh was asked for that is finer or coarser than any
// made.
type ChordError struct{ Value float64 }

func (e *ChordError) Error() string {
	return fmt.Sprintf("model: a chord error of %g mm is out of range: ask for %g to %g mm", e.Value, LeastChordError, MostChordError)
}

// sweep meshes a solid whose surface is the legs in order. closed joins the end
// to the start, as in a ring; otherwise both ends are capped flat. place maps
// (x, y, depth) to the mesh.
//
// Each point of the section gives a loop: the outline at that offset, sampled.
// Neighbouring loops are convex and joined by going round both at once in the
// order of their edges' directions, which pairs points of equal normals. For a
// flat ring between nested loops that is a triangulation without overlap: an edge
// of one loop is joined to the point of the other that lies furthest in the
// edge's outward direction.
func sweep(name string, legs []leg, closed bool, chord float64, place func(x, y, z float64) Vertex) (Mesh, error) {
	if !(chord >= LeastChordError && chord <= MostChordError) {
		return Mesh{}, &ChordError{chord}
	}
	b := builder{mesh: Mesh{Name: name, ChordError: chord}, place: place}
	for _, l := range legs {
		if err := b.leg(l, chord/2); err != nil {
			return Mesh{}, fmt.Errorf("mesh %s: %w", name, err)
		}
	}
	for i := 0; i+1 < len(b.loops); i++ {
		b.strip(b.loops[i], b.loops[i+1])
	}
	if n := len(b.loops); closed {
		b.strip(b.loops[n-1], b.loops[0])
	} else {
		b.cap(b.loops[0], true)
		b.cap(b.loops[n-1], false)
	}
	if b.mesh.Volume() < 0 {
		for i, t := range b.mesh.Triangles {
			b.mesh.Triangles[i] = [3]uint32{t[0], t[2], t[1]}
		}
	}
	return b.mesh, nil
}

// loop is a convex ring of vertices, counter-clockwise in plan. direction[i] is
// the angle of the edge from vertex i to the next, rising from direction[0] by
// less than a whole turn.
type loop struct {
	first     uint32
	direction []float64
}

func (l loop) vertex(i int) uint32 { return l.first + uint32(i%len(l.direction)) }

type builder struct {
	mesh  Mesh
	place func(x, y, z float64) Vertex
	loops []loop
	last  [2]float64 // offset and depth of the last loop
	round outline.Outline
}

// leg adds the loops of a leg. The plan's arcs and the section's each may lie
// half the chord error off, so that together they keep within it.
func (b *builder) leg(l leg, chord float64) error {
	most := math.Inf(-1)
	for _, s := range l.path {
		for k := 0; k <= 8; k++ {
			most = math.Max(most, s.At(float64(k)/8).N)
		}
	}
	law := l.round.Law()
	var pieces []float64 // offsets at which the plan changes its kind
	for _, p := range law.Pieces() {
		pieces = append(pieces, p.Low)
	}
	for i, s := range l.path {
		if i == 0 {
			if err := b.loop(l.round, s.From, most, chord); err != nil {
				return err
			}
		}
		n := 1
		if s.Kind == profile.Arc {
			n = outline.ArcSteps(s.Radius, s.Sweep, chord)
		}
		for k := 1; k <= n; k++ {
			t0, t1 := float64(k-1)/float64(n), float64(k)/float64(n)
			for _, t := range crossings(s, t0, t1, pieces) {
				if err := b.loop(l.round, s.At(t), most, chord); err != nil {
					return err
				}
			}
			if err := b.loop(l.round, s.At(t1), most, chord); err != nil {
				return err
			}
		}
	}
	return nil
}

// crossings returns the parts of the way between t0 and t1, in order, at which the
// segment passes one of the offsets; n is monotone between t0 and t1 but for what
// a chord leaves out.
func crossings(s profile.Segment, t0, t1 float64, offsets []float64) []float64 {
	var out []float64
	n0, n1 := s.At(t0).N, s.At(t1).N
	for _, n := range offsets {
		if (n0-n)*(n1-n) >= 0 {
			continue
		}
		low, high := t0, t1
		for range 60 { // halved to the last bit
			if mid := (low + high) / 2; (s.At(mid).N-n)*(n0-n) > 0 {
				low = mid
			} else {
				high = mid
			}
		}
		if low > t0 && high < t1 {
			out = append(out, high)
		}
	}
	for i := 1; i < len(out); i++ {
		for k := i; k > 0 && out[k] < out[k-1]; k-- {
			out[k], out[k-1] = out[k-1], out[k]
		}
	}
	return out
}

// sameStation is how near two stations may lie and still be one, mm: far below
// the chord error, far above what offsets lose in float64.
const sameStation = 1e-7

// loop adds the outline at an offset and depth. most is the largest offset of the
// leg: an arc is cut into as many chords as its largest parallel needs, so that
// loops of one leg have parallel edges.
func (b *builder) loop(round outline.Outline, at profile.Point, most, chord float64) error {
	if len(b.loops) > 0 && b.round.Equal(round) && math.Hypot(b.last[0]-at.N, b.last[1]-at.Z) < sameStation {
		return nil
	}
	o, err := round.Offset(at.N)
	if err != nil {
		return fmt.Errorf("at offset %g mm: %w", at.N, err)
	}
	first := uint32(len(b.mesh.Vertices))
	var points []outline.Point
	take := func(p outline.Point) {
		if n := len(points); n == 0 || math.Hypot(points[n-1].X-p.X, points[n-1].Y-p.Y) > sameStation {
			points = append(points, p)
		}
	}
	for _, s := range o.Segments() {
		take(s.From)
		if s.Kind == outline.Arc {
			n := outline.ArcSteps(s.Radius+most-at.N, s.Sweep, chord)
			for k := 1; k < n; k++ {
				p, _ := s.At(float64(k) / float64(n))
				take(p)
			}
		}
	}
	if n := len(points); n > 1 && math.Hypot(points[n-1].X-points[0].X, points[n-1].Y-points[0].Y) <= sameStation {
		points = points[:n-1]
	}
	if len(points) < 3 {
		return fmt.Errorf("at offset %g mm nothing is left of the outline", at.N)
	}
	// Begin with the edge of least direction in 0 to 2 pi, so that all loops begin
	// alike.
	n := len(points)
	angle := make([]float64, n)
	start := 0
	for i, p := range points {
		q := points[(i+1)%n]
		angle[i] = math.Atan2(q.Y-p.Y, q.X-p.X)
		if angle[i] < -directionTolerance {
			angle[i] += 2 * math.Pi
		}
		if angle[i] < angle[start] {
			start = i
		}
	}
	l := loop{first: first, direction: make([]float64, n)}
	for i := range points {
		p := points[(start+i)%n]
		b.mesh.Vertices = append(b.mesh.Vertices, b.place(p.X, p.Y, at.Z))
		l.direction[i] = angle[(start+i)%n]
	}
	b.loops = append(b.loops, l)
	b.last, b.round = [2]float64{at.N, at.Z}, round
	return nil
}

// directionTolerance, radians: an edge that points along +x up to rounding is the
// first, not the last.
const directionTolerance = 1e-6

// strip joins two loops.
func (b *builder) strip(p, q loop) {
	i, j, n, m := 0, 0, len(p.direction), len(q.direction)
	for i < n || j < m {
		// Ties go to the first loop, then to the second: a quad.
		if j == m || i < n && p.direction[i] <= q.direction[j]+directionTolerance && !(j < m && q.direction[j] < p.direction[i]-directionTolerance) {
			b.mesh.Triangles = append(b.mesh.Triangles, [3]uint32{p.vertex(i), p.vertex(i + 1), q.vertex(j)})
			i++
			continue
		}
		b.mesh.Triangles = append(b.mesh.Triangles, [3]uint32{q.vertex(j + 1), q.vertex(j), p.vertex(i)})
		j++
	}
}

// cap closes an end with a flat fan.
func (b *builder) cap(l loop, start bool) {
	for i := 1; i+1 < len(l.direction); i++ {
		t := [3]uint32{l.vertex(0), l.vertex(i), l.vertex(i + 1)}
		if start {
			t[1], t[2] = t[2], t[1]
		}
		b.mesh.Triangles = append(b.mesh.Triangles, t)
	}
}
