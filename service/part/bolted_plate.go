package part

import (
	"math"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/quantity"
)

// boltedPlate is a plate bolted down on a flat ring, open inside; it has no wall, no
// trunk and no gap.
//
//	(F, 0) → (-overlap, 0)
//	lid      n = 0, z = -t_p, h = t_p
type boltedPlate struct{}

func (boltedPlate) name() Pattern { return BoltedPlate }

func (boltedPlate) figures() []string {
	return []string{"/plate/overlap", "/plate/bolt_diameter", "/plate/edge_distance", "/seal/tightness"}
}

func (boltedPlate) complete(*Configuration, Request, Shop) {}

func (boltedPlate) receiver(c *Configuration, s *section) {
	s.add(-s.at.N-c.Plate.Overlap, 0, 0, "", Ring, RingInside)
}

func (boltedPlate) trunkRise(*Configuration) float64  { return 0 }
func (boltedPlate) wall(*Configuration) float64       { return 0 }
func (boltedPlate) depthBelow(*Configuration) float64 { return 0 }

// The ring lies flat on the deck, which is cut to the opening.
func (boltedPlate) cutout(c *Configuration, _ Thicknesses) float64 {
	return -c.Plate.Overlap + c.Receiver.FittingClearance
}

func (boltedPlate) lidFace(_ *Configuration, t Thicknesses) (n, z, h float64) {
	return 0, -t.Panel, t.Panel
}

func (boltedPlate) gapEaten(*Configuration) float64 { return 0 }

func (boltedPlate) captions() Captions {
	return Captions{"plate", "lid, at the deck", "", "clear opening, inside of the ring"}
}

func (boltedPlate) narrows() ([]string, string) {
	return []string{"/plate/overlap"}, "plate.overlap_too_wide"
}

func (boltedPlate) heightens() []string       { return nil }
func (boltedPlate) makesRoom(string) []string { return nil }
func (boltedPlate) seatWidth() string         { return "" }

func (boltedPlate) noSkirt(c *Configuration, g Geometry) finding.Finding {
	return sealFillsRecess(c, g)
}

func (boltedPlate) fit(*Configuration, Geometry) (Fit, error) { return Fit{}, nil }
func (boltedPlate) jams(Fit) (string, float64)                { return "", 0 }
func (boltedPlate) widens(Fit) (up, down []string)            { return nil, nil }

func (boltedPlate) rules(c *Configuration, g *Geometry, t Thicknesses, s Sizes) []finding.Finding {
	return append(ruleReceiver(c, g, t, s), rulePlate(c, g, s)...)
}

// boltEdgeRatio is the least distance of a bolt from any edge, in bolt diameters
// (common practice, no source).
const boltEdgeRatio = 1.5

// placeBolts spaces bolts evenly along the line that runs the edge distance inside
// the plate's outline, no further apart than pitch. Four are the least.
func placeBolts(c *Configuration, plate outline.Outline, pitch float64) (bolts []outline.Point, apart float64, err error) {
	line, err := plate.Offset(-c.Plate.EdgeDistance)
	if err != nil {
		return nil, 0, err
	}
	length := line.Perimeter()
	n := max(4, int(math.Ceil(length/pitch-countSlack)))
	apart = length / float64(n)
	bolts = make([]outline.Point, n)
	for i := range bolts {
		// Half a pitch on from the start, so that no bolt stands where the first
		// straight begins.
		bolts[i], _ = line.At((float64(i) + 0.5) * apart)
	}
	return bolts, apart, nil
}

// countSlack keeps a length of exactly n pitches from asking for n + 1 bolts.
const countSlack = 1e-9

// rulePlate places the bolts and rules on them.
func rulePlate(c *Configuration, g *Geometry, s Sizes) []finding.Finding {
	var list []finding.Finding
	k := c.Plate
	var err error
	if g.Bolts, g.BoltPitch, err = placeBolts(c, g.Outlines.Recess, s.BoltPitch[c.Seal.Tightness]); err != nil {
		f := collapsed("plate.no_bolt_line", "/plate/edge_distance", k.EdgeDistance, err, finding.Seek("/plate/edge_distance", quantity.Down))
		return append(list, f)
	}
	nearest := math.Inf(1)
	for _, b := range g.Bolts {
		nearest = math.Min(nearest, math.Min(-g.Outlines.Recess.Distance(b), g.Outlines.ClearOpening.Distance(b)))
	}
	if least := boltEdgeRatio * k.BoltDiameter; nearest < least-measureSlack {
		list = append(list, finding.Finding{
			Code: "plate.bolt_near_edge", Severity: finding.Error, Pointer: "/plate/edge_distance",
			Measured: quantity.Length(nearest), Limit: quantity.Length(least),
			Mends: []finding.Mend{finding.Seek("/plate/edge_distance", quantity.Up), finding.Seek("/plate/edge_distance", quantity.Down),
				finding.Seek("/plate/overlap", quantity.Up), finding.Seek("/plate/bolt_diameter", quantity.Down)},
			Source: commonPractice + ": 1.5 bolt diameters to any edge",
		}.Say("A bolt of %v stands %v from an edge of plate or opening; %v must be left.", quantity.Length(k.BoltDiameter), quantity.Length(nearest), quantity.Length(least)))
	}
	if k.BoltDiameter > 0 && g.BoltPitch < 3*k.BoltDiameter-measureSlack {
		list = append(list, finding.Finding{
			Code: "plate.bolts_crowded", Severity: finding.Error, Pointer: "/plate/bolt_diameter",
			Measured: quantity.Length(g.BoltPitch), Limit: quantity.Length(3 * k.BoltDiameter),
			Mends:  []finding.Mend{finding.AtMost("/plate/bolt_diameter", quantity.Length(g.BoltPitch/3))},
			Source: commonPractice + ": 3 bolt diameters between bolts",
		}.Say("Bolts of %v would stand %v apart; %v is the least.", quantity.Length(k.BoltDiameter), quantity.Length(g.BoltPitch), quantity.Length(3*k.BoltDiameter)))
	}
	return list
}
