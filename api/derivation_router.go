package api

import "hatchwright/service/tooling"

func (w *writer) routerPlan(p *tooling.RouterPlan) {
	w.list("templates")
	for i := range p.Templates {
		t := &p.Templates[i]
		w.object("")
		w.text("name", t.Name)
		w.edge("outline", t.Outline)
		w.boolean("hole", t.Hole)
		w.text("made_from", t.MadeFrom)
		w.length("thickness", t.Thickness)
		w.text("purpose", t.Purpose)
		w.length("accumulated_error", t.Error)
		w.end()
	}
	w.endList()
	w.list("router_steps")
	for i := range p.Steps {
		w.routerStep(&p.Steps[i])
	}
	w.endList()
	w.integer("masters", p.Masters)
	w.integer("cuts", p.Cuts)
	w.integer("least_cuts", p.LeastCuts)
	w.boolean("cuts_optimal", p.Optimal)
	w.integer("bit_changes", p.BitChanges)
}

func (w *writer) routerStep(s *tooling.RouterStep) {
	w.object("")
	w.integer("order", s.Order)
	w.text("operation", s.Operation)
	w.optional("bit", s.Bit)
	w.length("bearing", s.Bearing)
	w.optional("trim_bit", s.TrimBit)
	w.length("trim_bearing", s.TrimBearing)
	w.text("from", s.From)
	w.text("to", s.To)
	w.length("offset", s.Offset)
	w.integer("passes", s.Passes)
	w.integer("pieces", s.Pieces)
	w.length("pilot", s.Pilot)
	w.length("accumulated_error", s.AccumulatedError)
	w.length("radius", s.Radius)
	w.length("miss", s.Miss)
	w.boolean("by_hand", s.ByHand)
	w.text("note", s.Note)
	w.end()
}
