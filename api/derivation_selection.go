package api

import "hatchwright/service/derivation"

// selection writes how an automatic schedule was chosen; null for any other.
func (w *writer) selection(s *derivation.Selection) {
	if s == nil {
		w.null("selection")
		return
	}
	w.object("selection")
	w.text("prefer", s.Prefer)
	w.text("status", string(s.Status))
	w.number("cost_per_m2", s.Cost, finePlaces)
	w.number("mass_per_m2", s.Mass, finePlaces)
	w.number("bound", s.Bound, finePlaces)
	w.integer("max_plies", s.MaxPlies)
	w.number("stacks", s.Stacks, 0)
	w.integer("nodes", s.Nodes)
	w.texts("plies", s.Plies)
	w.integer("barriers", s.Barriers)
	w.texts("cores", s.Cores)
	w.texts("unpriced", s.Unpriced)
	if s.Room > 0 {
		w.length("room", s.Room)
	} else {
		w.null("room")
	}
	w.end()
}
