package api

import (
	"hatchwright/service/derivation"
	"hatchwright/service/outline"
	"hatchwright/service/tooling"
)

func (w *writer) tooling(r *derivation.Result) {
	w.object("tooling")
	w.list("molds")
	for i := range r.Molds {
		w.mold(&r.Molds[i])
	}
	w.endList()
	w.routerPlan(&r.RouterPlan)
	w.cutList(&r.CutList)
	w.screws(r.Screws)
	w.end()
}

func (w *writer) mold(m *tooling.Mold) {
	w.object("")
	w.text("part", string(m.Part))
	w.text("kind", m.Kind)
	w.list("layers")
	for i := range m.Layers {
		w.moldLayer(&m.Layers[i])
	}
	w.endList()
	w.list("fillets")
	for _, f := range m.Fillets {
		w.object("")
		w.text("at", f.At)
		w.length("radius", f.Radius)
		w.length("length", f.Length)
		w.volume("volume", f.Volume)
		w.end()
	}
	w.endList()
	w.list("round_overs")
	for _, r := range m.RoundOvers {
		w.object("")
		w.text("at", r.At)
		w.length("radius", r.Radius)
		w.length("length", r.Length)
		w.end()
	}
	w.endList()
	w.area("face_area", m.FaceArea)
	w.mass("mdf_mass", m.MDFMass)
	w.volume("filler_volume", m.FillerVolume)
	w.mass("filler_mass", m.FillerMass)
	w.mass("hardener_mass", m.HardenerMass)
	w.end()
}

func (w *writer) moldLayer(l *tooling.Layer) {
	w.object("")
	w.text("name", l.Board.String())
	w.list("sheets")
	for _, s := range l.Stack.Sheets {
		w.object("")
		w.text("key", s.Key)
		w.length("thickness", s.Thickness)
		w.end()
	}
	w.endList()
	w.length("thickness", l.Stack.Thickness)
	w.length("target_thickness", l.Stack.Target)
	w.length("length", l.Length)
	w.length("width", l.Width)
	w.area("board_area", l.Length*l.Width)
	w.volume("volume", l.Volume)
	w.edge("outline", l.Outline)
	w.edge("inside", l.Inside)
	w.end()
}

func (w *writer) edge(key string, o *outline.Outline) {
	if o == nil {
		w.null(key)
		return
	}
	w.outline(key, *o)
}
