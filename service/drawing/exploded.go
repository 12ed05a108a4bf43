package drawing

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
)

// solidView is an isometric projection: x to the right and up, y to the left and
// up, z up the sheet, all foreshortened alike.
//
//	u = (x - y) cos 30    v = (x + y) sin 30 + z
type solidView struct {
	origin Point
	scale  float64
}

func (v solidView) at(x, y, z float64) Point {
	const cos30, sin30 = 0.8660254037844386, 0.5
	return Point{v.origin.X + (x-y)*cos30*v.scale, v.origin.Y - ((x+y)*sin30+z)*v.scale}
}

// ring is a plan curve at a height, sampled.
type ring struct {
	points []outline.Point
	z      float64
}

func (v solidView) project(r ring) []Point {
	out := make([]Point, len(r.points))
	for i, p := range r.points {
		out[i] = v.at(p.X, p.Y, r.z)
	}
	return out
}

// ringChord is the chord error of rings, mm of the hatch: below a hair line at
// 1:2.
const ringChord = 0.2

// stack is what is drawn of one part: bodies from the lowest up, then what is seen
// of its top and down its opening.
type stack struct {
	name    string
	details []string
	bodies  [][]ring // each is outlined by the hull of its rings
	tops    []ring   // drawn whole
	wells   []ring   // each seen through the one before; the first through the last top
	height  float64  // from the lowest ring to the highest
}

// exploded draws deck, receiver, seal and lid one above the other.
func exploded(req Request) (Drawing, error) {
	d := Drawing{Title: "Exploded view", what: "Exploded view"}
	s := Sheet{Paper: req.paper()}
	r := s.room()
	parts, err := stacks(req)
	if err != nil {
		return d, err
	}
	const labelWide, air = 78.0, 0.35
	// The extent of the flange in the view, and the heights between.
	probe := solidView{Point{}, 1}
	lo, hi := Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	for _, p := range probe.project(parts[0].tops[0]) {
		lo = Point{math.Min(lo.X, p.X), math.Min(lo.Y, p.Y)}
		hi = Point{math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)}
	}
	lift := (hi.Y - lo.Y) * air
	total := hi.Y - lo.Y
	for _, p := range parts {
		total += p.height
	}
	total += lift * float64(len(parts)-1)
	k := math.Min((r.x1-r.x0-labelWide)/(hi.X-lo.X), (r.y1-r.y0-4)/total)
	v := solidView{scale: k}
	x := r.x0 + (r.x1-r.x0-labelWide)/2 - (lo.X+hi.X)/2*k
	// From the bottom up: the lowest edge of the lowest part at the foot.
	y := r.y1 - 2 - (r.y1-r.y0-4-total*k)/2 - hi.Y*k
	var axis []Point
	var notes []note
	for _, p := range parts {
		y -= p.height * k
		v.origin = Point{x, y}
		p.draw(&s, v)
		top := p.tops[0]
		right := v.project(top)
		best := right[0]
		for _, q := range right {
			if q.X > best.X {
				best = q
			}
		}
		notes = append(notes, note{append([]string{p.name}, p.details...), best, true})
		axis = append(axis, v.at(centerOf(top)))
		y -= lift * k
	}
	for i := 0; i+1 < len(axis); i++ {
		s.Ink(Polyline(axis[i], axis[i+1]), Hair, Chain)
	}
	s.column(r.x1-labelWide+10, r.y0, r.y1, false, notes)
	// Forward is up to the right.
	a := Point{r.x0 + 6, r.y1 - 4}
	b := Point{a.X + 15, a.Y - 15*math.Tan(math.Pi/6)}
	s.Ink(Polyline(a, b), Medium, Solid)
	s.arrow(b, Point{math.Cos(math.Pi / 6), -0.5})
	s.Put(Label{At: Point{b.X + 2, b.Y}, Text: "bow", Size: Plain, Face: Bold, Clear: true})
	d.scale = "none"
	d.Sheets = []Sheet{s}
	return d, nil
}

func centerOf(r ring) (x, y, z float64) {
	for _, p := range r.points {
		x, y = x+p.X, y+p.Y
	}
	n := float64(len(r.points))
	return x / n, y / n, r.z
}

// stacks makes the parts from the deck up.
func stacks(req Request) ([]stack, error) {
	res := req.Result
	g, c := &res.Geometry, &res.Configuration
	o := g.Outlines
	var err error
	at := func(round outline.Outline, n, z float64) ring {
		in, e := round.Offset(n)
		if e != nil && err == nil {
			err = e
		}
		return ring{in.Sample(ringChord), z}
	}
	text := func(mm float64) string { return Length(mm, req.Units) }
	size := func(q outline.Outline) string {
		if isCircle(q) {
			return "Ø " + text(q.Length())
		}
		return text(q.Length()) + " × " + text(q.Width())
	}
	t := res.Receiver.SkirtThickness

	// Deck: a rectangle round the flange.
	low, high := o.Flange.Bounds()
	const past = 60.0
	slab := []outline.Point{{X: low.X - past, Y: low.Y - past}, {X: high.X + past, Y: low.Y - past}, {X: high.X + past, Y: high.Y + past}, {X: low.X - past, Y: high.Y + past}}
	hole := o.DeckCutout.Sample(ringChord)
	deck := stack{name: "deck", details: []string{"cut out", size(o.DeckCutout)}, height: c.Deck.Thickness,
		bodies: [][]ring{{{slab, 0}, {slab, -c.Deck.Thickness}}}, tops: []ring{{slab, 0}, {hole, 0}}, wells: []ring{{hole, -c.Deck.Thickness}}}

	// Receiver: rings at the corners of its section, from the flange inward.
	receiver := stack{name: "receiver", details: []string{"flange", size(o.Flange)}}
	v := g.ReceiverProfile.Vertices()
	round := func(i int) (outline.Outline, float64) {
		if k := v[i].Corner; g.TrunkRounded && (k == part.Lip || k == part.TrunkFoot) {
			return o.Trunk, v[i].At.N - g.Corner(part.Lip).N
		}
		return o.Recess, v[i].At.N
	}
	var all []ring
	for i := range v {
		q, n := round(i)
		all = append(all, at(q, n, -v[i].At.Z))
	}
	deepest := 0.0
	top := -g.Corner(part.FlangeEnd).Z
	for _, q := range all {
		deepest, top = math.Min(deepest, q.z), math.Max(top, q.z)
	}
	receiver.height = top - deepest
	for i := len(v) - 1; i > 0; i-- { // outsides of the walls, the lowest first
		if all[i].z >= all[i-1].z {
			continue
		}
		q, n := round(i)
		p, m := round(i - 1)
		receiver.bodies = append(receiver.bodies, []ring{at(q, n+t, all[i].z), at(p, m+t, all[i-1].z-t)})
	}
	flange := all[0]
	receiver.bodies = append(receiver.bodies, []ring{flange, {flange.points, flange.z - t}})
	receiver.tops = append(receiver.tops, flange)
	// The well's mouth is where the flange ends inside, or the inside of the top of a
	// coaming that stands up on it.
	corner := func(m ...profile.Mark) int {
		return slices.IndexFunc(v, func(x profile.Vertex) bool { return slices.Contains(m, x.Corner) })
	}
	if c.HasLeg(part.CoamingWall) {
		top := all[corner(part.CoamingTop)]
		receiver.bodies = append(receiver.bodies, []ring{all[corner(part.CoamingFoot)], top})
		lip := corner(part.Lip)
		receiver.tops, receiver.wells = append(receiver.tops, top, all[lip]), all[lip:]
	} else {
		mouth := corner(part.Edge, part.RingInside)
		receiver.tops, receiver.wells = append(receiver.tops, all[mouth]), all[mouth+1:]
	}

	// Seal: a strip on its seat.
	half := c.Seal.Width / 2
	seat := (g.SeatOuter + g.SeatInner) / 2
	seal := stack{name: "seal", details: []string{text(c.Seal.Width) + " × " + text(c.Seal.Thickness)}, height: c.Seal.Thickness}
	outer, inner := at(o.Recess, seat+half, 0), at(o.Recess, seat-half, 0)
	seal.bodies = [][]ring{{outer, {outer.points, -c.Seal.Thickness}}}
	seal.tops = []ring{outer, inner}
	seal.wells = []ring{{inner.points, -c.Seal.Thickness}}

	// Lid.
	tall := g.Corner(part.SkirtFoot).Z - g.Corner(part.LidFlat).Z
	flat := at(o.Recess, g.Corner(part.LidFlat).N, 0)
	edge := at(o.Recess, g.Corner(part.LidEdge).N, -c.Lid.EdgeRadius)
	foot := at(o.Recess, g.Corner(part.SkirtFoot).N, -tall)
	lid := stack{name: "lid", details: []string{size(o.Lid), text(tall) + " high"}, height: tall,
		bodies: [][]ring{{foot, edge, flat}}, tops: []ring{flat}}
	if err != nil {
		return nil, fmt.Errorf("rings: %w", err)
	}
	out := []stack{deck, receiver}
	if c.HasTrunk() && g.SealThickness > 0 {
		out = append(out, seal)
	}
	return append(out, lid), nil
}

// draw paints a part: bodies white with their outlines, then edges.
func (p stack) draw(s *Sheet, v solidView) {
	for _, body := range p.bodies {
		var points []Point
		for _, r := range body {
			points = append(points, v.project(r)...)
		}
		s.Fill(Polygon(hull(points)...), White, Medium)
	}
	for i, r := range p.tops {
		width := Thin
		if i == 0 {
			width = Medium
		}
		s.Ink(Polygon(v.project(r)...), width, Solid)
	}
	if len(p.wells) == 0 {
		return
	}
	window := v.project(p.tops[len(p.tops)-1])
	for _, r := range p.wells {
		curve := v.project(r)
		s.Ink(within(curve, window), Thin, Solid)
		if next := intersection(curve, window); len(next) > 2 {
			window = next
		} else {
			return
		}
	}
}

// hull is the convex hull, by Andrew's monotone chain (1979).
func hull(points []Point) []Point {
	p := append([]Point(nil), points...)
	sort.Slice(p, func(i, j int) bool { return p[i].X < p[j].X || p[i].X == p[j].X && p[i].Y < p[j].Y })
	cross := func(a, b, c Point) float64 { return (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X) }
	var out []Point
	for pass := range 2 {
		floor := len(out)
		for i := range p {
			q := p[i]
			if pass == 1 {
				q = p[len(p)-1-i]
			}
			for len(out) >= floor+2 && cross(out[len(out)-2], out[len(out)-1], q) <= 0 {
				out = out[:len(out)-1]
			}
			out = append(out, q)
		}
		out = out[:len(out)-1]
	}
	return out
}

// inside cuts the line a to b to a convex polygon (Cyrus and Beck, 1978).
func inside(a, b Point, window []Point) (Point, Point, bool) {
	side := 1.0
	if twiceArea(window) < 0 {
		side = -1
	}
	t0, t1 := 0.0, 1.0
	d := b.sub(a)
	for i, p := range window {
		e := window[(i+1)%len(window)].sub(p)
		// Left of the edge is inside.
		off := side * (e.X*(a.Y-p.Y) - e.Y*(a.X-p.X))
		slope := side * (e.X*d.Y - e.Y*d.X)
		if slope == 0 {
			if off < 0 {
				return a, b, false
			}
			continue
		}
		if t := -off / slope; slope > 0 {
			t0 = math.Max(t0, t)
		} else {
			t1 = math.Min(t1, t)
		}
	}
	return a.toward(d, t0), a.toward(d, t1), t0 < t1
}

// within is the part of a closed curve that lies within a convex window.
func within(curve, window []Point) Path {
	var out Path
	pen := Point{math.NaN(), math.NaN()}
	for i, p := range curve {
		a, b, ok := inside(p, curve[(i+1)%len(curve)], window)
		if !ok {
			continue
		}
		if a != pen {
			out.Move(a)
		}
		out.Line(b)
		pen = b
	}
	return out
}

// intersection is that of two convex polygons (Sutherland and Hodgman, 1974).
func intersection(a, window []Point) []Point {
	side := 1.0
	if twiceArea(window) < 0 {
		side = -1
	}
	out := a
	for i, p := range window {
		e := window[(i+1)%len(window)].sub(p)
		off := func(q Point) float64 { return side * (e.X*(q.Y-p.Y) - e.Y*(q.X-p.X)) }
		var next []Point
		for k, q := range out {
			r := out[(k+1)%len(out)]
			u, w := off(q), off(r)
			if u >= 0 {
				next = append(next, q)
			}
			if (u < 0) != (w < 0) {
				next = append(next, q.toward(r.sub(q), u/(u-w)))
			}
		}
		out = next
	}
	return out
}
