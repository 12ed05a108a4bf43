package packet

import (
	"fmt"

	"hatchwright/service/drawing"
	"hatchwright/service/laminate"
	"hatchwright/service/quantity"
)

// strength is the page of what the lid and its seat are checked for.
func (w *writer) strength() {
	r := w.Result
	percent := func(u float64) string {
		if u == 0 {
			return "–"
		}
		return quantity.Decimal(100*u, 0) + " %"
	}
	w.doc.Page("Strength of the lid")
	w.doc.Say(fmt.Sprintf("The plate behind these figures is a rectangle round the lid, held down at its corners and of one stiffness in all directions; that flatters by up to a third. "+
		"Deflection, stress, core shear and edge force are therefore those of the plate times %s, until the lid's true outline is worked out.", quantity.Decimal(laminate.PlateFactor, 2)), drawing.Plain, drawing.Regular)
	var rows [][]string
	for _, k := range r.Lid.Checks {
		load := quantity.Decimal(k.Case.Pressure*kilopascals, 2) + " kPa"
		if k.Case.Force > 0 {
			load = fmt.Sprintf("%s N on a disc of radius %s", quantity.Decimal(k.Case.Force, 0), w.length(k.Case.Radius))
		}
		rows = append(rows, []string{k.Case.Name, load, percent(k.UtilizationStress), percent(k.UtilizationDeflection), percent(k.UtilizationCoreShear), w.length(k.Deflection), quantity.Decimal(k.EdgeForce, 2) + " N/mm"})
	}
	w.doc.Table([]drawing.Column{{Title: "check", Share: 20}, {Title: "load", Share: 36}, {Title: "stress", Share: 12, Right: true}, {Title: "deflection", Share: 14, Right: true}, {Title: "core shear", Share: 14, Right: true}, {Title: "bends by", Share: 16, Right: true}, {Title: "edge force", Share: 18, Right: true}}, rows)
	w.doc.Say("Shares are of what is allowed; 100 % is just allowed.", drawing.Small, drawing.Regular)
	if len(r.Receiver.Strips) == 0 {
		return
	}
	w.doc.Heading("Ledge and flange of the receiver")
	w.doc.Say("How the lid shares its load along the ledge is not worked out. Between these two it lies: spread by a lid that is rigid on its seal, and the edge force of the lid's own check. A foot right at the lid's edge may put up to a fifth more there than that check's plate; the factor leaves room for it.", drawing.Plain, drawing.Regular)
	rows = nil
	for _, s := range r.Receiver.Strips {
		rows = append(rows, []string{s.Name, w.length(s.Lever), quantity.Decimal(s.Load, 2) + " N/mm", percent(s.Utilization), quantity.Decimal(s.EdgeLoad, 2) + " N/mm", percent(s.EdgeUtilization)})
	}
	w.doc.Table([]drawing.Column{{Title: "strip", Share: 16}, {Title: "lever", Share: 16, Right: true}, {Title: "load spread", Share: 20, Right: true}, {Title: "used", Share: 12, Right: true}, {Title: "load of the edge", Share: 20, Right: true}, {Title: "used", Share: 12, Right: true}}, rows)
}

// kilopascals turns MPa into kPa.
const kilopascals = 1000
