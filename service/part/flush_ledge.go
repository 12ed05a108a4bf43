package part

import (
	"math"
	"slices"

	"hatchwright/service/finding"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

// flushLedge is a lid in a recess, its skirt's foot on a ledge.
//
//	(F, 0) → (0, 0) r_e → (-D tan f_r, D) r_r → (-(D tan f_r + W), D) r_l → foot
//	lid      n = -g, z = 0, h = D - s
type flushLedge struct{}

func (flushLedge) name() Pattern { return FlushLedge }

func (flushLedge) figures() []string {
	return []string{"/receiver/recess_depth", "/receiver/ledge_width", "/receiver/trunk_height", "/receiver/edge_radius", "/receiver/root_radius", "/receiver/lip_radius",
		"/receiver/draft_deg", "/receiver/trunk_draft_deg", "/lid/gap", "/lid/least_gap", "/lid/draft_deg", "/lid/land_width",
		"/seal/thickness", "/seal/width", "/seal/compression"}
}

func (flushLedge) complete(*Configuration, Request, Shop) {}

func (p flushLedge) receiver(c *Configuration, s *section) {
	r := c.Receiver
	s.flange(r.EdgeRadius, Edge)
	s.add(-r.RecessDepth*tan(r.Draft), r.RecessDepth, r.RootRadius, atRoot, Wall, Root)
	s.add(-r.LedgeWidth, 0, r.LipRadius, atLip, Ledge, Lip)
	s.trunk(p.trunkRise(c), r.TrunkDraft)
}

func (flushLedge) trunkRise(c *Configuration) float64 { return c.Receiver.TrunkHeight }
func (flushLedge) wall(c *Configuration) float64      { return c.Receiver.RecessDepth }
func (flushLedge) depthBelow(c *Configuration) float64 {
	return c.Receiver.RecessDepth + c.Receiver.TrunkHeight
}
func (flushLedge) cutout(c *Configuration, t Thicknesses) float64 { return outsideLaminate(c, t) }

func (flushLedge) lidFace(c *Configuration, _ Thicknesses) (n, z, h float64) {
	return -c.Lid.Gap, 0, c.Receiver.RecessDepth - c.Seal.Compressed()
}

func (flushLedge) gapEaten(c *Configuration) float64 { return flushGapEaten(c, c.Seal.Compressed()) }

func (flushLedge) captions() Captions {
	return Captions{"recess, at the deck", "lid, at the deck", "trunk, at the ledge", "clear opening, trunk's foot"}
}

func (flushLedge) narrows() ([]string, string) {
	return []string{"/receiver/ledge_width", "/receiver/trunk_draft_deg", "/receiver/draft_deg"}, "receiver.ledge_too_wide"
}

func (flushLedge) heightens() []string { return []string{"/receiver/recess_depth"} }

func (flushLedge) makesRoom(radius string) []string {
	switch radius {
	case atEdge:
		return []string{"/receiver/flange_width", "/receiver/recess_depth"}
	case atRoot:
		return []string{"/receiver/recess_depth", "/receiver/ledge_width"}
	case atLip:
		return []string{"/receiver/ledge_width", "/receiver/trunk_height"}
	}
	return nil
}

func (flushLedge) seatWidth() string { return "/receiver/ledge_width" }

func (flushLedge) noSkirt(c *Configuration, g Geometry) finding.Finding { return sealFillsRecess(c, g) }

// The true sections, from the deck down to the foot.
func (flushLedge) fit(c *Configuration, g Geometry) (f Fit, err error) {
	f = flushGaps(c, g)
	f.LeastClearance, f.LeastClearanceAt, err = profile.LeastHorizontalClearance(g.ReceiverProfile, g.LidProfile, 0, g.SkirtHeight)
	return f, err
}

func (flushLedge) jams(f Fit) (string, float64) { return flushJams, f.LeastClearanceAt }

func (flushLedge) widens(Fit) (up, down []string) {
	return []string{"/seal/thickness", "/lid/gap"}, []string{atRoot, "/lid/draft_deg", "/receiver/draft_deg", "/seal/compression"}
}

func (flushLedge) rules(c *Configuration, g *Geometry, t Thicknesses, s Sizes) []finding.Finding {
	return slices.Concat(ruleClearance(c, g), ruleSeat(c, g), ruleSkirtFoot(c, g, t), ruleCompression(c),
		ruleReceiver(c, g, t, s), rulePlug(c), ruleDrafts(c, g))
}

// ruleSkirtFoot rules on a flush lid's foot: it covers n from -g_foot down to
// -(g_foot + t_l + land).
func ruleSkirtFoot(c *Configuration, g *Geometry, t Thicknesses) []finding.Finding {
	var list []finding.Finding
	width := quantity.Length(c.Seal.Width)
	flatOuter, flatInner := g.SeatOuter, g.SeatInner
	footOuter := -c.Lid.Gap + g.SkirtHeight*tan(c.Lid.Draft)
	footInner := footOuter - t.Skirt - c.Lid.LandWidth
	g.SeatCover = math.Max(0, math.Min(footOuter, flatOuter)-math.Max(footInner, flatInner))
	if g.LedgeFlat >= c.Seal.Width-measureSlack && g.SeatCover < c.Seal.Width-measureSlack {
		f := finding.Finding{
			Code: "seal.skirt_off_seat", Severity: finding.Caution, Pointer: "/lid/land_width",
			Measured: quantity.Length(g.SeatCover), Limit: width,
			Source: "geometry: the lid bears with its skirt's foot",
		}.Say("The lid's foot, %v of laminate and %v of land, bears on %v of the ledge's flat; the seal is %v wide.",
			quantity.Length(t.Skirt), quantity.Length(c.Lid.LandWidth), quantity.Length(g.SeatCover), width)
		// With the flat wide enough, what the foot lacks is land:
		//
		//	min(foot, flat) - (foot - t_l - land) = seal width
		if land := c.Seal.Width - math.Min(footOuter, flatOuter) + footOuter - t.Skirt; math.Min(footOuter, flatOuter)-c.Seal.Width >= flatInner-measureSlack {
			f.Mends = append(f.Mends, finding.AtLeast("/lid/land_width", quantity.Length(land)))
		}
		if t.Skirt+c.Lid.LandWidth >= c.Seal.Width {
			// The foot is wide enough, it only stands in the wrong place.
			f.Mends = append(f.Mends, finding.Seek(atRoot, quantity.Down), finding.Seek("/lid/gap", quantity.Down), finding.Seek("/lid/gap", quantity.Up))
		}
		if g.SeatCover >= narrowestSeal {
			f.Mends = append(f.Mends, finding.AtMost("/seal/width", quantity.Length(g.SeatCover)))
		}
		list = append(list, f)
	}

	if h := g.SkirtHeight; t.Panel > h+measureSlack {
		list = append(list, finding.Finding{
			Code: "lid.panel_too_thick", Severity: finding.Error, Pointer: "/receiver/recess_depth",
			Measured: quantity.Length(t.Panel), Limit: quantity.Length(h), Source: "geometry: the panel's underside may not reach below the skirt's foot",
			Mends: []finding.Mend{finding.AtLeast("/receiver/recess_depth", quantity.Length(t.Panel+g.SealThickness)), finding.Seek("/seal/thickness", quantity.Down), finding.Seek("/seal/compression", quantity.Up)},
		}.Say("The lid's panel is %v thick, the room above the seal only %v.", quantity.Length(t.Panel), quantity.Length(h)))
	}
	return list
}
