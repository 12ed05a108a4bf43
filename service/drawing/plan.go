package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"hatchwright/service/derivation"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
)

// curve is a plan outline with how it is drawn and called.
type curve struct {
	key   string // letter on the drawing
	name  string
	layer string
	o     outline.Outline
	width float64
	line  LineType
}

// curves are the outlines of a hatch from outside in; one that is the same as
// another is left out.
func curves(g *part.Geometry, pattern string) []curve {
	o := g.Outlines
	recess, lid, trunk, opening := "recess, at the deck", "lid, at the deck", "trunk, at the ledge", "clear opening, trunk's foot"
	switch pattern {
	case part.FlushGutter:
		trunk = "trunk, at the seal plane"
	case part.RaisedCoaming:
		recess, lid, trunk = "coaming, outside at the deck", "lid, at its top", "trunk, at the coaming's top"
	case part.BoltedPlate:
		recess, opening = "plate", "clear opening, inside of the ring"
	}
	list := []curve{
		{"A", "flange, outer edge", "FLANGE", o.Flange, Medium, Solid},
		{"B", "deck cut-out (under the flange)", "DECK_CUTOUT", o.DeckCutout, Medium, Dashed},
		{"C", recess, "RECESS", o.Recess, Heavy, Solid},
		{"D", lid, "LID", o.Lid, Thin, Phantom},
		{"E", trunk, "TRUNK", o.Trunk, Thin, Solid},
		{"F", opening, "CLEAR_OPENING", o.ClearOpening, Thick, Solid},
	}
	if o.Trunk.Equal(o.ClearOpening) {
		list = append(list[:4], list[5])
	}
	if o.Lid.Equal(o.Recess) {
		list = append(list[:3], list[4:]...)
	}
	slices.SortStableFunc(list, func(a, b curve) int { return cmp.Compare(b.o.Area(), a.o.Area()) })
	for i := range list {
		list[i].key = string(rune('A' + i))
	}
	return list
}

// corners says an outline's corner radii: "R 60 mm ×4", "R 60 mm ×2", "R 190 mm
// ×2"; nothing for a circle.
func corners(o outline.Outline, s quantity.System) []string {
	cs := o.Corners()
	if isCircle(o) {
		return nil
	}
	type group struct {
		r float64
		n int
	}
	var groups []group
next:
	for _, c := range cs {
		for i := range groups {
			// Half of what is written last.
			if math.Abs(groups[i].r-c.Radius) < 0.005 {
				groups[i].n++
				continue next
			}
		}
		groups = append(groups, group{c.Radius, 1})
	}
	var out []string
	for _, g := range groups {
		text := "sharp"
		if g.r >= 0.005 {
			text = "R " + Length(g.r, s)
		}
		out = append(out, fmt.Sprintf("%s ×%d", text, g.n))
	}
	return out
}

// isCircle reports whether the curve has no straight part and one radius.
func isCircle(o outline.Outline) bool {
	segments := o.Segments()
	for _, s := range segments {
		if s.Kind == outline.Line || math.Abs(s.Radius-segments[0].Radius) > 1e-6 {
			return false
		}
	}
	return len(segments) > 0
}

// plan draws the outlines seen from above, bow to the right.
func plan(req Request) (Drawing, error) {
	s := Sheet{Paper: req.paper()}
	d := Drawing{Title: "Plan"}
	list := curves(&req.Result.Geometry, req.Result.Configuration.Pattern)
	r := s.room()

	const (
		step      = 6.0 // between dimension lines
		tableWide = 104.0
		arrowHigh = 10.0
	)
	dims := step*float64(len(list)) + 4
	low, high := list[0].o.Bounds()
	w, h := high.X-low.X, high.Y-low.Y
	roomW := r.x1 - r.x0 - tableWide - dims - 4
	roomH := r.y1 - r.y0 - dims - arrowHigh
	scale := FitScale(w, h, roomW, roomH, 1)
	k := float64(scale)
	// The middle of the outlines in the middle of the room left of the table.
	cx, cy := r.x0+roomW/2+2, r.y0+arrowHigh+roomH/2
	v := View{Point{cx - (low.X+high.X)/2*k, cy + (low.Y+high.Y)/2*k}, scale, true}

	for _, c := range list {
		s.Ink(v.Outline(c.o), c.width, c.line)
		d.shapes = append(d.shapes, outlineShape(c.layer, c.o))
	}
	for _, b := range req.Result.Geometry.Bolts {
		p := v.At(b.X, b.Y)
		s.Ink(Circle(p, math.Max(req.Result.Configuration.Plate.BoltDiameter/2*k, 0.5)), Thin, Solid)
	}
	for i, h := range req.Result.Hardware {
		l, w := h.Width/2, h.Length/2 // along x and y; edges fore and aft run athwartships
		if h.Edge == derivation.Port || h.Edge == derivation.Starboard {
			l, w = w, l
		}
		s.Ink(Polygon(v.At(h.At.X-l, h.At.Y-w), v.At(h.At.X+l, h.At.Y-w), v.At(h.At.X+l, h.At.Y+w), v.At(h.At.X-l, h.At.Y+w)), Thin, Solid)
		p := v.At(h.At.X, h.At.Y)
		s.Ink(Circle(p, 1.9), Thin, Solid)
		s.Put(Label{At: Point{p.X, p.Y + 0.9}, Text: fmt.Sprint(i + 1), Size: Fine, Anchor: Middle})
	}
	// Centre lines through the middle of the recess.
	a, b := req.Result.Geometry.Outlines.Recess.Bounds()
	mid := v.At((a.X+b.X)/2, (a.Y+b.Y)/2)
	const past = 4
	left, right := v.At(low.X, 0).X, v.At(high.X, 0).X
	top, bottom := v.At(0, high.Y).Y, v.At(0, low.Y).Y
	s.Ink(Polyline(Point{left - past, mid.Y}, Point{right + past, mid.Y}), Thin, Chain)
	s.Ink(Polyline(Point{mid.X, top - past}, Point{mid.X, bottom + past}), Thin, Chain)

	// Dimensions: the innermost outline nearest to the view.
	for i := range list {
		c := list[len(list)-1-i]
		lo, hi := c.o.Bounds()
		off := 5 + step*float64(i)
		text := func(mm float64) string { return c.key + "  " + Length(mm, req.Units) }
		s.across(extreme(v, c.o, lo.X, true, false), extreme(v, c.o, hi.X, true, false), bottom+off, text(hi.X-lo.X))
		s.down(extreme(v, c.o, hi.Y, false, true), extreme(v, c.o, lo.Y, false, true), right+off, text(hi.Y-lo.Y))
	}

	// Which way the boat lies.
	ay := r.y0 + 4
	s.Ink(Polyline(Point{cx - 16, ay}, Point{cx + 16, ay}), Medium, Solid)
	s.arrow(Point{cx + 18, ay}, Point{1, 0})
	s.Put(Label{At: Point{cx + 20, ay + 1.1}, Text: "bow", Size: Plain, Face: Bold})
	s.Put(Label{At: Point{cx - 18, ay + 1.1}, Text: "aft", Size: Plain, Face: Bold, Anchor: Right})

	legend(&s, list, r.x1-tableWide, r.y0, tableWide, req)
	d.what, d.scale = "Plan, from above", scale.String()
	d.Sheets = []Sheet{s}
	return d, nil
}

// extreme returns where the outline reaches the coordinate: the point of it that
// is nearest to the dimension line, below (byX) or to the right of the view.
func extreme(v View, o outline.Outline, at float64, byX, right bool) Point {
	best := outline.Point{}
	found := false
	for _, s := range o.Segments() {
		n := 1
		if s.Kind == outline.Arc {
			n = 16 // quarter points of an arc are among sixteenths of any sweep drawn from a quarter turn
		}
		for k := 0; k <= n; k++ {
			p, _ := s.At(float64(k) / float64(n))
			off := p.X - at
			if !byX {
				off = p.Y - at
			}
			if math.Abs(off) > 0.01 {
				continue
			}
			if !found || byX && p.Y < best.Y || right && p.X > best.X {
				best, found = p, true
			}
		}
	}
	if !found { // an arc's extreme between two of its sixteenths
		lo, hi := o.Bounds()
		best = outline.Point{X: (lo.X + hi.X) / 2, Y: (lo.Y + hi.Y) / 2}
	}
	if byX {
		best.X = at
	} else {
		best.Y = at
	}
	return v.At(best.X, best.Y)
}

// legend is the table of outlines: letter, line, name, size and corners.
func legend(s *Sheet, list []curve, x, y, width float64, req Request) {
	s.Text(x, y+3.2, "Outlines", Plain, Bold)
	y += 6
	s.Ink(Polyline(Point{x, y}, Point{x + width, y}), Thin, Solid)
	for _, c := range list {
		y += 4.6
		s.Text(x, y, c.key, Plain, Bold)
		s.Ink(Polyline(Point{x + 6, y - 1.1}, Point{x + 26, y - 1.1}), c.width, c.line)
		s.Text(x+29, y, c.name, Small, Bold)
		size := Length(c.o.Length(), req.Units) + " × " + Length(c.o.Width(), req.Units)
		if isCircle(c.o) {
			size = "Ø " + Length(c.o.Length(), req.Units)
		}
		y += 4.1
		s.Text(x+29, y, size, Small, Regular)
		for _, line := range wrapList("corners ", corners(c.o, req.Units), width-29) {
			y += 4.1
			s.Text(x+29, y, line, Small, Regular)
		}
		y += 1.8
		s.Ink(Polyline(Point{x, y}, Point{x + width, y}), Hair, Solid)
	}
	y += 5
	if list := req.Result.Hardware; len(list) > 0 {
		s.Text(x, y, "Cut-outs for hardware; middle from the middle of the recess, forward and to port", Fine, Bold)
		y += 3.8
		lo, hi := req.Result.Geometry.Outlines.Recess.Bounds()
		mx, my := (lo.X+hi.X)/2, (lo.Y+hi.Y)/2
		for i, h := range list {
			line := fmt.Sprintf("%d  %s: %s × %s, at %s, %s", i+1, h.Item, Length(h.Length, req.Units), Length(h.Width, req.Units), Length(h.At.X-mx, req.Units), Length(h.At.Y-my, req.Units))
			for _, l := range Wrap(line, Regular, Fine, width) {
				s.Text(x, y, l, Fine, Regular)
				y += 3.4
			}
		}
		y += 2
	}
	notes := []string{"Length × width of the curve itself, along × across the boat."}
	if req.Result.Geometry.TrunkRounded {
		notes = append(notes, "Trunk corners are re-rounded to "+Length(part.LeastTrunkRadius, req.Units)+", the least that glass can be laid in.")
	}
	notes = append(notes, fmt.Sprintf("Sized by: %s.", strings.ReplaceAll(req.Result.Configuration.SizeBasis, "_", " ")))
	for _, n := range notes {
		y = s.Paragraph(x, y, width, n, Small, Regular)
	}
}

// wrapList sets the entries behind a word, breaking lines between entries only.
func wrapList(word string, entries []string, width float64) []string {
	var lines []string
	now := word
	for i, e := range entries {
		if i+1 < len(entries) {
			e += ", "
		}
		if i > 0 && Measure(now+e, Regular, Small) > width {
			lines = append(lines, now)
			now = ""
		}
		now += e
	}
	if len(entries) > 0 {
		lines = append(lines, now)
	}
	return lines
}
