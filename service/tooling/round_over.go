package tooling

import (
	"math"

	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// sameRadius is how near a round-over bit's radius is the one asked for, mm: what
// sanding takes off an edge is more.
const sameRadius = 0.05

// roundOverBit returns the bit of a radius, and whether a wall of the given
// height leaves it room: its bearing rides on the wall under the edge.
//
//	  ___  edge
//	 (   | r
//	─┴─┐ |      reach: from the edge to the bearing's far side
//	bearing
func (c *Crib) roundOverBit(radius, wall float64) (bit shop.Bit, found, room bool) {
	for _, b := range c.rounds {
		if math.Abs(b.Radius-radius) > sameRadius {
			continue
		}
		bit, found = b, true
		if b.CuttingLength <= wall+sameSize {
			return b, true, true
		}
	}
	return bit, found, false
}

// roundOvers adds the steps that round the molds' edges, after all else is cut.
func (c *Crib) roundOvers(p *RouterPlan, k *part.Configuration, molds []Mold) {
	for i := range molds {
		m := &molds[i]
		for j := range m.RoundOvers {
			r := &m.RoundOvers[j]
			layer, edge, wall := m.edgeOf(r, k)
			s := RouterStep{Order: len(p.Steps) + 1, Operation: RoundEdge, From: layer.Board.Label(m.Part), To: layer.Board.Label(m.Part), Part: m.Part, Board: layer.Board, At: r.At,
				FromOutline: edge, ToOutline: edge, Passes: 2, Pieces: 1, Radius: r.Radius, Note: noteRound}
			// On a leaning wall the bit stands square: its arc is blended by hand.
			bit, _, room := c.roundOverBit(r.Radius, wall)
			if room {
				s.Bit = bit.Key
				if len(bit.Bearings) > 0 {
					s.Bearing = bit.Bearings[0]
				}
			} else {
				s.ByHand, s.Passes, s.Note = true, 1, noteRoundBy
			}
			p.Steps = append(p.Steps, s)
		}
	}
}
