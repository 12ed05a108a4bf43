package drawing

import (
	"fmt"
	"math"
	"strings"

	"hatchwright/service/derivation"
	"hatchwright/service/laminate"
	"hatchwright/service/quantity"
)

// layer is one of a laminate, from the mold face outward.
type layer struct {
	thickness float64 // mm
	kind      laminate.Kind
	core      bool
	gelcoat   bool
	stage     int // 1-based; 0: gelcoat
	pieces    []string
}

// layers lists gelcoat, plies and core as they are laid.
func layers(l *derivation.Laminate, u quantity.System) []layer {
	var out []layer
	if l.Stack.Gelcoat != nil {
		out = append(out, layer{thickness: l.Stack.Film(), gelcoat: true, pieces: []string{
			"gelcoat: " + strings.TrimPrefix(l.Gelcoat.Key, "gelcoat ") + ",", "wet film " + fine(l.Stack.Film(), u) + ",", grams(l.Stack.Mass().Gelcoat)}})
	}
	plies := l.Stack.Plies()
	for i, st := range l.Stages {
		if st.Core && l.Core != nil {
			out = append(out, layer{thickness: l.Core.Thickness, core: true, stage: i + 1, pieces: []string{
				"core: " + l.Core.Key + ",", fine(l.Core.Thickness, u) + ",", "with bedding " + grams(l.Stack.Mass().Core) + ",", "of it bedding " + grams(l.Core.BedResin)}})
		}
		for _, k := range st.Plies {
			p := plies[k]
			out = append(out, layer{thickness: p.Thickness(), kind: p.Reinforcement.Kind, stage: i + 1, pieces: []string{
				fmt.Sprintf("ply %d: %s,", k+1, l.Rows[k].Key), fine(p.Thickness(), u) + ",", "glass " + grams(p.GlassMass()) + ",", "resin " + grams(p.ResinMass())}})
		}
	}
	return out
}

// fine writes a thickness; in inches without the nearest 1/32, which says nothing
// of a ply.
func fine(mm float64, u quantity.System) string {
	if u == quantity.Inch {
		return fmt.Sprintf("%.*f in", inchPlaces, mm/quantity.MillimetersPerInch)
	}
	return Length(mm, u)
}

// grams writes kg/m² as a shop reads it off a roll.
func grams(kg float64) string { return quantity.Decimal(kg*1000, 0) + " g/m²" }

// The measures of a stack on paper, mm.
const (
	stackHead   = 9.0  // for its name
	stackFoot   = 29.0 // for the mold below it and the totals
	stackLeft   = 24.0 // for the stages
	stackPair   = 14   // layers of each part that still go side by side
	stackSingle = 24   // layers on a sheet with one part
)

// stackSection draws the laminates of receiver and lid cut through: ply by ply from the
// mold face outward, thickness to scale and width not.
//
//	stage 2 [ |////////|---- ply 3: ...
//	        [ |xxxxxxxx|---- core: ...
//	stage 1 [ |////////|---- ply 1: ...
//	          |########|---- gelcoat
//	          ========== mold face
func stackSection(req Request) (Drawing, error) {
	d := Drawing{Title: "Stack section", what: "Laminate stacks"}
	parts := []struct {
		name string
		l    *derivation.Laminate
		rows []layer
	}{{name: "Receiver", l: &req.Result.Receiver}, {name: "Lid", l: &req.Result.Lid}}
	s := Sheet{Paper: req.paper()}
	r := s.room()
	most := 0
	var scales [2]Scale // each part's own: a receiver is a few plies, a lid has a core
	for i := range parts {
		parts[i].rows = layers(parts[i].l, req.Units)
		most = max(most, len(parts[i].rows))
		deepest := 0.0
		for from := 0; from < len(parts[i].rows); from += stackSingle {
			sum := 0.0
			for _, k := range parts[i].rows[from:min(from+stackSingle, len(parts[i].rows))] {
				sum += k.thickness
			}
			deepest = math.Max(deepest, sum)
		}
		scales[i] = FitScale(0, deepest, 1, r.y1-r.y0-stackHead-stackFoot, 20)
	}
	d.scale = scales[0].String()
	if scales[1] != scales[0] {
		d.scale += ", " + scales[1].String()
	}
	if most <= stackPair {
		half := (r.x1 - r.x0) / 2
		for i, p := range parts {
			x := r.x0 + float64(i)*half
			req.layers(&s, room{x, r.y0, x + half - 4, r.y1}, p.name, p.l, p.rows, scales[i])
		}
		d.Sheets = []Sheet{s}
		return d, nil
	}
	for i, p := range parts {
		for from := 0; from < len(p.rows); from += stackSingle {
			s := Sheet{Paper: req.paper()}
			name := p.name
			if len(p.rows) > stackSingle {
				name += fmt.Sprintf(", part %d of %d", from/stackSingle+1, (len(p.rows)+stackSingle-1)/stackSingle)
			}
			req.layers(&s, r, name, p.l, p.rows[from:min(from+stackSingle, len(p.rows))], scales[i])
			d.Sheets = append(d.Sheets, s)
		}
	}
	return d, nil
}

// layers draws one laminate's layers in a region.
func (r Request) layers(s *Sheet, in room, name string, l *derivation.Laminate, rows []layer, scale Scale) {
	k := float64(scale)
	s.Text(in.x0, in.y0+4, name+" "+scale.String()+", from the mold face (below) outward", Plain, Bold)
	face := in.y1 - stackFoot
	x0 := in.x0 + stackLeft
	wide := math.Min(34, (in.x1-x0)*0.25)
	x1 := x0 + wide

	// The mold, and its face.
	mold := Rect(x0-3, face, wide+6, 3)
	s.Hatch(mold, 45, 1.6, Hair)
	s.Ink(Polyline(Point{x0 - 3, face}, Point{x1 + 3, face}), Heavy, Solid)

	labels := x1 + 9
	var notes, stages []note
	type run struct {
		stage    int
		from, to float64
	}
	var runs []run
	y := face
	for _, row := range rows {
		top := y - row.thickness*k
		band := Rect(x0, top, wide, y-top)
		switch {
		case row.gelcoat:
			s.Fill(band, 170, 0)
		case row.core:
			s.Hatch(band, 45, 2.6, Hair)
			s.Hatch(band, -45, 2.6, Hair)
		case row.kind == laminate.Mat || row.kind == laminate.Sprayed:
			s.Hatch(band, 45, 1.1, Hair)
		case row.kind == laminate.Unidirectional:
			s.Hatch(band, 0, 0.8, Hair)
		default:
			s.Hatch(band, -45, 1.1, Hair)
		}
		s.Ink(band, Thin, Solid)
		notes = append(notes, note{wrapPieces(row.pieces, dimSize, in.x1-labels), Point{x1 - 2, (top + y) / 2}, true})
		if n := len(runs); row.stage > 0 && n > 0 && runs[n-1].stage == row.stage {
			runs[n-1].to = top
		} else if row.stage > 0 {
			runs = append(runs, run{row.stage, y, top})
		}
		y = top
	}
	for _, b := range runs {
		const arm, clear = 1.6, 0.3
		x := x0 - 1.5
		s.Ink(Polyline(Point{x, b.from - clear}, Point{x - arm, b.from - clear}, Point{x - arm, b.to + clear}, Point{x, b.to + clear}), Medium, Solid)
		stages = append(stages, note{[]string{fmt.Sprintf("stage %d,", b.stage), fine(l.Stages[b.stage-1].Thickness, r.Units)}, Point{x - arm, (b.from + b.to) / 2}, false})
	}
	s.column(labels, in.y0+stackHead, face+3, false, notes)
	s.column(in.x0+14, in.y0+stackHead, face+3, true, stages)

	m := l.Stack.Mass()
	parts := []string{"glass " + grams(m.Glass) + ",", "resin " + grams(m.Resin)}
	if l.Core != nil {
		parts = append(parts, "core with bedding "+grams(m.Core))
	}
	if l.Stack.Gelcoat != nil {
		parts = append(parts, "gelcoat film "+grams(m.Gelcoat))
	}
	for i := 1; i < len(parts)-1; i++ {
		parts[i] += ","
	}
	total := "Thickness " + fine(l.Thickness, r.Units)
	if l.Core != nil {
		total += " with the core, " + fine(l.SkirtThickness, r.Units) + " without (skirt)"
	}
	entries := []entry{
		{head: "In all " + quantity.Decimal(m.Total(), 2) + " kg/m², glass " + quantity.Decimal(100*l.Stack.GlassFraction(), 1) + " % of the plies' mass", lines: [][]string{parts}},
		{lines: [][]string{strings.Fields(total + ", gelcoat not counted. Resin: " + l.Resin.Key + ".")}},
		{lines: [][]string{strings.Fields("Thickness to scale, width not. A stage's figure is its plies'.")}},
	}
	flow(s, []band{{in.x0, face + 5.5, in.y1, in.x1 - in.x0}}, entries)
}
