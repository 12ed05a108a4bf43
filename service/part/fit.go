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

// fit measures the least horizontal clearance between lid and receiver over the
// lid's wall. Between straight walls of a flush lid it is
//
//	gap(z) = g - z (tan f_r + tan f_l)
//
// and where the foot stands beside the root radius the tangent arc's stand-off
// is taken off. A gutter's skirt has two sides to clear: the recess wall outside
// and the upstand inside. A coaming's skirt clears the coaming with its inner face:
//
//	gap(z) = g + (z + B)(tan f_l - tan f_r), z from -B to -B + V
func fit(c *Configuration, g Geometry) (Fit, error) {
	v := c.receiverVertices(0, 0)
	n, z, h := c.lidFace(g.Thicknesses)
	inner := n - g.Thicknesses.Skirt // inner face of the skirt at its top
	skirt := func(from, to float64) (profile.Profile, error) {
		at := func(d float64) profile.Vertex {
			return profile.Vertex{At: profile.Point{N: inner + (d-z)*tan(c.Lid.Draft), Z: d}}
		}
		return profile.New([]profile.Vertex{at(from), at(to)})
	}
	var f Fit
	var err error
	switch c.Pattern {
	case BoltedPlate:
		return f, nil
	case RaisedCoaming:
		b, overlap := c.Coaming.Height, c.Coaming.Overlap
		f.GapAtDeck = c.Lid.Gap
		f.GapAtFoot = c.Lid.Gap + overlap*(tan(c.Lid.Draft)-tan(c.Receiver.Draft))
		face, err := skirt(-b-g.SealThickness, -b+overlap)
		if err != nil {
			return f, err
		}
		// The coaming's section is double valued in depth: only its outer wall counts.
		wall, err := profile.New(cut(v[:4]))
		if err != nil {
			return f, err
		}
		f.LeastClearance, f.LeastClearanceAt, err = profile.LeastHorizontalClearance(face, wall, -b, -b+overlap)
		return f, err
	case FlushGutter:
		deep := c.Receiver.RecessDepth
		f.GapAtDeck = c.Lid.Gap
		f.GapAtFoot = c.Lid.Gap - h*(tan(c.Receiver.Draft)+tan(c.Lid.Draft))
		wall, err := profile.New(cut(v[:4])) // down to the floor, past the root
		if err != nil {
			return f, err
		}
		if f.LeastClearance, f.LeastClearanceAt, err = profile.LeastHorizontalClearance(wall, g.LidProfile, 0, h); err != nil || h <= deep {
			return f, err
		}
		face, err := skirt(0, h)
		if err != nil {
			return f, err
		}
		upstand, err := profile.New(cut(v[2:6]))
		if err != nil {
			return f, err
		}
		inside, at, err := profile.LeastHorizontalClearance(face, upstand, deep, h)
		if err != nil {
			return f, err
		}
		if inside < f.LeastClearance {
			f.LeastClearance, f.LeastClearanceAt, f.Inside = inside, at, true
		}
		return f, nil
	}
	f.GapAtDeck = c.Lid.Gap
	f.GapAtFoot = c.Lid.Gap - h*(tan(c.Receiver.Draft)+tan(c.Lid.Draft))
	f.LeastClearance, f.LeastClearanceAt, err = profile.LeastHorizontalClearance(g.ReceiverProfile, g.LidProfile, 0, h)
	return f, err
}

// cut copies a stretch of a section; its ends are sharp.
func cut(v []profile.Vertex) []profile.Vertex {
	out := append([]profile.Vertex{}, v...)
	out[0].Radius, out[len(out)-1].Radius = 0, 0
	return out
}

// measureSlack is how far a measured length may miss its limit and still count as
// on it, mm. A figure of the shop's given in millimeters is rounded to 0.00001 in
// in a document that speaks inches, up to 0.000127 mm off, and must not break the
// shop's own limit for that; no shop measures a fifth of a micrometer.
const measureSlack = 2e-4

// ruleFit rules on clearance, seal and seat; g's sections stand.
func ruleFit(c *Configuration, g *Geometry, t Thicknesses) []finding.Finding {
	if c.Pattern == BoltedPlate {
		return nil
	}
	list := ruleClearance(c, g)
	list = append(list, ruleSeat(c, g)...)
	if c.Pattern == FlushLedge {
		list = append(list, ruleSkirtFoot(c, g, t)...)
	}
	list = append(list, ruleCompression(c)...)
	return list
}

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
	switch {
	case g.Fit.Inside:
		f = f.Say("The lid's skirt does not clear the upstand inside it: %v is left at %v below the deck, %v is asked for. Gap, skirt and clearance must fit in the gutter.",
			clear, quantity.Length(g.Fit.LeastClearanceAt), least)
	case c.Pattern == RaisedCoaming:
		f = f.Say("The lid does not go down over the coaming freely: %v is left at %v above the deck, %v is asked for. The coaming's draft eats the gap.",
			clear, quantity.Length(-g.Fit.LeastClearanceAt), least)
	default:
		f = f.Say("The lid does not go down freely: %v is left at %v below the deck, %v is asked for. Draft on both walls and the root radius eat the gap.",
			clear, quantity.Length(g.Fit.LeastClearanceAt), least)
	}
	return []finding.Finding{f}
}

// ClearanceMends are the figures that could widen the least clearance, each alone.
func ClearanceMends(c *Configuration, f Fit) []finding.Mend {
	var list []finding.Mend
	down := func(pointers ...string) {
		for _, p := range pointers {
			list = append(list, finding.Seek(p, quantity.Down))
		}
	}
	up := func(pointers ...string) {
		for _, p := range pointers {
			list = append(list, finding.Seek(p, quantity.Up))
		}
	}
	switch c.Pattern {
	case FlushGutter:
		if f.Inside {
			up("/gutter/width", "/gutter/skirt_clearance")
			down("/lid/gap", atRoot)
			return list
		}
		up("/lid/gap", "/gutter/skirt_clearance")
		down(atRoot, "/lid/draft_deg", "/receiver/draft_deg")
	case RaisedCoaming:
		up("/lid/gap", "/lid/draft_deg")
		down("/coaming/overlap", "/receiver/draft_deg")
	case BoltedPlate:
	default:
		up("/seal/thickness", "/lid/gap")
		down(atRoot, "/lid/draft_deg", "/receiver/draft_deg", "/seal/compression")
	}
	return list
}

// seatWidthAt is the figure that gives the seal's flat its width, by pattern.
var seatWidthAt = map[Pattern]string{FlushLedge: "/receiver/ledge_width", FlushGutter: "/gutter/upstand_width", RaisedCoaming: "/coaming/top_width"}

// ruleSeat rules on the flat that the seal lies on, between the tangent points of
// the radii at its two ends:
//
//	width - r_1 / tan(t_1/2) - r_2 / tan(t_2/2)
func ruleSeat(c *Configuration, g *Geometry) []finding.Finding {
	v := c.receiverVertices(0, 0)
	k := len(v)
	first, second := v[k-3], v[k-2]
	tangent1 := tangent(turn(v[k-4].At, first.At, second.At))
	tangent2 := tangent(turn(first.At, second.At, v[k-1].At))
	g.SeatOuter = first.At.N - first.Radius*tangent1
	g.SeatInner = second.At.N + second.Radius*tangent2
	g.LedgeFlat = g.SeatOuter - g.SeatInner
	if g.LedgeFlat >= c.Seal.Width-measureSlack {
		return nil
	}
	at, width := seatWidthAt[c.Pattern], quantity.Length(c.Seal.Width)
	mends := []finding.Mend{finding.AtLeast(at, quantity.Length(c.Seal.Width+first.Radius*tangent1+second.Radius*tangent2))}
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
