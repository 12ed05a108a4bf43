package api

import "hatchwright/service/derivation"

func (w *writer) laminates(r *derivation.Result) {
	w.object("laminate")
	w.laminate("lid", &r.Lid)
	w.laminate("receiver", &r.Receiver)
	w.mixes(r.Mixes)
	w.number("catalyst_mass", r.CatalystMass(), finePlaces)
	w.end()
}

func (w *writer) laminate(key string, l *derivation.Laminate) {
	w.object(key)
	w.text("resin", l.Resin.Key)
	w.text("gelcoat", l.Gelcoat.Key)
	plies := l.Stack.Plies()
	glass, wet := 0.0, 0.0 // per area, kg/m2
	w.list("plies")
	for i, p := range plies {
		w.object("")
		w.text("key", l.Rows[i].Key)
		w.text("name", l.Rows[i].Name)
		w.length("thickness", p.Thickness())
		w.number("areal_mass", l.Rows[i].ArealMass, massPlaces)
		w.ratio("glass_fraction", l.Rows[i].GlassFraction)
		w.end()
		glass += p.GlassMass()
		wet += p.GlassMass() + p.ResinMass()
	}
	w.endList()
	if l.Core == nil {
		w.null("core")
	} else {
		w.object("core")
		w.text("key", l.Core.Key)
		w.text("name", l.Core.Name)
		w.length("thickness", l.Core.Thickness)
		w.number("density", l.Core.Density, massPlaces)
		w.end()
	}
	after := 0
	if l.Core != nil {
		after = l.CoreAt
	}
	w.integer("core_after", after)
	w.length("thickness", l.Thickness)
	w.length("skirt_thickness", l.SkirtThickness)
	w.area("area", l.Area)
	w.area("laid_area", l.LaidArea)
	w.area("core_area", l.CoreArea)
	w.mass("glass_mass", l.GlassMass)
	w.mass("resin_mass", l.ResinMass)
	w.mass("gelcoat_mass", l.GelcoatMass)
	w.mass("mass", l.Mass)
	w.ratio("glass_fraction", glass/wet)
	w.list("stages")
	for _, s := range l.Stages {
		w.object("")
		w.list("plies")
		for _, p := range s.Plies {
			w.integer("", p)
		}
		w.endList()
		w.length("thickness", s.Thickness)
		w.boolean("core", s.Core)
		w.end()
	}
	w.endList()
	w.panel(l.Panel)
	w.checks(l)
	w.masses(&l.Masses)
	w.selection(l.Selection)
	w.end()
}
