package part

import (
	"math"

	"hatchwright/service/outline"
)

// CoreSetback is how far the core stops inside the lid's outline, mm: the skirt
// and the fastenings stay solid glass (shop rule).
const CoreSetback = 30.0

// CoreEdge returns the core's edge in plan and its offset n from R0, mm, of a
// cored lid whose sections stand; ok is false where nothing is left inside the
// setback. Where the panel's underside lies on the seal the core reaches out to
// the seat's outer end, so that the panel is as thick as it is all over the seal.
func (g *Geometry) CoreEdge(c *Configuration) (edge outline.Outline, n float64, ok bool) {
	n = g.lidEdge() - CoreSetback
	if c.HasTrunk() && !c.BearsOnSkirt() {
		n = math.Max(n, g.SeatOuter)
	}
	edge, err := g.Outlines.Recess.Offset(n)
	return edge, n, err == nil
}
