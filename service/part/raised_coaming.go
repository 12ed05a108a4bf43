package part

import (
	"math"
	"slices"

	"hatchwright/service/finding"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

// raisedCoaming is a lid over a raised rim. The wall runs up, outside first:
//
//	(F, 0) → (0, 0) r_e → (-B tan f_r, -B) r_l → (…- U, -B) r_l → foot
//
// The skirt goes over the coaming: at its top the inside of the skirt clears the
// coaming's wall by g, and the laminate is outside that; the top is panel and seal
// above the coaming.
//
//	lid      z = -(B + s + t_p), h = s + t_p + V
//	         n = -B tan f_r + g + t_l + (z + B) tan f_l
type raisedCoaming struct{}

func (raisedCoaming) name() Pattern { return RaisedCoaming }

func (raisedCoaming) figures() []string {
	return []string{"/receiver/trunk_height", "/receiver/edge_radius", "/receiver/lip_radius", "/receiver/draft_deg", "/receiver/trunk_draft_deg",
		"/lid/gap", "/lid/least_gap", "/lid/draft_deg", "/coaming/height", "/coaming/top_width", "/coaming/overlap",
		"/seal/tightness", "/seal/thickness", "/seal/width", "/seal/compression"}
}

func (raisedCoaming) complete(*Configuration, Request, Shop) {}

func (p raisedCoaming) receiver(c *Configuration, s *section) {
	r, k := c.Receiver, c.Coaming
	s.flange(r.EdgeRadius, CoamingFoot)
	s.add(-k.Height*tan(r.Draft), -k.Height, r.LipRadius, atLip, CoamingWall, CoamingTop)
	s.add(-k.TopWidth, 0, r.LipRadius, atLip, CoamingSeat, Lip)
	s.trunk(p.trunkRise(c), r.TrunkDraft)
}

func (raisedCoaming) trunkRise(c *Configuration) float64 {
	return c.Coaming.Height + c.Receiver.TrunkHeight
}
func (raisedCoaming) wall(c *Configuration) float64                  { return c.Coaming.Height }
func (raisedCoaming) depthBelow(c *Configuration) float64            { return c.Receiver.TrunkHeight }
func (raisedCoaming) cutout(c *Configuration, t Thicknesses) float64 { return outsideLaminate(c, t) }

func (raisedCoaming) lidFace(c *Configuration, t Thicknesses) (n, z, h float64) {
	above := c.Seal.Compressed() + t.Panel
	n = -c.Coaming.Height*tan(c.Receiver.Draft) + c.Lid.Gap + t.Skirt - above*tan(c.Lid.Draft)
	return n, -(c.Coaming.Height + above), above + c.Coaming.Overlap
}

func (raisedCoaming) gapEaten(c *Configuration) float64 {
	return math.Max(0, c.Coaming.Overlap*(tan(c.Receiver.Draft)-tan(c.Lid.Draft)))
}

func (raisedCoaming) captions() Captions {
	return Captions{"coaming, outside at the deck", "lid, at its top", "trunk, at the coaming's top", "clear opening, trunk's foot"}
}

func (raisedCoaming) narrows() ([]string, string) {
	return []string{"/coaming/top_width", "/receiver/draft_deg", "/receiver/trunk_draft_deg"}, "coaming.too_wide"
}

func (raisedCoaming) heightens() []string { return []string{"/coaming/overlap"} }

func (raisedCoaming) makesRoom(radius string) []string {
	switch radius {
	case atEdge:
		return []string{"/receiver/flange_width", "/coaming/height"}
	case atLip:
		return []string{"/coaming/height", "/coaming/top_width"}
	}
	return []string{"/coaming/height"}
}

func (raisedCoaming) seatWidth() string { return "/coaming/top_width" }

func (raisedCoaming) noSkirt(c *Configuration, g Geometry) finding.Finding {
	return sealFillsRecess(c, g)
}

// The skirt clears the coaming with its inner face:
//
//	gap(z) = g + (z + B)(tan f_l - tan f_r), z from -B to -B + V
func (raisedCoaming) fit(c *Configuration, g Geometry) (Fit, error) {
	b, overlap := c.Coaming.Height, c.Coaming.Overlap
	f := Fit{GapAtDeck: c.Lid.Gap, GapAtFoot: c.Lid.Gap + overlap*(tan(c.Lid.Draft)-tan(c.Receiver.Draft))}
	skirt, err := skirtInside(c, g, -b-g.SealThickness, -b+overlap)
	if err != nil {
		return f, err
	}
	// The coaming's section is double valued in depth: only its outer wall counts.
	wall, err := corners(g.ReceiverProfile.Vertices()).stretch(FlangeEnd, Lip)
	if err != nil {
		return f, err
	}
	f.LeastClearance, f.LeastClearanceAt, err = profile.LeastHorizontalClearance(skirt, wall, -b, -b+overlap)
	return f, err
}

func (raisedCoaming) jams(f Fit) (string, float64) {
	return "The lid does not go down over the coaming freely: %v is left at %v above the deck, %v is asked for. The coaming's draft eats the gap.", -f.LeastClearanceAt
}

func (raisedCoaming) widens(Fit) (up, down []string) {
	return []string{"/lid/gap", "/lid/draft_deg"}, []string{"/coaming/overlap", "/receiver/draft_deg"}
}

// A coaming is laid inside a mold: what is outside on the part is inside there.
func (raisedCoaming) rules(c *Configuration, g *Geometry, t Thicknesses, s Sizes) []finding.Finding {
	return slices.Concat(ruleClearance(c, g), ruleSeat(c, g), ruleCompression(c), ruleReceiver(c, g, t, s),
		ruleRadius(atEdge, c.Receiver.EdgeRadius, outsideRadius, "over the mold's outside edge between deck flange and coaming"),
		ruleRadius(atLip, c.Receiver.LipRadius, insideRadius, "into the inside corner of the coaming's top"),
		ruleDraft("/receiver/draft_deg", c.Receiver.Draft, c.Coaming.Height), ruleDrafts(c, g), ruleCoaming(c, s))
}

// deckClearance is how far a coaming lid's skirt must stay above the deck beyond
// the edge radius, mm (shop rule: water and a hand pass under it).
const deckClearance = 10.0

// ruleCoaming rules on the coaming's height and the skirt's overlap.
func ruleCoaming(c *Configuration, s Sizes) []finding.Finding {
	var list []finding.Finding
	k := c.Coaming
	if least := s.CoamingHeight[c.Seal.Tightness]; k.Height < least-measureSlack {
		f := finding.Finding{
			Code: "coaming.too_low", Severity: finding.Error, Pointer: "/coaming/height",
			Measured: quantity.Length(k.Height), Limit: quantity.Length(least),
			Mends:  []finding.Mend{finding.AtLeast("/coaming/height", quantity.Length(least))},
			Source: "shop setting by tightness; no open published figure: class rules decide",
		}.Say("A coaming of %v is too low for tightness %q; %v is asked for.", quantity.Length(k.Height), c.Seal.Tightness, quantity.Length(least))
		for _, w := range []string{Splash, Drip} {
			f.Mends = append(f.Mends, finding.Choose("/seal/tightness", w))
		}
		list = append(list, f)
	}
	if most := k.Height - c.Receiver.EdgeRadius - deckClearance; k.Overlap > most+measureSlack {
		f := finding.Finding{
			Code: "coaming.skirt_near_deck", Severity: finding.Error, Pointer: "/coaming/overlap",
			Measured: quantity.Length(k.Overlap), Limit: quantity.Length(most),
			Mends:  []finding.Mend{finding.Seek("/coaming/height", quantity.Up), finding.Seek(atEdge, quantity.Down)},
			Source: "shop rule: the skirt stays 10 mm above the radius at the deck",
		}.Say("A skirt that overlaps the coaming by %v comes too near the deck; with this height %v is the most.", quantity.Length(k.Overlap), quantity.Length(most))
		if most > 0 {
			f.Mends = append(f.Mends, finding.AtMost("/coaming/overlap", quantity.Length(most)))
		}
		list = append(list, f)
	}
	return list
}
