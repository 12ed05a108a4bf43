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
	// Inside is true where it is found between a skirt's inner face and a
	// gutter's upstand.
	Inside bool
}

// flushGaps are the gaps between the straight walls of a lid in a recess:
//
//	gap(z) = g - z (tan f_r + tan f_l)
//
// Where its foot stands beside the root radius the tangent arc's stand-off is taken off.
func flushGaps(c *Configuration, g Geometry) Fit {
	return Fit{GapAtDeck: c.Lid.Gap, GapAtFoot: c.Lid.Gap - g.SkirtHeight*(tan(c.Receiver.Draft)+tan(c.Lid.Draft))}
}

// flushJams tells that a lid does not go down into a recess.
const flushJams = "The lid does not go down freely: %v is left at %v below the deck, %v is asked for. Draft on both walls and the root radius eat the gap."

// flushGapEaten is what the drafts of both walls eat of a flush lid's gap, and the root
// radius where the lid's foot stands beside it, mm: of a square wall's radius, up above
// its foot,
//
//	r - sqrt(r^2 - (r - up)^2)
//
// A leaning wall's stands off by less.
func flushGapEaten(c *Configuration, up float64) float64 {
	eaten := math.Max(0, c.wallHeight()) * (tan(c.Receiver.Draft) + tan(c.Lid.Draft))
	if r := c.Receiver.RootRadius; up < r {
		eaten += r - math.Sqrt(r*r-(r-up)*(r-up))
	}
	return eaten
}

// skirtInside is the inner face of the lid's skirt between two depths.
func skirtInside(c *Configuration, g Geometry, from, to float64) (profile.Profile, error) {
	n, z, _ := c.pattern().lidFace(c, g.Thicknesses)
	inner := n - g.Thicknesses.Skirt
	at := func(d float64) profile.Vertex {
		return profile.Vertex{At: profile.Point{N: inner + (d-z)*tan(c.Lid.Draft), Z: d}}
	}
	return profile.New([]profile.Vertex{at(from), at(to)})
}

// measureSlack is how far a measured length may miss its limit and still count as
// on it, mm. A figure of the shop's given in millimeters is rounded to 0.00001 in
// in a document that speaks inches, up to 0.000127 mm off, and must not break the
// shop's own limit for that; no shop measures a fifth of a micrometer.
const measureSlack = 2e-4

// ruleClearance rules on the least clearance between lid and receiver.
func ruleClearance(c *Configuration, g *Geometry) []finding.Finding {
	if g.Fit.LeastClearance >= c.Lid.LeastGap-measureSlack {
		return nil
	}
	clear, least := quantity.Length(g.Fit.LeastClearance), quantity.Length(c.Lid.LeastGap)
	f := finding.Finding{
		Code: "fit.gap_closes", Severity: finding.Error, Pointer: "/lid/gap", Measured: clear, Limit: least,
		Source: "shop rule: least clearance that a lid needs, from lid.least_gap",
	}
	f.Mends = ClearanceMends(c, g.Fit)
	message, at := c.pattern().jams(g.Fit)
	return []finding.Finding{f.Say(message, clear, quantity.Length(at), least)}
}

// ClearanceMends are the figures that could widen the least clearance, each alone.
func ClearanceMends(c *Configuration, f Fit) []finding.Mend {
	up, down := c.pattern().widens(f)
	return append(seek(quantity.Up, up), seek(quantity.Down, down)...)
}

// seek are the mends that go one way with each of several figures.
func seek(going quantity.Direction, pointers []string) []finding.Mend {
	var list []finding.Mend
	for _, p := range pointers {
		list = append(list, finding.Seek(p, going))
	}
	return list
}

// ruleSeat rules on the flat that the seal lies on, between the tangent points of
// the radii at its two ends:
//
//	width - r_1 / tan(t_1/2) - r_2 / tan(t_2/2)
func ruleSeat(c *Configuration, g *Geometry) []finding.Finding {
	first, second, _ := SeatOf(g.ReceiverProfile)
	v := corners(g.ReceiverProfile.Vertices())
	tangent1, tangent2 := v.tangentAt(first.Corner), v.tangentAt(second.Corner)
	g.SeatOuter = first.At.N - tangent1
	g.SeatInner = second.At.N + tangent2
	g.LedgeFlat = g.SeatOuter - g.SeatInner
	if g.LedgeFlat >= c.Seal.Width-measureSlack {
		return nil
	}
	at, width := c.pattern().seatWidth(), quantity.Length(c.Seal.Width)
	mends := []finding.Mend{finding.AtLeast(at, quantity.Length(c.Seal.Width+tangent1+tangent2))}
	if g.LedgeFlat >= narrowestSeal {
		mends = append(mends, finding.AtMost("/seal/width", quantity.Length(g.LedgeFlat)))
	}
	mends = append(mends, finding.Seek(first.Name, quantity.Down))
	if second.Name != first.Name {
		mends = append(mends, finding.Seek(second.Name, quantity.Down))
	}
	return []finding.Finding{finding.Finding{
		Code: "seal.ledge_too_narrow", Severity: finding.Error, Pointer: at,
		Measured: quantity.Length(g.LedgeFlat), Limit: width, Mends: mends, Source: "geometry: the seal lies on the flat between the two radii",
	}.Say("The flat that the seal lies on, between its two radii, is %v; the seal is %v wide.", quantity.Length(math.Max(g.LedgeFlat, 0)), width)}
}

func ruleCompression(c *Configuration) []finding.Finding {
	var list []finding.Finding
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
	return list
}

// narrowestSeal is the least width that is offered as a mend, mm: narrower strips
// are not sold (common practice, no source).
const narrowestSeal = 4.0

// ratioSlack is the same for bare ratios: far below a percent of a percent.
const ratioSlack = 1e-9
