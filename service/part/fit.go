package part

import (
	"math"

	"hatchwright/service/finding"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

// Fit is how the lid goes down into the receiver. Clearances are horizontal,
// each side, mm.
type Fit struct {
	GapAtDeck        float64 // g, between the straight walls at z = 0
	GapAtFoot        float64 // between the straight walls at z = h
	LeastClearance   float64 // of the true sections, radii included
	LeastClearanceAt float64 // the depth z where it is found
}

// fit measures the least horizontal clearance between the two sections from the
// deck to the lid's foot. Between the straight walls it is
//
//	gap(z) = g - z (tan f_r + tan f_l)
//
// and where the foot stands beside the root radius the tangent arc's stand-off
// is taken off.
func fit(c *Configuration, g Geometry) (Fit, error) {
	f := Fit{GapAtDeck: c.Lid.Gap}
	f.GapAtFoot = c.Lid.Gap - g.SkirtHeight*(tan(c.Receiver.Draft)+tan(c.Lid.Draft))
	var err error
	f.LeastClearance, f.LeastClearanceAt, err = profile.LeastHorizontalClearance(g.ReceiverProfile, g.LidProfile, 0, g.SkirtHeight)
	return f, err
}

// measureSlack is how far a measured length may miss its limit and still count as
// on it, mm: a thousandth of the wire's smallest step, so that a mend rounded to
// the wire's step is never lost to float64 noise.
const measureSlack = 1e-6

// ruleFit rules on clearance, seal and seat; g's sections stand.
func ruleFit(c *Configuration, g *Geometry, t Thicknesses) []finding.Finding {
	var list []finding.Finding
	clear := quantity.Length(g.Fit.LeastClearance)
	least := quantity.Length(c.Lid.LeastGap)
	if g.Fit.LeastClearance < c.Lid.LeastGap-measureSlack {
		list = append(list, finding.Finding{
			Code: "fit.gap_closes", Severity: finding.Error, Pointer: "/lid/gap", Measured: clear, Limit: least,
			Mends: []finding.Mend{
				finding.Seek("/seal/thickness", quantity.Up),
				finding.Seek(atRoot, quantity.Down),
				finding.Seek("/lid/gap", quantity.Up),
				finding.Seek("/lid/draft_deg", quantity.Down),
				finding.Seek("/receiver/draft_deg", quantity.Down),
				finding.Seek("/seal/compression", quantity.Down),
			},
			Source: "shop rule: least clearance that a lid needs, from lid.least_gap",
		}.Say("The lid does not go down freely: %v is left at %v below the deck, %v is asked for. Draft on both walls and the root radius eat the gap.",
			clear, quantity.Length(g.Fit.LeastClearanceAt), least))
	}

	// The flat of the ledge runs from the root radius' tangent point to the lip's:
	//
	//	W - r_r / tan((90 + f_r)/2) - r_l / tan((90 + f_t)/2)
	r := c.Receiver
	rootTangent := r.RootRadius * tangent(90+r.Draft)
	lipTangent := r.LipRadius * tangent(90+r.TrunkDraft)
	g.LedgeFlat = r.LedgeWidth - rootTangent - lipTangent
	width := quantity.Length(c.Seal.Width)
	if g.LedgeFlat < c.Seal.Width-measureSlack {
		mends := []finding.Mend{finding.AtLeast("/receiver/ledge_width", quantity.Length(c.Seal.Width+rootTangent+lipTangent))}
		if g.LedgeFlat >= narrowestSeal {
			mends = append(mends, finding.AtMost("/seal/width", quantity.Length(g.LedgeFlat)))
		}
		if left := r.LedgeWidth - c.Seal.Width - lipTangent; left >= 0 {
			mends = append(mends, finding.AtMost(atRoot, quantity.Length(left/tangent(90+r.Draft))))
		}
		if left := r.LedgeWidth - c.Seal.Width - rootTangent; left >= 0 {
			mends = append(mends, finding.AtMost(atLip, quantity.Length(left/tangent(90+r.TrunkDraft))))
		}
		list = append(list, finding.Finding{
			Code: "seal.ledge_too_narrow", Severity: finding.Error, Pointer: "/receiver/ledge_width",
			Measured: quantity.Length(g.LedgeFlat), Limit: width, Mends: mends, Source: "geometry: the seal lies on the flat between the two radii",
		}.Say("The ledge's flat between its two radii is %v; the seal is %v wide.", quantity.Length(math.Max(g.LedgeFlat, 0)), width))
	}

	// The skirt's foot covers n from -g_foot down to -(g_foot + t_l + land).
	footOuter := -c.Lid.Gap + g.SkirtHeight*tan(c.Lid.Draft)
	footInner := footOuter - t.Skirt - c.Lid.LandWidth
	flatOuter := -r.wallInset() - rootTangent
	flatInner := -r.ledgeInset() + lipTangent
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

	if least, most := 0.10, 0.50; c.Seal.Compression < least-ratioSlack || c.Seal.Compression > most+ratioSlack {
		limit, mend := least, finding.AtLeast("/seal/compression", quantity.Of(least, quantity.Ratio))
		if c.Seal.Compression > most {
			limit, mend = most, finding.AtMost("/seal/compression", quantity.Of(most, quantity.Ratio))
		}
		list = append(list, finding.Finding{
			Code: "seal.compression", Severity: finding.Caution, Pointer: "/seal/compression",
			Measured: quantity.Of(c.Seal.Compression, quantity.Ratio), Limit: quantity.Of(limit, quantity.Ratio), Mends: []finding.Mend{mend},
			Source: "gasket design guides: 10 to 15 % least, 40 % ideal, 50 % most",
		}.Say("The seal is pressed by %v of its thickness; gaskets seal and last between 10 %% and 50 %%.", quantity.Of(100*c.Seal.Compression, quantity.Percent)))
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

// narrowestSeal is the least width that is offered as a mend, mm: narrower strips
// are not sold (common practice, no source).
const narrowestSeal = 4.0

// ratioSlack is the same for bare ratios: far below a percent of a percent.
const ratioSlack = 1e-9
