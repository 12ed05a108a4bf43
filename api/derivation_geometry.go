package api

import (
	"math"

	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/tooling"
)

func (w *writer) geometry(g *part.Geometry, t *tooling.Tolerance) {
	w.object("geometry")
	w.object("outlines")
	w.outline("recess", g.Outlines.Recess)
	w.outline("lid", g.Outlines.Lid)
	w.outline("trunk", g.Outlines.Trunk)
	w.outline("clear_opening", g.Outlines.ClearOpening)
	w.outline("flange", g.Outlines.Flange)
	w.outline("deck_cutout", g.Outlines.DeckCutout)
	w.end()
	w.object("surfaces")
	w.surface("lid", g.Lid)
	w.surface("receiver", g.Receiver)
	w.end()
	w.object("fit")
	w.length("gap_at_deck", g.Fit.GapAtDeck)
	w.length("gap_at_foot", g.Fit.GapAtFoot)
	w.length("least_clearance", g.Fit.LeastClearance)
	w.length("least_clearance_at", g.Fit.LeastClearanceAt)
	w.tolerance(t)
	w.end()
	w.drain(g.Drain)
	w.bolts(g)
	w.end()
}

func (w *writer) drain(d *part.Drain) {
	if d == nil {
		w.null("drain")
		return
	}
	w.object("drain")
	w.number("flow_each", d.FlowEach, flowPlaces)
	w.number("inflow", d.Inflow, flowPlaces)
	w.ratio("flow_ratio", d.FlowRatio)
	w.area("gutter_area", d.GutterArea)
	w.number("gutter_volume", d.GutterVolume, flowPlaces)
	w.number("empty_seconds", d.EmptySeconds, flowPlaces)
	w.end()
}

func (w *writer) bolts(g *part.Geometry) {
	if len(g.Bolts) == 0 {
		w.null("bolts")
		return
	}
	w.object("bolts")
	w.length("pitch", g.BoltPitch)
	w.points("at", g.Bolts)
	w.end()
}

func (w *writer) surface(key string, s part.Surface) {
	w.object(key)
	w.area("area", s.Area)
	w.volume("enclosed_volume", s.EnclosedVolume)
	w.end()
}

func (w *writer) outline(key string, o outline.Outline) {
	w.object(key)
	w.length("length", o.Length())
	w.length("width", o.Width())
	w.length("perimeter", o.Perimeter())
	w.area("area", o.Area())
	w.length("min_corner_radius", o.MinCornerRadius())
	w.list("path")
	for _, s := range o.Segments() {
		w.object("")
		w.text("kind", s.Kind.String())
		w.length("x1", s.From.X)
		w.length("y1", s.From.Y)
		w.length("x2", s.To.X)
		w.length("y2", s.To.Y)
		if s.Kind == outline.Arc {
			w.length("cx", s.Center.X)
			w.length("cy", s.Center.Y)
			w.length("radius", s.Radius)
			w.angle("sweep_deg", s.Sweep*180/math.Pi)
		}
		w.end()
	}
	w.endList()
	w.end()
}

// tolerance writes what the least clearance may come out as.
func (w *writer) tolerance(t *tooling.Tolerance) {
	w.length("nominal", t.Nominal)
	w.length("shift", t.Shift)
	w.length("required", t.Required)
	w.around("worst_case", t.Nominal, t.WorstCase)
	w.around("rss", t.Nominal, t.RSS)
	w.length("deviation", t.Deviation)
	w.integer("sides", t.Sides)
	w.ratio("probability_below_minimum", t.ProbabilityBelow)
	w.ratio("shrinkage", t.Shrinkage)
	w.ratio("mold_scale", t.MoldScale)
	w.list("contributors")
	for _, c := range t.Contributors {
		w.object("")
		w.text("name", c.Name)
		w.length("size", c.Size)
		w.integer("count", c.Count)
		w.text("distribution", string(c.Distribution))
		w.boolean("local", c.Local)
		w.end()
	}
	w.endList()
}

func (w *writer) around(key string, middle, half float64) {
	w.object(key)
	w.length("min", middle-half)
	w.length("max", middle+half)
	w.end()
}

func (w *writer) points(key string, list []outline.Point) {
	w.list(key)
	for _, p := range list {
		w.point("", p)
	}
	w.endList()
}

func (w *writer) point(key string, p outline.Point) {
	w.object(key)
	w.length("x", p.X)
	w.length("y", p.Y)
	w.end()
}
