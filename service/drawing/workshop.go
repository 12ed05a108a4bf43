package drawing

import (
	"fmt"
	"strings"

	"hatchwright/service/nest"
	"hatchwright/service/outline"
	"hatchwright/service/quantity"
	"hatchwright/service/tooling"
)

// sheetLayout draws a stocked sheet with what is sawn from it and the cuts in
// their order.
func sheetLayout(req Request, i int) (Drawing, error) {
	l := req.Result.Sheets[i]
	name := fmt.Sprintf("Sheet %d of %d", i+1, len(req.Result.Sheets))
	d := Drawing{Title: name, what: fmt.Sprintf("%s: MDF %s", name, Length(l.Thickness, req.Units))}
	s := Sheet{Paper: req.paper()}
	r := s.room()
	const cutsWide = 76.0
	w, h := l.Sheet.Length, l.Sheet.Width
	scale := FitScale(w, h, r.x1-r.x0-cutsWide-16, r.y1-r.y0-24, 1)
	k := float64(scale)
	v := View{Point{r.x0 + 10, r.y0 + 8 + (r.y1-r.y0-24+h*k)/2}, scale, true}
	rect := func(x, y, a, b float64) Path {
		return Polygon(v.At(x, y), v.At(x+a, y), v.At(x+a, y+b), v.At(x, y+b))
	}
	text := func(mm float64) string { return Length(mm, req.Units) }
	short := func(mm float64) string { return strings.TrimSuffix(Length(mm, req.Units), " mm") }
	s.Ink(rect(0, 0, w, h), Thick, Solid)
	if o := l.Offcut; o.Length > 0 {
		s.Hatch(rect(o.X, o.Y, o.Length, o.Width), 45, 4, Hair)
		s.Ink(rect(o.X, o.Y, o.Length, o.Width), Thin, Dashed)
		s.fitText(v.At(o.X+o.Length/2, o.Y+o.Width/2), o.Length*k, o.Width*k, "offcut", text(o.Length)+" × "+text(o.Width))
	}
	for n, p := range l.Placements {
		path := rect(p.X, p.Y, p.Length, p.Width)
		s.Fill(path, White, 0)
		s.Ink(path, Medium, Solid)
		s.fitText(v.At(p.X+p.Length/2, p.Y+p.Width/2), p.Length*k, p.Width*k, fmt.Sprintf("%d  %s", n+1, p.Panel), text(p.Length)+" × "+text(p.Width))
		d.shapes = append(d.shapes, box("PANELS", p.X, p.Y, p.Length, p.Width))
	}
	d.shapes = append(d.shapes, box("SHEET", 0, 0, w, h))
	s.across(v.At(0, 0), v.At(w, 0), v.At(0, 0).Y+7, text(w))
	s.down(v.At(0, h), v.At(0, 0), v.At(0, 0).X-6, text(h))

	// Cuts, in columns that fit.
	x := r.x1 - cutsWide
	y := r.y0 + 3.5
	s.Text(x, y, "Cuts, in order", Plain, Bold)
	y += 4.5
	s.Text(x, y, "x and y from the lower left corner to the near", Fine, Regular)
	s.Text(x, y+3.2, "side of the blade", Fine, Regular)
	y += 8
	size := Small
	rows := float64(len(l.Cuts))
	step := size * LineHeight
	if room := r.y1 - 4 - y; rows*step > room {
		step = room / rows
		size = step / LineHeight
	}
	for n, c := range l.Cuts {
		line := fmt.Sprintf("%d  rip at y = %s, x %s to %s", n+1, text(c.At), short(c.From), text(c.To))
		if c.Axis == nest.Crosscut {
			line = fmt.Sprintf("%d  crosscut at x = %s, y %s to %s", n+1, text(c.At), short(c.From), text(c.To))
		}
		at := size
		for Measure(line, Regular, at) > cutsWide && at > 1.6 {
			at -= 0.1
		}
		s.Text(x, y, line, at, Regular)
		y += step
	}
	s.Text(r.x0+10, r.y0+3.5, fmt.Sprintf("%s: %s used, %d panels", l.Stock, quantity.Decimal(100*l.Utilization, 1)+" %", len(l.Placements)), Plain, Bold)
	d.scale = scale.String()
	d.Sheets = []Sheet{s}
	return d, nil
}

func box(layer string, x, y, w, h float64) shape {
	p := []outline.Point{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + h}, {X: x, Y: y + h}}
	s := shape{layer: layer, closed: true}
	for i := range p {
		s.segments = append(s.segments, outline.Segment{From: p[i], To: p[(i+1)%4]})
	}
	return s
}

// fitText sets lines in the middle of a box, smaller and if need be upright until
// they fit; what does not fit at the least size is left to the list.
func (s *Sheet) fitText(at Point, w, h float64, lines ...string) {
	const least = 1.7
	for _, upright := range []bool{false, true} {
		a, b := w, h
		if upright {
			a, b = h, w
		}
		for size := Small; size >= least; size -= 0.2 {
			wide := 0.0
			for _, l := range lines {
				wide = max(wide, Measure(l, Regular, size))
			}
			if wide > a-1.5 || float64(len(lines))*size*1.25 > b-1 {
				continue
			}
			for i, l := range lines {
				off := (float64(i)-float64(len(lines)-1)/2)*size*1.25 + size*capHeight/2
				p := Point{at.X, at.Y + off}
				if upright {
					p = Point{at.X + off, at.Y}
				}
				s.Put(Label{At: p, Text: l, Size: size, Anchor: Middle, Upward: upright, Clear: true})
			}
			return
		}
	}
	// The number alone, if that goes in.
	number, _, _ := strings.Cut(lines[0], " ")
	if len(lines) > 1 && number != "" && Measure(number, Regular, least) < w && least < h {
		s.Put(Label{At: Point{at.X, at.Y + least*capHeight/2}, Text: number, Size: least, Anchor: Middle, Clear: true})
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
		if st.ByHand && !strings.Contains(name, "hand") {
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
