package part

import (
	"math"
	"slices"

	"hatchwright/service/finding"
	"hatchwright/service/quantity"
)

// Sizes are the shop's own limits, mm.
type Sizes struct {
	LargestSide  float64 // longest side of the recess that fits the benches
	SmallestSide float64 // shortest side of the recess worth building
	// By tightness: how high a coaming must stand, and how far apart bolts may be.
	CoamingHeight map[string]float64
	BoltPitch     map[string]float64
}

// Limits of the receiver's rules, mm.
const (
	// flangeLanding is how much flange must lie on the deck beyond the cut-out's
	// edge (shop rule).
	flangeLanding = 20.0
	// widestFlange is how wide a flange may be, of the largest side that the shop
	// builds (shop rule): a receiver is then at most twice as large as that, and its
	// boards are joined from a few sheets.
	widestFlange = 0.5
	// insideRadius and outsideRadius are the least radii that glass is turned
	// round without bridging or cracking, into an inside corner and over an
	// outside edge (common practice: 6 to 10 and 3 to 5).
	insideRadius  = 6.0
	outsideRadius = 3.0
	// camberCaution and camberError are the gaps under a flat flange that bedding
	// fills with care, and not at all (shop rule).
	camberCaution = 3.0
	camberError   = 8.0
)

// ruleSize rules on the recess' size against the shop's limits.
func ruleSize(c *Configuration, g *Geometry, s Sizes) []finding.Finding {
	var list []finding.Finding
	o := g.Outlines.Recess
	long, short := math.Max(o.Length(), o.Width()), math.Min(o.Length(), o.Width())
	if long > s.LargestSide+measureSlack {
		f := finding.Finding{
			Code: "outline.too_large", Severity: finding.Error, Pointer: "/outline",
			Measured: quantity.Length(long), Limit: quantity.Length(s.LargestSide), Source: "shop setting: largest side that is built",
		}.Say("The recess would be %v long; this shop builds up to %v.", quantity.Length(long), quantity.Length(s.LargestSide))
		f.Mends = append(f.Mends, seek(quantity.Down, c.SizePointers())...)
		list = append(list, f)
	}
	if short < s.SmallestSide-measureSlack {
		f := finding.Finding{
			Code: "outline.too_small", Severity: finding.Error, Pointer: "/outline",
			Measured: quantity.Length(short), Limit: quantity.Length(s.SmallestSide), Source: "shop setting: smallest side that is built",
		}.Say("The recess would be %v across; this shop builds from %v up.", quantity.Length(short), quantity.Length(s.SmallestSide))
		f.Mends = append(f.Mends, seek(quantity.Up, c.SizePointers())...)
		list = append(list, f)
	}
	return list
}

// ruleReceiver rules on flange, deck, trunk, radii and draft.
func ruleReceiver(c *Configuration, g *Geometry, t Thicknesses, sizes Sizes) []finding.Finding {
	var list []finding.Finding
	r := c.Receiver

	if least := t.Receiver + r.FittingClearance + flangeLanding; c.HasTrunk() && r.FlangeWidth < least-measureSlack {
		list = append(list, finding.Finding{
			Code: "receiver.flange_too_narrow", Severity: finding.Error, Pointer: "/receiver/flange_width",
			Measured: quantity.Length(r.FlangeWidth), Limit: quantity.Length(least),
			Mends:  []finding.Mend{finding.AtLeast("/receiver/flange_width", quantity.Length(least)), finding.Seek("/receiver/fitting_clearance", quantity.Down)},
			Source: "shop rule: laminate + fitting clearance + 20 mm landing",
		}.Say("A flange of %v does not land on the deck: %v is taken by laminate and clearance and 20 mm must lie on it, %v in all.",
			quantity.Length(r.FlangeWidth), quantity.Length(t.Receiver+r.FittingClearance), quantity.Length(least)))
	}
	if most := widestFlange * sizes.LargestSide; r.FlangeWidth > most+measureSlack {
		list = append(list, finding.Finding{
			Code: "receiver.flange_too_wide", Severity: finding.Error, Pointer: "/receiver/flange_width",
			Measured: quantity.Length(r.FlangeWidth), Limit: quantity.Length(most),
			Mends:  []finding.Mend{finding.AtMost("/receiver/flange_width", quantity.Length(most))},
			Source: "shop rule: half the largest side that is built",
		}.Say("A flange of %v is more than the shop's benches and sheets take: %v is the most.", quantity.Length(r.FlangeWidth), quantity.Length(most)))
	}
	if g.TrunkRounded {
		inset, _ := c.openingInset()
		narrow, _ := c.pattern().narrows()
		asked, err := g.Outlines.Recess.Offset(-inset)
		sharp := 0.0
		if err == nil {
			sharp = asked.MinCornerRadius()
		}
		f := finding.Finding{
			Code: "receiver.trunk_rerounded", Severity: finding.Note, Pointer: "/outline",
			Measured: quantity.Length(sharp), Limit: quantity.Length(LeastTrunkRadius), Source: commonPractice,
			Mends: seek(quantity.Down, narrow[:1]),
		}.Say("The opening's corners would have a radius of %v; glass cannot be laid up cleanly below %v, so they are rounded to that.",
			quantity.Length(sharp), quantity.Length(LeastTrunkRadius))
		if At("/outline/corner_radius").Used(c) {
			f.Mends = append(f.Mends, finding.Seek("/outline/corner_radius", quantity.Up))
		}
		list = append(list, f)
	}
	depth := c.DepthBelowDeck()
	if below := c.Deck.DepthBelow; below > 0 && c.HasTrunk() {
		if depth > below+measureSlack {
			f := finding.Finding{
				Code: "receiver.too_deep", Severity: finding.Error, Pointer: "/receiver/trunk_height",
				Measured: quantity.Length(depth), Limit: quantity.Length(below), Source: "geometry: recess and trunk must end above what lies below the deck",
				Mends: []finding.Mend{finding.Seek("/receiver/trunk_height", quantity.Down), finding.Seek("/receiver/recess_depth", quantity.Down), finding.AtLeast("/deck/depth_below", quantity.Length(depth))},
			}.Say("The receiver reaches %v below the deck; only %v are free.", quantity.Length(depth), quantity.Length(below))
			list = append(list, f)
		}
	}
	if c.HasTrunk() && depth < c.Deck.Thickness-measureSlack {
		list = append(list, finding.Finding{
			Code: "receiver.trunk_short", Severity: finding.Caution, Pointer: "/receiver/trunk_height",
			Measured: quantity.Length(depth), Limit: quantity.Length(c.Deck.Thickness), Source: "shop rule: the trunk seals the deck's cut edge",
			Mends: []finding.Mend{finding.Seek("/receiver/trunk_height", quantity.Up), finding.AtMost("/deck/thickness", quantity.Length(depth))},
		}.Say("The trunk ends %v below the deck's top, inside a deck of %v: the cut edge stays bare to water.", quantity.Length(depth), quantity.Length(c.Deck.Thickness)))
	}
	if c.Deck.CamberRadius > 0 {
		// S^2/(8 Rc), the parabola's sagitta; S athwartships, where decks are
		// cambered.
		span := g.Outlines.Flange.Width()
		g.CamberGap = span * span / (8 * c.Deck.CamberRadius)
		if g.CamberGap > camberCaution+measureSlack {
			severity, limit := finding.Caution, camberCaution
			if g.CamberGap > camberError+measureSlack {
				severity, limit = finding.Error, camberError
			}
			f := finding.Finding{
				Code: "deck.camber_gap", Severity: severity, Pointer: "/deck/camber_radius",
				Measured: quantity.Length(g.CamberGap), Limit: quantity.Length(limit),
				Mends: []finding.Mend{finding.AtLeast("/deck/camber_radius", quantity.Length(span*span/(8*camberCaution))),
					finding.Seek("/receiver/flange_width", quantity.Down)},
				Source: "shop rule: bedding fills 3 mm; beyond 8 mm the mold's base must be cambered",
			}.Say("On a deck cambered to a radius of %v a flat flange %v wide stands off by %v in the middle.",
				quantity.Length(c.Deck.CamberRadius), quantity.Length(span), quantity.Length(g.CamberGap))
			f.Mends = append(f.Mends, seek(quantity.Down, c.SizePointers())...)
			list = append(list, f)
		}
	}

	list = append(list, ruleRadius(atTop, c.Lid.EdgeRadius, insideRadius, "into the inside corner at the foot of the lid's cavity")...)
	return list
}

// rulePlug rules on the radii and the wall of a receiver that is laid over a plug.
func rulePlug(c *Configuration) []finding.Finding {
	r := c.Receiver
	return slices.Concat(ruleRadius(atEdge, r.EdgeRadius, insideRadius, "into the inside corner between flange and recess wall of the plug"),
		ruleRadius(atRoot, r.RootRadius, outsideRadius, "over the plug's outside edge at the wall's root"),
		ruleRadius(atLip, r.LipRadius, insideRadius, "into the inside corner at the trunk of the plug"),
		ruleDraft("/receiver/draft_deg", r.Draft, r.RecessDepth))
}

// ruleDrafts rules on the drafts of trunk and lid.
func ruleDrafts(c *Configuration, g *Geometry) []finding.Finding {
	return append(ruleDraft("/receiver/trunk_draft_deg", c.Receiver.TrunkDraft, c.pattern().trunkRise(c)), ruleDraft("/lid/draft_deg", c.Lid.Draft, g.SkirtHeight)...)
}

func ruleRadius(pointer string, radius, least float64, where string) []finding.Finding {
	if radius >= least-measureSlack {
		return nil
	}
	return []finding.Finding{finding.Finding{
		Code: "mold.radius_small", Severity: finding.Caution, Pointer: pointer,
		Measured: quantity.Length(radius), Limit: quantity.Length(least), Source: commonPractice,
		Mends: []finding.Mend{finding.AtLeast(pointer, quantity.Length(least))},
	}.Say("Glass is turned with a radius of %v %s; under %v it bridges or cracks.", quantity.Length(radius), where, quantity.Length(least))}
}

// DraftGuide returns the draft that eases the release of a wall of the given
// height, deg: 1 up to 25 mm, 2 to 75, 3 to 150 and beyond (common practice;
// published guides run from none for shallow parts to 5).
func DraftGuide(height float64) float64 {
	switch {
	case height <= 25:
		return 1
	case height <= 75:
		return 2
	}
	return 3
}

func ruleDraft(pointer string, draft, height float64) []finding.Finding {
	guide := DraftGuide(height)
	if draft >= guide-ratioSlack {
		return nil
	}
	return []finding.Finding{finding.Finding{
		Code: "mold.draft_low", Severity: finding.Caution, Pointer: pointer,
		Measured: quantity.Angle(draft), Limit: quantity.Angle(guide), Source: commonPractice + "; published guides run from 1 to 5 deg",
		Mends: []finding.Mend{finding.AtLeast(pointer, quantity.Angle(guide))},
	}.Say("A wall %v high with %v of draft is hard to release; the guide is %v. Square shallow walls do release with wax and PVA.",
		quantity.Length(height), quantity.Angle(draft), quantity.Angle(guide))}
}

// Resolve turns a completed configuration into its geometry and everything the
// rules of shape, fit and receiver say of it; g.Stage says how far it stands. The
// surfaces are left to Geometry.Measure.
func Resolve(c *Configuration, t Thicknesses, s Sizes) (g Geometry, list []finding.Finding) {
	if c.pattern() == nil {
		return g, []finding.Finding{c.Pattern.notBuilt()}
	}
	o, list := c.Outline.Curve()
	if len(list) > 0 {
		return g, list
	}
	g, list = resolve(c, o, t)
	if g.Stage >= StageRecess {
		list = append(list, ruleSize(c, &g, s)...)
	}
	if g.Stage < StageSections {
		return g, list
	}
	var err error
	if g.Fit, err = c.pattern().fit(c, g); err != nil {
		return g, append(list, radiusFault(err))
	}
	list = append(list, c.pattern().rules(c, &g, t, s)...)
	g.Stage = StageWhole
	return g, list
}
