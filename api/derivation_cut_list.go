package api

import "hatchwright/service/tooling"

// cutList writes what is sawn. The bill's sheets point into stock.
func (w *writer) cutList(l *tooling.CutList) {
	w.list("panels")
	for _, p := range l.Panels {
		w.object("")
		w.text("name", p.Name)
		w.text("stock", p.Stock)
		w.length("length", p.Length)
		w.length("width", p.Width)
		w.length("thickness", p.Thickness)
		w.integer("quantity", p.Quantity)
		w.integer("joined", max(p.Joined, 1))
		w.end()
	}
	w.endList()
	w.list("stock")
	for _, u := range l.SheetsUsed() {
		w.object("")
		w.text("stock", u.Stock)
		w.length("thickness", u.Thickness)
		w.integer("sheets", u.Sheets)
		w.area("area", u.Area)
		w.end()
	}
	w.endList()
	w.list("sheets")
	for i := range l.Sheets {
		w.sheet(&l.Sheets[i])
	}
	w.endList()
	w.integer("sheet_bound", l.SheetBound)
	w.ratio("sheet_area_bound", l.AreaBound)
	w.text("sheets_status", l.Status.String())
}

func (w *writer) sheet(s *tooling.SheetLayout) {
	w.object("")
	w.text("stock", s.Stock)
	w.length("thickness", s.Thickness)
	w.length("length", s.Sheet.Length)
	w.length("width", s.Sheet.Width)
	w.list("placements")
	for _, p := range s.Placements {
		w.object("")
		w.text("panel", p.Panel)
		w.length("x", p.X)
		w.length("y", p.Y)
		w.length("length", p.Length)
		w.length("width", p.Width)
		w.boolean("turned", p.Turned)
		w.end()
	}
	w.endList()
	w.list("cuts")
	for _, c := range s.Cuts {
		w.object("")
		w.text("axis", c.Axis.String())
		w.length("at", c.At)
		w.length("from", c.From)
		w.length("to", c.To)
		w.integer("stage", c.Stage)
		w.end()
	}
	w.endList()
	if o := s.Offcut; o.Area() == 0 {
		w.null("offcut")
	} else {
		w.object("offcut")
		w.length("x", o.X)
		w.length("y", o.Y)
		w.length("length", o.Length)
		w.length("width", o.Width)
		w.end()
	}
	w.ratio("utilization", s.Utilization)
	w.end()
}

func (w *writer) screws(rows []tooling.Screws) {
	w.list("screws")
	for i := range rows {
		s := &rows[i]
		w.object("")
		w.text("part", string(s.Part))
		w.text("board", s.Board.String())
		w.integer("sheet", s.Sheet)
		w.length("length", s.Length)
		w.length("edge", s.Edge)
		w.length("pitch", s.Pitch)
		w.points("at", s.Positions)
		w.end()
	}
	w.endList()
}
