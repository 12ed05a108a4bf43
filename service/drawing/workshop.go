package drawing

import (
	"fmt"
	"strings"

	"hatchwright/service/nest"
	"hatchwright/service/outline"
	"hatchwright/service/quantity"
	"hatchwright/service/tooling"
)

// layoutScales are those of sheet layouts: the standard ones with 1:15 and 1:25,
// which shops use (common practice, no source), so that a sheet fills the page.
var layoutScales = []Scale{1. / 2, 1. / 5, 1. / 10, 1. / 15, 1. / 20, 1. / 25, 1. / 50, 1. / 100}

// leastList is the narrowest column of panels and cuts, mm.
const leastList = 74.0

// sheetLayout draws a stocked sheet with what is sawn from it, a key of its panels
// and the cuts in their order, at the largest scale that leaves room for the
// lists beside and below.
func sheetLayout(req Request, i int) (Drawing, error) {
	l := req.Result.Sheets[i]
	name := fmt.Sprintf("Sheet %d of %d", i+1, len(req.Result.Sheets))
	d := Drawing{Title: name, what: fmt.Sprintf("%s: MDF %s", name, Length(l.Thickness, req.Units))}
	s := Sheet{Paper: req.paper()}
	r := s.room()
	const left, over, under = 9.0, 7.0, 9.5 // for the upright dimension, the headline, the level dimension
	w, h := l.Sheet.Length, l.Sheet.Width
	list := sheetLists(&l, req.Units)
	regions := func(k float64) []band {
		x, y := r.x0+left+w*k+6, r.y0+over+h*k+under
		if r.x1-x < leastList {
			return bandsIn(r.x0, y, r.x1, r.y1, leastList)
		}
		return append(bandsIn(x, r.y0, r.x1, r.y1, leastList), bandsIn(r.x0, y, x-6, r.y1, leastList)...)
	}
	scale := layoutScales[len(layoutScales)-1]
	for _, c := range layoutScales {
		k := float64(c)
		if left+w*k <= r.x1-r.x0 && over+h*k+under <= r.y1-r.y0 && flow(nil, regions(k), list) == len(list) {
			scale = c
			break
		}
	}
	k := float64(scale)
	v := View{Point{r.x0 + left, r.y0 + over + h*k}, scale, true}
	rect := func(x, y, a, b float64) Path {
		return v.Box(x, y, x+a, y+b)
	}
	text := func(mm float64) string { return Length(mm, req.Units) }
	s.Ink(rect(0, 0, w, h), Thick, Solid)
	if o := l.Offcut; o.Length > 0 {
		s.Hatch(rect(o.X, o.Y, o.Length, o.Width), 45, 4, Hair)
		s.Ink(rect(o.X, o.Y, o.Length, o.Width), Thin, Dashed)
		s.fitText(v.At(o.X+o.Length/2, o.Y+o.Width/2), o.Length*k, o.Width*k, "", "offcut", text(o.Length)+" × "+text(o.Width))
	}
	for n, p := range l.Placements {
		path := rect(p.X, p.Y, p.Length, p.Width)
		s.Fill(path, White, 0)
		s.Ink(path, Medium, Solid)
		s.fitText(v.At(p.X+p.Length/2, p.Y+p.Width/2), p.Length*k, p.Width*k, numeral(n), numeral(n)+"  "+p.Panel, text(p.Length)+" × "+text(p.Width))
		d.shapes = append(d.shapes, box("PANELS", p.X, p.Y, p.Length, p.Width))
	}
	d.shapes = append(d.shapes, box("SHEET", 0, 0, w, h))
	s.across(v.At(0, 0), v.At(w, 0), v.At(0, 0).Y+6, text(w))
	s.down(v.At(0, h), v.At(0, 0), v.At(0, 0).X-5, text(h))
	panels := "panels"
	if len(l.Placements) == 1 {
		panels = "panel"
	}
	s.Text(r.x0+left, r.y0+3.5, fmt.Sprintf("%s: %s used, %d %s", l.Stock, quantity.Decimal(100*l.Utilization, 1)+" %", len(l.Placements), panels), Plain, Bold)
	set := flow(&s, regions(k), list)
	d.scale = scale.String()
	d.Sheets = append([]Sheet{s}, overflow(s.Paper, list[set:], leastList)...)
	return d, nil
}

// numeral is the number of entry n, from 0: with a point, so that it is not read as
// a figure that lacks its unit.
func numeral(n int) string { return fmt.Sprintf("%d.", n+1) }

// sheetLists are the key of a sheet's panels and its cuts.
func sheetLists(l *tooling.SheetLayout, u quantity.System) []entry {
	text := func(mm float64) string { return Length(mm, u) }
	list := []entry{{title: true, head: "Panels, length × width"}}
	for n, p := range l.Placements {
		a, b := p.Length, p.Width
		pieces := []string{p.Panel + ",", ""}
		if p.Turned {
			a, b = b, a
			pieces = append(pieces, "turned")
		}
		pieces[1] = text(a) + " × " + text(b)
		if p.Turned {
			pieces[1] += ","
		}
		list = append(list, entry{mark: numeral(n), lines: [][]string{pieces}})
	}
	if o := l.Offcut; o.Length > 0 {
		list = append(list, entry{mark: "–", lines: [][]string{{"offcut to keep,", text(o.Length) + " × " + text(o.Width)}}})
	}
	list = append(list, entry{title: true, head: "Cuts, in order",
		lines: [][]string{strings.Fields("x and y from the lower left corner to the near side of the blade")}})
	for n, c := range l.Cuts {
		pieces := []string{"rip at y = " + text(c.At) + ",", "x " + text(c.From) + " to " + text(c.To)}
		if c.Axis == nest.Crosscut {
			pieces = []string{"crosscut at x = " + text(c.At) + ",", "y " + text(c.From) + " to " + text(c.To)}
		}
		list = append(list, entry{mark: numeral(n), lines: [][]string{pieces}})
	}
	return list
}

func box(layer string, x, y, w, h float64) shape {
	p := []outline.Point{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + h}, {X: x, Y: y + h}}
	s := shape{layer: layer, closed: true}
	for i := range p {
		s.segments = append(s.segments, outline.Segment{From: p[i], To: p[(i+1)%4]})
	}
	return s
}

// fitText sets lines in the middle of a box, upright where they fit better, in one
// of two sizes; where they do not go in, the first of them, or the word alone, as large as
// it can be: the rest is in a list.
func (s *Sheet) fitText(at Point, w, h float64, word string, lines ...string) {
	try := func(size float64, face Face, lines ...string) bool {
		wide := 0.0
		for _, l := range lines {
			wide = max(wide, Measure(l, face, size))
		}
		high := float64(len(lines)) * size * 1.25
		for _, upright := range []bool{false, true} {
			a, b := w, h
			if upright {
				a, b = h, w
			}
			if wide > a-1.5 || high > b-0.6 {
				continue
			}
			for i, l := range lines {
				off := (float64(i)-float64(len(lines)-1)/2)*size*1.25 + size*capHeight/2
				p := Point{at.X, at.Y + off}
				if upright {
					p = Point{at.X + off, at.Y}
				}
				s.Put(Label{At: p, Text: l, Size: size, Face: face, Anchor: Middle, Upward: upright, Clear: true})
			}
			return true
		}
		return false
	}
	if try(Small, Regular, lines...) || try(Fine, Regular, lines...) || try(Small, Regular, lines[0]) || word == "" {
		return
	}
	for _, size := range []float64{Heading, Plain, Fine, 1.8} {
		if try(size, Bold, word) {
			return
		}
	}
}

// operations say what is done at the router.
var operations = map[string]string{
	tooling.LayOut: "lay out master by hand", tooling.RabbetAndTrim: "rabbet and trim", tooling.FollowOutside: "follow outside",
	tooling.Copy: "copy from template", tooling.Bevel: "bevel by hand", tooling.RoundEdge: "round over",
}

// RouterRows are the router steps as a table: columns and rows.
func RouterRows(w *tooling.Workshop, u quantity.System) ([]Column, [][]string) {
	text := func(mm float64) string { return Length(mm, u) }
	columns := []Column{{Title: "step", Share: 5}, {Title: "operation", Share: 12}, {Title: "from", Share: 14}, {Title: "to", Share: 14},
		{Title: "bit, bearing", Share: 14}, {Title: "offset", Share: 10, Right: true}, {Title: "edge off by at most", Share: 10, Right: true}, {Title: "how", Share: 36}, {Title: "done", Share: 6, Box: true}}
	var rows [][]string
	for _, st := range w.Steps {
		bit := st.Bit
		if bit == "" {
			bit = "hand tools"
		}
		if st.Bearing > 0 {
			bit += ", bearing " + text(st.Bearing)
		}
		if st.TrimBit != "" {
			bit += ", then " + st.TrimBit
		}
		offset, off := "", "± "+text(st.AccumulatedError)
		if st.AccumulatedError == 0 { // an edge rounded, not moved
			off = ""
		}
		if st.Operation != tooling.LayOut && st.Operation != tooling.RoundEdge {
			offset = signed(st.Offset, u)
		}
		how := st.Note
		if st.Operation == tooling.RoundEdge && st.Radius > 0 {
			how = "R " + text(st.Radius) + ". " + how
		}
		if st.Passes > 1 {
			how += fmt.Sprintf(" %d depths.", st.Passes)
		}
		if st.Pieces > 1 {
			how += fmt.Sprintf(" %d boards.", st.Pieces)
		}
		if st.Pilot > 0 {
			how += " Pilot hole Ø " + text(st.Pilot) + "."
		}
		if st.ToOutline != nil && st.Operation == tooling.LayOut {
			how = "Size " + text(st.ToOutline.Length()) + " × " + text(st.ToOutline.Width()) + ". " + how
		}
		name := operations[st.Operation]
		if st.ByHand && st.Operation != tooling.LayOut && st.Operation != tooling.Bevel { // those two always are
			name += ", by hand"
		}
		rows = append(rows, []string{fmt.Sprint(st.Order), name, st.From, st.To, bit, offset, off, how, ""})
	}
	return columns, rows
}

func signed(mm float64, u quantity.System) string {
	text := Length(mm, u)
	if mm > 0 {
		return "+" + text
	}
	return text
}

// router is the order of work at the router, as a table.
func router(req Request) (Drawing, error) {
	d := Drawing{Title: "Router steps", what: "Router steps", scale: "none"}
	doc := NewDocument(req.paper().Upright()) // turned twice: lying
	doc.Page("Router steps")
	w := &req.Result.Workshop
	doc.Say(RouterSummary(w), Plain, Regular)
	columns, rows := RouterRows(w, req.Units)
	doc.Table(columns, rows)
	d.Sheets = doc.sheets
	return d, nil
}

// RouterSummary says in a sentence what the router plan takes.
func RouterSummary(w *tooling.Workshop) string {
	word := "the fewest found within the search's bound"
	if w.Optimal {
		word = "the fewest that this crib allows"
	}
	return fmt.Sprintf("Masters laid out by hand: %d. Templates cut from others: %d, %s. Bit changes: %d. An offset is outward when positive.", w.Masters, w.Cuts, word, w.BitChanges)
}
