package api

import (
	"fmt"

	"hatchwright/service/derivation"
)

// hardware writes where each fitting goes.
func (w *writer) hardware(list []derivation.Placement) {
	w.list("hardware")
	for i := range list {
		p := &list[i]
		w.object("")
		w.text("item", p.Item)
		w.text("edge", p.Edge)
		w.point("at", p.At)
		w.length("length", p.Length)
		w.length("width", p.Width)
		w.length("edge_distance", p.Distance)
		w.number("load", p.Load, massPlaces)
		w.number("open_load", p.OpenLoad, massPlaces)
		w.pad(p)
		s := p.Screws()
		if s.Count == 0 {
			w.null("screws")
		} else {
			w.object("screws")
			w.integer("count", s.Count)
			w.length("diameter", s.Diameter)
			w.length("pattern_length", s.PatternLength)
			w.length("pattern_width", s.PatternWidth)
			w.end()
		}
		w.text("from", fmt.Sprintf("/configuration/hardware/%d", p.Row))
		w.end()
	}
	w.endList()
}

func (w *writer) pad(p *derivation.Placement) {
	length, width, plies := p.Pad()
	if plies == 0 {
		w.null("pad")
		return
	}
	w.object("pad")
	w.length("length", length)
	w.length("width", width)
	w.integer("plies", plies)
	w.end()
}
