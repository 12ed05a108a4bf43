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
func curves(o *part.Outlines, named part.Captions) []curve {
	list := []curve{
		{"A", "flange, outer edge", "FLANGE", o.Flange, Medium, Solid},
		{"B", "deck cut-out (under the flange)", "DECK_CUTOUT", o.DeckCutout, Medium, Dashed},
		{"C", named.Recess, "RECESS", o.Recess, Heavy, Solid},
		{"D", named.Lid, "LID", o.Lid, Thin, Phantom},
		{"E", named.Trunk, "TRUNK", o.Trunk, Thin, Solid},
		{"F", named.ClearOpening, "CLEAR_OPENING", o.ClearOpening, Thick, Solid},
	}
	if o.Trunk.Equal(o.ClearOpening) {
		list = slices.DeleteFunc(list, func(c curve) bool { return c.layer == "TRUNK" })
	}
	if o.Lid.Equal(o.Recess) {
		list = slices.DeleteFunc(list, func(c curve) bool { return c.layer == "LID" })
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

// The columns of a plan's legend, mm: as wide as they can be, no narrower than the
// last.
var legendWidths = []float64{100, 84, 66}

// plan draws the outlines seen from above, bow to the right, at the largest scale
// that leaves room for the legend beside or below.
func plan(req Request) (Drawing, error) {
	s := Sheet{Paper: req.paper()}
	d := Drawing{Title: "Plan"}
	list := curves(&req.Result.Geometry.Outlines, req.Result.Configuration.Captions())
	drains, err := drainPlaces(req.Result)
	if err != nil {
		return d, fmt.Errorf("drains: %w", err)
	}
	r := s.room()
	const (
		step      = 5.0 // between dimension lines
		past      = 4.0 // of the center lines
		arrowHigh = 7.0
	)
	dims := step*float64(len(list)) + 2
	low, high := list[0].o.Bounds()
	w, h := high.X-low.X, high.Y-low.Y
	legend, needed := planLegend(list, drains, req)

	// What the view takes with its dimensions, and what is left for the legend.
	above := func(k float64) float64 {
		most := arrowHigh + past
		for _, c := range list { // a dimension too short for its text has it above
			_, hi := c.o.Bounds()
			if wide := Measure(c.key+"  "+Length(c.o.Width(), req.Units), Regular, dimSize); c.o.Width()*k < wide+arrowRoom {
				most = math.Max(most, wide+arrowRoom-(high.Y-hi.Y)*k)
			}
		}
		return most
	}
	take := func(k float64) (wide, tall float64) {
		return past + 1 + w*k + dims + 3, above(k) + h*k + dims + 2
	}
	beside := func(k, least float64) []band {
		wide, _ := take(k)
		return bandsIn(r.x0+wide+4, r.y0, r.x1, r.y1, least)
	}
	around := func(k, least float64) []band {
		wide, tall := take(k)
		side := beside(k, least)
		if side == nil {
			return bandsIn(r.x0, r.y0+tall+2, r.x1, r.y1, least)
		}
		return append(side, bandsIn(r.x0, r.y0+tall+2, r.x0+wide, r.y1, least)...)
	}
	scale, bands, centered := scales[len(scales)-1], []band(nil), false
	for _, all := range []bool{true, false} {
		want := len(legend)
		if !all {
			want = needed // the rest goes on a sheet of its own
		}
	search:
		for _, c := range scales {
			k := float64(c)
			if wide, tall := take(k); k > 1 || wide > r.x1-r.x0 || tall > r.y1-r.y0 {
				continue
			}
			for _, least := range legendWidths {
				if b := beside(k, least); flow(nil, b, legend) >= want {
					scale, bands, centered = c, b, true
					break search
				}
			}
			for _, least := range legendWidths {
				if b := around(k, least); flow(nil, b, legend) >= want {
					scale, bands = c, b
					break search
				}
			}
		}
		if bands != nil {
			break
		}
	}
	k := float64(scale)
	wide, tall := take(k)
	x0, y0 := r.x0+past+1, r.y0+above(k)
	if centered {
		y0 += (r.y1 - r.y0 - tall) / 2
		if len(bands) == 1 && bands[0].width > legendWidths[0] {
			spare := bands[0].width - legendWidths[0]
			x0 += spare / 2
			bands = []band{{bands[0].x + spare, bands[0].y0, bands[0].y1, legendWidths[0]}}
		}
	} else if len(bands) > 0 && bands[0].y0 > r.y0 { // the legend is below
		x0 += (r.x1 - r.x0 - wide) / 2
	}
	v := View{Point{x0 - low.X*k, y0 + high.Y*k}, scale, true}

	for _, c := range list {
		s.Ink(v.Outline(c.o), c.width, c.line)
		d.shapes = append(d.shapes, outlineShape(c.layer, c.o))
	}
	// Center lines through the middle of the recess.
	mx, my := middle(req.Result)
	mid := v.At(mx, my)
	left, right := v.At(low.X, 0).X, v.At(high.X, 0).X
	top, bottom := v.At(0, high.Y).Y, v.At(0, low.Y).Y
	s.Ink(Polyline(Point{left - past, mid.Y}, Point{right + past, mid.Y}), Thin, Chain)
	s.Ink(Polyline(Point{mid.X, top - past}, Point{mid.X, bottom + past}), Thin, Chain)

	// Holes, and their names inside the opening; a name that would run into another is
	// left out, they are counted round.
	opening := req.Result.Geometry.Outlines.ClearOpening
	var names []Label
	hole := func(p outline.Point, diameter float64, name string) {
		const (
			cross = 1.0
			clear = 0.9 // from the opening's edge to the name
			near  = 1e-3
		)
		at := v.At(p.X, p.Y)
		radius := math.Max(diameter/2*k, 0.5)
		s.Ink(Circle(at, radius), Thin, Solid)
		s.Ink(Polyline(Point{at.X - radius - cross, at.Y}, Point{at.X + radius + cross, at.Y}), Hair, Solid)
		s.Ink(Polyline(Point{at.X, at.Y - radius - cross}, Point{at.X, at.Y + radius + cross}), Hair, Solid)
		// Toward the opening, along the gradient of the distance from it.
		off := opening.Distance(p)
		ux := (opening.Distance(outline.Point{X: p.X + near, Y: p.Y}) - off) / near
		uy := (opening.Distance(outline.Point{X: p.X, Y: p.Y + near}) - off) / near
		reach := clear + math.Abs(ux)*Measure(name, Regular, Fine)/2 + math.Abs(uy)*Fine*capHeight/2
		inside := v.At(p.X-ux*(off+reach/k), p.Y-uy*(off+reach/k))
		label := Label{At: Point{inside.X, inside.Y + Fine*capHeight/2}, Text: name, Size: Fine, Anchor: Middle, Clear: true}
		x0, y0, x1, y1 := label.box()
		for _, l := range names {
			if a0, b0, a1, b1 := l.box(); x0 < a1+cross/2 && a0 < x1+cross/2 && y0 < b1 && b0 < y1 {
				return
			}
		}
		names = append(names, label)
	}
	for i, b := range req.Result.Geometry.Bolts {
		hole(b, req.Result.Configuration.Plate.BoltDiameter, fmt.Sprintf("b%d", i+1))
	}
	for i, p := range drains {
		hole(p, req.Result.Configuration.Gutter.DrainDiameter, fmt.Sprintf("d%d", i+1))
	}
	for i, h := range req.Result.Hardware {
		l, w := h.Width/2, h.Length/2 // along x and y; edges fore and aft run athwartships
		if h.Edge == derivation.Port || h.Edge == derivation.Starboard {
			l, w = w, l
		}
		s.Ink(v.Box(h.At.X-l, h.At.Y-w, h.At.X+l, h.At.Y+w), Thin, Solid)
		p := v.At(h.At.X, h.At.Y)
		s.Fill(Circle(p, 2.4), White, Thin)
		s.Put(Label{At: Point{p.X, p.Y + 0.9}, Text: fmt.Sprintf("h%d", i+1), Size: Fine, Anchor: Middle, Clear: true})
	}

	for _, l := range names { // over the crosses of their neighbours
		s.Put(l)
	}

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
	ax, ay := (left+right)/2, y0-past-arrowHigh+3
	s.Ink(Polyline(Point{ax - 10, ay}, Point{ax + 10, ay}), Medium, Solid)
	s.arrow(Point{ax + 12, ay}, Point{1, 0})
	s.Put(Label{At: Point{ax + 14, ay + 1.1}, Text: "bow", Size: Plain, Face: Bold})
	s.Put(Label{At: Point{ax - 12, ay + 1.1}, Text: "aft", Size: Plain, Face: Bold, Anchor: Right})

	set := flow(&s, bands, legend)
	d.what, d.scale = "Plan, from above", scale.String()
	d.Sheets = append([]Sheet{s}, overflow(s.Paper, legend[set:], legendWidths[len(legendWidths)-1])...)
	return d, nil
}

// middle is the middle of the recess's extent, which holes are measured from.
func middle(r *derivation.Result) (x, y float64) {
	lo, hi := r.Geometry.Outlines.Recess.Bounds()
	return (lo.X + hi.X) / 2, (lo.Y + hi.Y) / 2
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

// planLegend is the table of outlines (letter, line, name, size and corners), notes,
// and the places of holes. The first needed entries are those of outlines and notes.
func planLegend(list []curve, drains []outline.Point, req Request) (legend []entry, needed int) {
	c, g := &req.Result.Configuration, &req.Result.Geometry
	text := func(mm float64) string { return Length(mm, req.Units) }
	legend = []entry{{title: true, head: "Outlines", rule: true}}
	for i := range list {
		o := list[i].o
		size := []string{text(o.Length()) + " ×", text(o.Width())}
		if isCircle(o) {
			size = []string{"Ø " + text(o.Length())}
		}
		e := entry{mark: list[i].key, sample: &list[i], head: list[i].name, lines: [][]string{size}, rule: true}
		if radii := corners(o, req.Units); len(radii) > 0 {
			for k := range radii[:len(radii)-1] {
				radii[k] += ","
			}
			e.lines = append(e.lines, append([]string{"corners"}, radii...))
		}
		legend = append(legend, e)
	}
	say := func(format string, a ...any) {
		legend = append(legend, entry{lines: [][]string{strings.Fields(fmt.Sprintf(format, a...))}})
	}
	say("Length × width of the curve itself, along × across the boat.")
	if g.TrunkRounded {
		say("Trunk corners are re-rounded to %s, the least that glass can be laid in.", text(part.LeastTrunkRadius))
	}
	say("Sized by: %s.", strings.ReplaceAll(c.SizeBasis, "_", " "))
	if d := g.Drain; d != nil {
		legend = append(legend, entry{title: true, head: "Drains in the gutter's floor"})
		say("%d of Ø %s carry %s L/min with the gutter full. From full it empties in %s s.",
			len(drains), text(c.Gutter.DrainDiameter), quantity.Decimal(d.FlowEach*float64(len(drains)), 1), quantity.Decimal(d.EmptySeconds, 1))
		if d.Inflow > 0 {
			say("That is %s times the rain of %s %s/h on lid and %s of deck round it.", quantity.Decimal(d.FlowRatio, 2),
				quantity.Decimal(req.Units.Length(c.Gutter.RainIntensity), 2), req.Units, text(c.Gutter.Catchment))
		}
	}
	needed = len(legend)
	mx, my := middle(req.Result)
	from := func(middle string) string { return "x forward and y to port, from the middle of the " + middle }
	place := func(mark string, p outline.Point, more ...string) {
		legend = append(legend, entry{mark: mark, lines: [][]string{append(more, "x "+text(p.X-mx)+",", "y "+text(p.Y-my))}})
	}
	if len(drains) > 0 {
		say("Proposed places, %s; keep them at the low corners of the boat as she lies:", from("recess"))
		for i, p := range drains {
			place(fmt.Sprintf("d%d", i+1), p)
		}
	}
	if len(g.Bolts) > 0 {
		legend = append(legend, entry{title: true, head: "Bolts"})
		say("%d of Ø %s, %s inside the plate's edge, %s apart along that line, counted counter-clockwise; %s:", len(g.Bolts), text(c.Plate.BoltDiameter), text(c.Plate.EdgeDistance), text(g.BoltPitch), from("plate"))
		for i, p := range g.Bolts {
			place(fmt.Sprintf("b%d", i+1), p)
		}
	}
	if len(req.Result.Hardware) > 0 {
		legend = append(legend, entry{title: true, head: "Cut-outs for hardware"})
		say("Their middles: %s.", from("recess"))
		for i, h := range req.Result.Hardware {
			place(fmt.Sprintf("h%d", i+1), h.At, h.Item+",", text(h.Length)+" ×", text(h.Width)+", at")
		}
	}
	return legend, needed
}
