package packet

import (
	"slices"

	"hatchwright/service/drawing"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/tooling"
)

// Limits that are not worked out from the router plan (shop rule, common practice,
// no published source).
const (
	plainEdge   = 1.0  // ± mm of an edge with no error worked out: sawn or trimmed to a line
	gaugeRadius = 1.0  // ± mm that a radius gauge tells
	wallAngle   = 0.5  // ± deg that a bevel gauge tells
	plyShare    = 0.15 // ± of a laminate's thickness laid by hand
	massShare   = 0.10 // ± of a part's mass
	sealHeight  = 0.5  // ± mm of a stack of sheets: the shop's own tolerance for them
)

// check is a line of the inspection sheet.
type check struct {
	what, with         string
	nominal, low, high string
}

// inspection lists what to measure on the finished hatch.
func (w *writer) inspection() {
	r, c, g := w.Result, &w.Result.Configuration, &w.Result.Geometry
	w.doc.Page("Inspection")
	w.doc.Say("Measure, write in, tick when within the limits. One sheet for each hatch.", drawing.Plain, drawing.Regular)
	w.doc.Table([]drawing.Column{{Title: "hatch number", Share: 25, Box: true}, {Title: "inspected by", Share: 40, Box: true}, {Title: "date", Share: 25, Box: true}, {Title: "gauges checked", Share: 25, Box: true}}, [][]string{{"", "", "", ""}})
	var list []check
	add := func(what string, nominal, tolerance float64, with string) {
		list = append(list, check{what, with, w.length(nominal), w.length(nominal - tolerance), w.length(nominal + tolerance)})
	}
	edges := func(name string, o outline.Outline, error float64) {
		// Both sides of a size carry the edge's error.
		add(name+", length", o.Length(), 2*error, "rule or tape")
		add(name+", width", o.Width(), 2*error, "rule or tape")
	}
	edges("recess, at the deck", g.Outlines.Recess, w.edgeError(part.Receiver, tooling.RecessBlock, tooling.CavityBoard))
	edges("lid, at its top", g.Outlines.Lid, w.edgeError(part.Lid, tooling.CavityBoard))
	edges("clear opening", g.Outlines.ClearOpening, w.edgeError(part.Receiver, tooling.TrunkBlock))
	edges("flange, outer edge", g.Outlines.Flange, plainEdge)
	if c.HasLeg(part.CoamingWall) {
		add("coaming, above its flange", c.Coaming.Height, sealHeight, "depth gauge")
		add("coaming's top, width", c.Coaming.TopWidth, plainEdge, "caliper")
	}
	if c.HasLeg(part.GutterFloor) {
		add("recess, deck to seal plane", c.Receiver.RecessDepth, sealHeight, "depth gauge")
		add("gutter, below the seal plane", c.Gutter.Depth, sealHeight, "depth gauge")
		add("gutter, width", c.Gutter.Width, plainEdge, "caliper")
	}
	if c.HasLeg(part.Ledge) {
		add("recess, deck to ledge", c.Receiver.RecessDepth, sealHeight, "depth gauge")
		add("ledge, width to the wall's foot", c.Receiver.LedgeWidth, plainEdge, "caliper")
	}
	add("lid, skirt height", g.SkirtHeight, sealHeight, "depth gauge")
	if c.HasTrunk() {
		nominal := r.Tolerance.Nominal
		most := nominal + r.Tolerance.WorstCase
		for _, side := range []string{"fore", "aft", "port", "starboard"} {
			list = append(list, check{"least clearance of the closed lid, " + side, "feeler gauge, " + below(w, g.Fit.LeastClearanceAt), w.length(nominal), w.length(c.Lid.LeastGap), w.length(most)})
		}
		list = append(list, check{"lid to deck, level all round", "straight edge", w.length(0), w.length(-sealHeight), w.length(sealHeight)})
		add("seal, pressed", g.SealThickness, sealHeight, "putty on the seat, caliper")
	}
	for _, m := range r.Molds {
		for _, f := range m.Fillets {
			add(w.radiusName(f.At)+", radius", f.Radius, gaugeRadius, "radius gauge")
		}
		for _, e := range m.RoundOvers {
			if e.At != tooling.AtRim {
				add(w.radiusName(e.At)+", radius", e.Radius, gaugeRadius, "radius gauge")
			}
		}
	}
	angle := func(what string, deg float64) {
		list = append(list, check{what, "bevel gauge", drawing.Degrees(deg), drawing.Degrees(max(deg-wallAngle, 0)), drawing.Degrees(deg + wallAngle)})
	}
	if c.HasTrunk() {
		angle("recess wall, draft", c.Receiver.Draft)
		angle("trunk, draft", c.Receiver.TrunkDraft)
		angle("lid's skirt, draft", c.Lid.Draft)
	}
	thick := func(what string, mm float64) { add(what, mm, mm*plyShare, "caliper at the trimmed edge") }
	thick("receiver, laminate", r.Receiver.SkirtThickness)
	thick("lid, laminate of the skirt", r.Lid.SkirtThickness)
	mass := func(what string, kg float64) {
		list = append(list, check{what, "scale", kilograms(kg), kilograms(kg * (1 - massShare)), kilograms(kg * (1 + massShare))})
	}
	mass("receiver, mass trimmed", r.Receiver.Mass)
	mass("lid, mass trimmed, no hardware", r.Lid.Mass)
	var rows [][]string
	for _, k := range list {
		rows = append(rows, []string{k.what, k.nominal, k.low, k.high, k.with, "", ""})
	}
	w.doc.Table([]drawing.Column{{Title: "dimension", Share: 34}, {Title: "nominal", Share: 17, Right: true}, {Title: "least", Share: 17, Right: true}, {Title: "most", Share: 17, Right: true}, {Title: "with", Share: 22}, {Title: "measured", Share: 18, Box: true}, {Title: "ok", Share: 7, Box: true}}, rows)
	w.doc.Heading("By eye and hand")
	rows = nil
	for _, text := range []string{
		"gelcoat: no pinholes, no print-through, color as the sample", "no dry glass, no air behind the gelcoat in the corners (tap all round)",
		"lid drops in and lifts out by its own weight, either way round where the shape allows", "seal touches all round (chalk or paper strip)",
		"edges sanded and sealed, no bare glass", "hardware works, fasteners bedded",
	} {
		rows = append(rows, []string{text, "", ""})
	}
	w.doc.Table([]drawing.Column{{Title: "look at", Share: 70}, {Title: "remark", Share: 30, Box: true}, {Title: "ok", Share: 7, Box: true}}, rows)
}

func below(w *writer, z float64) string {
	if z < 0 {
		return w.length(-z) + " above the deck"
	}
	return w.length(z) + " below the deck"
}

// edgeError is the most that an edge may be off, ± mm: of the last router step
// that makes one of the boards of a part's mold; plainEdge where there is none.
func (w *writer) edgeError(of part.Part, boards ...tooling.Board) float64 {
	off := 0.0
	for _, s := range w.Result.Steps {
		if s.Part == of && slices.Contains(boards, s.Board) {
			off = max(off, s.AccumulatedError)
		}
	}
	if off == 0 {
		return plainEdge
	}
	return off
}
