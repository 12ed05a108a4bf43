package drawing

import (
	"fmt"
	"math"
	"strings"

	"hatchwright/service/outline"
	"hatchwright/service/quantity"
)

// Template is an outline to be printed at full size.
type Template struct {
	Name    string
	Outline outline.Outline
	Hole    bool   // the outline is that of a hole
	Note    string // what it is for; may be empty
}

// Tiles of a template: their frames join edge to edge, and each shows a strip of
// its neighbours so that the sheets can be laid over one another.
const (
	tileOverlap = 8.0 // mm shown past the joint
	barLength   = 100.0
	tileHead    = 13.0 // mm above the tile for its name and the scale bar
	// mostTiles bounds a template: more show a size that no router table takes.
	mostTiles = 400
)

// TooManyTilesError says that a template would not go onto paper.
type TooManyTilesError struct {
	Name  string
	Tiles int
}

func (e *TooManyTilesError) Error() string {
	return fmt.Sprintf("template %q would take %d sheets at full size; %d are the most printed", e.Name, e.Tiles, mostTiles)
}

// tiles prints an outline at 1:1 on as many sheets as it takes. Joints are marked
// by crosses that the neighbour repeats; tiles that the curve does not touch are
// left out, and the first sheet says which there are.
func tiles(req Request, t Template) ([]Sheet, error) {
	paper := req.paper()
	probe := Sheet{Paper: paper}
	r := probe.room()
	x0, y0 := r.x0+tileOverlap+2, r.y0+tileHead+tileOverlap
	w, h := r.x1-r.x0-2*tileOverlap-4, r.y1-y0-tileOverlap-2
	low, high := t.Outline.Bounds()
	wide, tall := high.X-low.X, high.Y-low.Y
	nx, ny := max(1, int(math.Ceil((wide+2)/w))), max(1, int(math.Ceil((tall+2)/h)))
	if nx*ny > mostTiles {
		return nil, &TooManyTilesError{t.Name, nx * ny}
	}
	// The curve stands in the middle of the field of tiles.
	left := (low.X+high.X)/2 - float64(nx)*w/2
	top := (low.Y+high.Y)/2 + float64(ny)*h/2
	curve := t.Outline.Sample(0.05)
	type tile struct{ i, j int }
	var list []tile
	for j := range ny {
		for i := range nx {
			a := outline.Point{X: left + float64(i)*w, Y: top - float64(j+1)*h}
			if touches(curve, a.X, a.Y, a.X+w, a.Y+h) {
				list = append(list, tile{i, j})
			}
		}
	}
	name := func(k tile) string { return fmt.Sprintf("%s%d", letters(k.j), k.i+1) }
	var out []Sheet
	for n, k := range list {
		s := Sheet{Paper: paper}
		v := View{Point{x0 - (left+float64(k.i)*w)*1, y0 + (top - float64(k.j)*h)}, 1, true}
		// The curve, cut to the tile and its overlap.
		full := v.Outline(t.Outline)
		frame := [4]float64{x0 - tileOverlap, y0 - tileOverlap, x0 + w + tileOverlap, y0 + h + tileOverlap}
		s.Ink(clip(full, frame), Medium, Solid)
		// Centre lines of the outline, if they pass here.
		mid := v.At((low.X+high.X)/2, (low.Y+high.Y)/2)
		if mid.X > frame[0] && mid.X < frame[2] {
			s.Ink(Polyline(Point{mid.X, frame[1]}, Point{mid.X, frame[3]}), Hair, Chain)
		}
		if mid.Y > frame[1] && mid.Y < frame[3] {
			s.Ink(Polyline(Point{frame[0], mid.Y}, Point{frame[2], mid.Y}), Hair, Chain)
		}
		// The joints, dashed, and the registration crosses at the tile's corners.
		s.Ink(Rect(x0, y0, w, h), Hair, Dashed)
		for _, c := range []Point{{x0, y0}, {x0 + w, y0}, {x0, y0 + h}, {x0 + w, y0 + h}} {
			s.Ink(Polyline(Point{c.X - 4, c.Y}, Point{c.X + 4, c.Y}), Thin, Solid)
			s.Ink(Polyline(Point{c.X, c.Y - 4}, Point{c.X, c.Y + 4}), Thin, Solid)
			s.Ink(Circle(c, 2), Thin, Solid)
		}
		// Neighbours.
		for _, q := range []struct {
			di, dj int
			at     Point
			up     bool
		}{
			{-1, 0, Point{x0 - 2.4, y0 + h*0.3}, true}, {1, 0, Point{x0 + w + 4.2, y0 + h*0.3}, true},
			{0, -1, Point{x0 + w*0.3, y0 - 2.4}, false}, {0, 1, Point{x0 + w*0.3, y0 + h + 4.2}, false},
		} {
			for _, other := range list {
				if other.i == k.i+q.di && other.j == k.j+q.dj {
					s.Put(Label{At: q.at, Text: "joins " + name(other), Size: Small, Anchor: Middle, Upward: q.up, Clear: true})
				}
			}
		}
		// Head: which tile, what it is, the bar.
		s.Text(r.x0, r.y0+5, fmt.Sprintf("%s   tile %s, %d of %d", t.Name, name(k), n+1, len(list)), Heading, Bold)
		kind := "outside edge of a board"
		if t.Hole {
			kind = "edge of a hole in a board"
		}
		size := Length(wide, req.Units) + " × " + Length(tall, req.Units)
		about := kind + ", " + size + ". " + t.Note
		lines, em := fitCell(about, Regular, Small, r.x1-barLength-10-r.x0)
		for n, line := range lines[:min(len(lines), 2)] {
			s.Text(r.x0, r.y0+8.6+float64(n)*em*1.2, line, em, Regular)
		}
		scaleBar(&s, r.x1-barLength-4, r.y0+3.5, req.Units)
		// Where this tile lies.
		s.Put(Label{At: Point{x0 + w/2, y0 + h/2}, Text: name(k), Size: Display, Face: Bold, Anchor: Middle, Clear: true})
		out = append(out, s)
	}
	return out, nil
}

// scaleBar draws the bar that tells whether a print is at full size.
func scaleBar(s *Sheet, x, y float64, u quantity.System) {
	s.Fill(Rect(x, y, barLength/2, 2), Black, 0)
	s.Ink(Rect(x, y, barLength, 2), Thin, Solid)
	text := "this bar is 100 mm: measure it before use"
	if u == quantity.Inch {
		text = "this bar is 100 mm, 3.937 in: measure it before use"
	}
	s.Text(x, y+5.6, text, Small, Bold)
}

func letters(n int) string {
	text := ""
	for n++; n > 0; n = (n - 1) / 26 {
		text = string(rune('A'+(n-1)%26)) + text
	}
	return text
}

// touches reports whether a closed polygon's edges pass through a rectangle.
func touches(curve []outline.Point, x0, y0, x1, y1 float64) bool {
	for i, p := range curve {
		q := curve[(i+1)%len(curve)]
		if _, _, ok := clipLine(Point{p.X, p.Y}, Point{q.X, q.Y}, [4]float64{x0, y0, x1, y1}); ok {
			return true
		}
	}
	return false
}

// clipLine cuts a line to a rectangle (Liang and Barsky, 1984).
func clipLine(a, b Point, r [4]float64) (Point, Point, bool) {
	t0, t1 := 0.0, 1.0
	d := b.sub(a)
	for _, e := range [4][2]float64{{-d.X, a.X - r[0]}, {d.X, r[2] - a.X}, {-d.Y, a.Y - r[1]}, {d.Y, r[3] - a.Y}} {
		p, q := e[0], e[1]
		if p == 0 {
			if q < 0 {
				return a, b, false
			}
			continue
		}
		if t := q / p; p < 0 {
			t0 = math.Max(t0, t)
		} else {
			t1 = math.Min(t1, t)
		}
	}
	if t0 > t1 {
		return a, b, false
	}
	return a.toward(d, t0), a.toward(d, t1), true
}

// clip cuts a path to a rectangle; arcs stay arcs. An arc is cut where it crosses
// an edge of the rectangle.
func clip(p Path, r [4]float64) Path {
	var out Path
	var at, start Point
	pen := Point{math.NaN(), math.NaN()}
	begin := func(q Point) {
		if pen != q {
			out.Move(q)
		}
	}
	straight := func(to Point) {
		if a, b, ok := clipLine(at, to, r); ok {
			begin(a)
			out.Line(b)
			pen = b
		}
		at = to
	}
	for _, s := range p.steps {
		switch s.verb {
		case moveTo:
			at, start = s.to, s.to
		case lineTo:
			straight(s.to)
		case closePath:
			straight(start)
		case arcTo:
			for _, piece := range arcCuts(s, r) {
				a0, a1 := s.start+s.sweep*piece[0], s.start+s.sweep*piece[1]
				from, to := s.onArc(piece[0]), s.onArc(piece[1])
				if piece[0] == 0 {
					from = at
				}
				if piece[1] == 1 {
					to = s.to
				}
				begin(from)
				out.Arc(s.center, s.radius, a0, a1-a0, to)
				pen = to
			}
			at = s.to
		}
	}
	return out
}

func (s step) onArc(t float64) Point {
	sin, cos := math.Sincos(s.start + s.sweep*t)
	return Point{s.center.X + s.radius*cos, s.center.Y + s.radius*sin}
}

// arcCuts returns the parts of an arc's way that lie within a rectangle.
func arcCuts(s step, r [4]float64) [][2]float64 {
	cuts := []float64{0, 1}
	take := func(angle float64) {
		for k := -2.0; k <= 2; k++ {
			if t := (angle + 2*math.Pi*k - s.start) / s.sweep; t > 0 && t < 1 {
				cuts = append(cuts, t)
			}
		}
	}
	for _, x := range []float64{r[0], r[2]} {
		if c := (x - s.center.X) / s.radius; math.Abs(c) < 1 {
			take(math.Acos(c))
			take(-math.Acos(c))
		}
	}
	for _, y := range []float64{r[1], r[3]} {
		if c := (y - s.center.Y) / s.radius; math.Abs(c) < 1 {
			take(math.Asin(c))
			take(math.Pi - math.Asin(c))
		}
	}
	sortFloats(cuts)
	var out [][2]float64
	for i := 0; i+1 < len(cuts); i++ {
		p := s.onArc((cuts[i] + cuts[i+1]) / 2)
		if cuts[i] == cuts[i+1] || p.X < r[0] || p.X > r[2] || p.Y < r[1] || p.Y > r[3] {
			continue
		}
		if n := len(out); n > 0 && out[n-1][1] == cuts[i] {
			out[n-1][1] = cuts[i+1]
			continue
		}
		out = append(out, [2]float64{cuts[i], cuts[i+1]})
	}
	return out
}

// template draws one template in tiles.
func template(req Request, t Template) (Drawing, error) {
	name := strings.ToUpper(t.Name[:1]) + t.Name[1:]
	d := Drawing{Title: name, what: name + ", full size", scale: "1:1"}
	sheets, err := tiles(req, t)
	if err != nil {
		return d, err
	}
	d.Sheets = sheets
	d.shapes = []shape{outlineShape("TEMPLATE", t.Outline)}
	if t.Note != "" {
		d.notes = append(d.notes, t.Note)
	}
	return d, nil
}
