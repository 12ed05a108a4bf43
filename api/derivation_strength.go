package api

import (
	"hatchwright/service/derivation"
	"hatchwright/service/laminate"
)

// kilopascals turns MPa into kPa.
const kilopascals = 1000

// panel writes the span that a lid bridges; null for a part that bridges none.
func (w *writer) panel(p laminate.Panel) {
	if p == (laminate.Panel{}) {
		w.null("panel")
		return
	}
	w.object("panel")
	if p.Radius > 0 {
		w.null("length")
		w.null("width")
		w.length("radius", p.Radius)
	} else {
		w.length("length", p.Long())
		w.length("width", p.Short())
		w.null("radius")
	}
	w.end()
}

func (w *writer) checks(l *derivation.Laminate) {
	w.list("checks")
	for i := range l.Checks {
		c := &l.Checks[i]
		w.object("")
		w.text("load", c.Case.Name)
		w.number("pressure", c.Case.Pressure*kilopascals, ratioPlaces)
		w.number("force", c.Case.Force, massPlaces)
		w.length("radius", c.Case.Radius)
		w.ratio("plate_factor", laminate.PlateFactor)
		w.ratio("utilization_stress", c.UtilizationStress)
		w.ratio("utilization_deflection", c.UtilizationDeflection)
		w.ratio("utilization_core_shear", c.UtilizationCoreShear)
		w.number("stress", c.Stress, massPlaces)
		w.number("allowable", c.Allowable, massPlaces)
		w.length("deflection", c.Deflection)
		w.number("edge_force", c.EdgeForce, massPlaces)
		w.text("governing", string(c.Governing))
		w.boolean("large_deflection", c.LargeDeflection)
		w.text("source", c.Case.Source)
		w.end()
	}
	w.endList()
	w.list("strips")
	for _, s := range l.Strips {
		w.object("")
		w.text("name", s.Name)
		w.number("load", s.Load, massPlaces)
		w.length("lever", s.Lever)
		w.number("stress", s.Stress, massPlaces)
		w.number("allowable", s.Allowable, massPlaces)
		w.ratio("utilization", s.Utilization)
		w.number("edge_load", s.EdgeLoad, massPlaces)
		w.ratio("edge_utilization", s.EdgeUtilization)
		w.end()
	}
	w.endList()
}

func (w *writer) masses(m *derivation.Masses) {
	w.object("masses")
	w.mass("laminate", m.Laminate)
	w.mass("core", m.Core)
	w.mass("gelcoat", m.Gelcoat)
	w.mass("pads", m.Pads)
	w.mass("hardware", m.Hardware)
	w.mass("total", m.Total)
	w.object("center")
	w.length("x", m.X)
	w.length("y", m.Y)
	w.length("z", m.Z)
	w.end()
	w.end()
}

func (w *writer) mixes(list []derivation.Mix) {
	w.list("mixes")
	for i := range list {
		m := &list[i]
		w.object("")
		w.text("part", string(m.Part))
		if m.Stage > 0 {
			w.integer("stage", m.Stage)
		} else {
			w.null("stage")
		}
		w.text("what", m.What)
		w.text("product", m.Product)
		w.mass("mass", m.Mass)
		w.number("catalyst_percent", m.CatalystPercent, massPlaces)
		w.number("catalyst_mass", m.CatalystMass, finePlaces)
		w.number("catalyst_ml", m.CatalystML, massPlaces)
		w.number("gel_minutes", m.GelMinutes, massPlaces)
		w.integer("batches", m.Batches)
		w.mass("batch_mass", m.BatchMass)
		w.end()
	}
	w.endList()
}
