package part

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

func tan(deg float64) float64 { return math.Tan(deg * math.Pi / 180) }

// tangent returns the tangent length per unit radius at a vertex whose interior
// angle is deg:
//
//	1/tan(t/2)
func tangent(deg float64) float64 { return 1 / math.Tan(deg*math.Pi/360) }

// ringLeg is how much of a flat is given to each of the two sweeps it lies
// between, mm, so that a radius of 0 still has a leg to stand on. The flat between
// them is what remains, so its size does not change any sum.
const ringLeg = 0.5

// Names of the profile vertices, as pointers of the figures that round them.
const (
	atEdge = "/receiver/edge_radius"
	atRoot = "/receiver/root_radius"
	atLip  = "/receiver/lip_radius"
	atTop  = "/lid/edge_radius"
)

// section is a path that is being drawn, about R0: its corners so far.
type section struct {
	corners
	at        profile.Point
	pastTrunk float64 // how far the trunk goes on beyond the part, mm
}

// drawn is the receiver's section about R0, from the flange's outer edge to where the
// opening begins. pastFlange and pastTrunk carry it on beyond the part, mm.
func drawn(p pattern, c *Configuration, pastFlange, pastTrunk float64) corners {
	end := profile.Point{N: c.Receiver.FlangeWidth + pastFlange}
	s := section{corners: append(make(corners, 0, mostCorners), profile.Vertex{At: end, Corner: FlangeEnd}), at: end, pastTrunk: pastTrunk}
	p.receiver(c, &s)
	return s.corners
}

// mostCorners a receiver has, as many as are made room for at once.
const mostCorners = 7

// add goes on by dn and dz, mm, along a leg to a corner of the given radius.
func (s *section) add(dn, dz, radius float64, name string, leg, corner profile.Mark) {
	s.at = profile.Point{N: s.at.N + dn, Z: s.at.Z + dz}
	s.corners = append(s.corners, profile.Vertex{At: s.at, Radius: radius, Name: name, Leg: leg, Corner: corner})
}

// flange goes in to R0.
func (s *section) flange(radius float64, corner profile.Mark) {
	s.add(-s.at.N, 0, radius, atEdge, Flange, corner)
}

// trunk goes down to where the trunk is trimmed.
func (s *section) trunk(rise, draft float64) {
	rise += s.pastTrunk
	s.add(-rise*tan(draft), rise, 0, "", Trunk, TrunkFoot)
}

// corners are those of a section before rounding, in order.
type corners []profile.Vertex

// index is the place of a corner, which the pattern has.
func (v corners) index(corner profile.Mark) int {
	return slices.IndexFunc(v, func(v profile.Vertex) bool { return v.Corner == corner })
}

// tangentAt is how far from a corner between two legs its arc begins, mm.
func (v corners) tangentAt(corner profile.Mark) float64 {
	i := v.index(corner)
	return v[i].Radius * tangent(turn(v[i-1].At, v[i].At, v[i+1].At))
}

// stretch is the path from one corner to another; its ends are sharp.
func (v corners) stretch(from, to profile.Mark) (profile.Profile, error) {
	out := slices.Clone(v[v.index(from) : v.index(to)+1])
	out[0].Radius, out[len(out)-1].Radius = 0, 0
	return profile.New(out)
}

// openingInset returns how far the clear opening stands inside R0, mm, and how
// much of that is the trunk's own draft.
func (c *Configuration) openingInset() (inset, trunk float64) {
	v := drawn(c.pattern(), c, 0, 0)
	for i := range v {
		inset = -v[i].At.N
		if v[i].Leg == Trunk {
			trunk = v[i-1].At.N - v[i].At.N
		}
	}
	return inset, trunk
}

// lidVertices returns the lid's section about R0, from the flat of its top to the
// trim line, or further: down to wall mm below the top and pastRim outward there,
// over a rim of the given radius.
//
//	(n - tangent, z) → (n, z) r_t → (n + h tan f_l, z + h)
func (c *Configuration) lidVertices(t Thicknesses, wall, pastRim, rimRadius float64) corners {
	n, z, _ := c.pattern().lidFace(c, t)
	leg := c.Lid.EdgeRadius*tangent(90+c.Lid.Draft) + ringLeg
	foot := profile.Point{N: n + wall*tan(c.Lid.Draft), Z: z + wall}
	out := corners{
		{At: profile.Point{N: n - leg, Z: z}, Corner: LidFlat},
		{At: profile.Point{N: n, Z: z}, Radius: c.Lid.EdgeRadius, Name: atTop, Leg: LidTop, Corner: LidEdge},
	}
	if pastRim > 0 {
		return append(out, profile.Vertex{At: foot, Radius: rimRadius, Leg: Skirt, Corner: SkirtFoot},
			profile.Vertex{At: profile.Point{N: foot.N + pastRim, Z: foot.Z}, Leg: Rim, Corner: RimEnd})
	}
	return append(out, profile.Vertex{At: foot, Leg: Skirt, Corner: SkirtFoot})
}

// recessOutline solves R0 from the customer's outline, by the size basis.
func recessOutline(c *Configuration, o outline.Outline, t Thicknesses) (outline.Outline, error) {
	d := 0.0
	switch c.SizeBasis {
	case BasisLid:
		n, _, _ := c.pattern().lidFace(c, t)
		d = -n
	case BasisClearOpening:
		d, _ = c.openingInset()
	case BasisDeckCutout:
		d = -c.pattern().cutout(c, t)
	}
	if d == 0 {
		return o, nil
	}
	return o.Offset(d)
}

// outsideLaminate is the cut-out of a receiver that hangs in the deck, outward from R0,
// mm: its laminate and the fitting clearance outside the mold's face.
func outsideLaminate(c *Configuration, t Thicknesses) float64 {
	return t.Receiver + c.Receiver.FittingClearance
}

// outlines derives every plan curve from R0. An outline that vanishes is told as
// a finding on the figure that eats it.
func outlines(c *Configuration, r0 outline.Outline, t Thicknesses) (out Outlines, rounded bool, list []finding.Finding) {
	r := c.Receiver
	var err error
	out.Recess = r0
	if out.Flange, err = r0.Offset(r.FlangeWidth); err != nil {
		list = append(list, collapsed("receiver.flange_collapses", "/receiver/flange_width", r.FlangeWidth, err))
	}
	face, _, _ := c.pattern().lidFace(c, t)
	if out.Lid, err = r0.Offset(face); err != nil {
		list = append(list, collapsed("lid.gap_too_wide", "/lid/gap", c.Lid.Gap, err, finding.Seek("/lid/gap", quantity.Down)))
	}
	inset, trunk := c.openingInset()
	narrow, tooMuch := c.pattern().narrows()
	mends := func() []finding.Mend {
		return append(seek(quantity.Down, narrow), seek(quantity.Up, c.SizePointers())...)
	}
	foot, err := r0.Offset(-inset)
	if err != nil {
		measured, _ := c.Number(narrow[0])
		list = append(list, collapsed(tooMuch, narrow[0], measured, err, mends()...))
		return out, false, list
	}
	// The tightest plan corner is at the foot; it is re-rounded there and the
	// trunk follows, so that wall and draft stay true all the way down.
	if c.HasTrunk() && foot.MinCornerRadius() < LeastTrunkRadius-radiusSlack {
		var again outline.Outline
		if again, err = foot.WithMinRadius(LeastTrunkRadius); err != nil {
			list = append(list, finding.Finding{
				Code: "receiver.opening_too_small", Severity: finding.Error, Pointer: "/outline",
				Measured: quantity.Length(math.Min(foot.Length(), foot.Width())), Limit: quantity.Length(2 * LeastTrunkRadius),
				Mends: mends(), Source: commonPractice,
			}.Say("What is left open, %v by %v, is too small to round its corners to the %v that glass needs.",
				quantity.Length(foot.Length()), quantity.Length(foot.Width()), quantity.Length(LeastTrunkRadius)))
			return out, false, list
		}
		foot, rounded = again, true
	}
	out.ClearOpening = foot
	if out.Trunk, err = foot.Offset(trunk); err != nil {
		list = append(list, collapsed("receiver.trunk_collapses", "/receiver/trunk_draft_deg", r.TrunkDraft, err))
	}
	if out.DeckCutout, err = r0.Offset(c.pattern().cutout(c, t)); err != nil {
		list = append(list, collapsed("receiver.cutout_collapses", "/receiver/fitting_clearance", r.FittingClearance, err))
	}
	return out, rounded, list
}

// radiusSlack is how far below a limit a radius may lie and still count as on
// it, mm: well above what offsets lose in float64, far below what a shop measures.
const radiusSlack = 1e-6

func collapsed(code, pointer string, measured float64, err error, mends ...finding.Mend) finding.Finding {
	limit := 0.0
	var collapse *outline.CollapseError
	if errors.As(err, &collapse) {
		limit = measured - (collapse.Inset - collapse.Largest)
	}
	return finding.Finding{
		Code: code, Severity: finding.Error, Pointer: pointer,
		Measured: quantity.Length(measured), Limit: quantity.Length(math.Max(limit, 0)), Mends: mends, Source: "geometry: an offset must leave an area",
	}.Say("The hatch is too small for this figure: with %v nothing of the outline is left inside; the most that leaves anything is %v.",
		quantity.Length(measured), quantity.Length(math.Max(limit, 0)))
}

// radiusFault turns a profile's error into a finding on the radius.
func radiusFault(err error) finding.Finding {
	var large *profile.RadiusTooLargeError
	if errors.As(err, &large) {
		measured, limit := quantity.Length(large.Radius), quantity.Length(large.Largest)
		return finding.Finding{
			Code: "profile.radius_too_large", Severity: finding.Error, Pointer: large.Name, Measured: measured, Limit: limit,
			Mends: []finding.Mend{finding.Seek(large.Name, quantity.Down)}, Source: "geometry: an arc's tangent points must lie on its two walls",
		}.Say("A radius of %v does not fit the walls it joins; the largest that fits with the others as they are is %v.", measured, limit)
	}
	return finding.Finding{Code: "profile.no_section", Severity: finding.Error, Pointer: "/receiver",
		Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count), Source: "geometry"}.
		Say("The section cannot be drawn: %v.", err)
}

// resolve turns a completed configuration into outlines and sections.
func resolve(c *Configuration, o outline.Outline, t Thicknesses) (Geometry, []finding.Finding) {
	var g Geometry
	var list []finding.Finding
	g.Thicknesses = t
	r0, err := recessOutline(c, o, t)
	if err != nil {
		f := collapsed("receiver.cutout_too_small", "/outline", c.pattern().cutout(c, t), err)
		f.Mends = seek(quantity.Up, c.SizePointers())
		return g, append(list, f)
	}
	g.Stage = StageRecess
	out, rounded, faults := outlines(c, r0, t)
	g.Outlines, g.TrunkRounded = out, rounded
	list = append(list, faults...)

	g.SealThickness = c.Seal.Compressed()
	_, _, g.SkirtHeight = c.pattern().lidFace(c, t)
	if g.SkirtHeight <= 0 {
		list = append(list, c.pattern().noSkirt(c, g))
	}
	if len(list) > 0 {
		return g, list
	}
	g.Stage = StageOutlines
	if g.ReceiverProfile, err = profile.New(drawn(c.pattern(), c, 0, 0)); err != nil {
		f := radiusFault(err)
		f.Mends = append(f.Mends, seek(quantity.Up, c.pattern().makesRoom(f.Pointer))...)
		list = append(list, f)
	}
	if g.LidProfile, err = profile.New(c.lidVertices(t, g.SkirtHeight, 0, 0)); err != nil {
		f := radiusFault(err)
		f.Mends = append(f.Mends, seek(quantity.Up, c.pattern().heightens())...)
		list = append(list, f)
	}
	if len(list) > 0 {
		return g, list
	}
	g.Stage = StageSections
	// The top edge radius must leave a flat inside it.
	if inset, most := g.Corner(LidEdge).N-g.Corner(LidFlat).N, g.Outlines.Lid.MaxInset(); inset >= most {
		list = append(list, finding.Finding{
			Code: "lid.edge_radius_too_large", Severity: finding.Error, Pointer: atTop,
			Measured: quantity.Length(c.Lid.EdgeRadius), Limit: quantity.Length(math.Max(0, most-ringLeg) / tangent(90+c.Lid.Draft)),
			Mends:  []finding.Mend{finding.Seek(atTop, quantity.Down)},
			Source: "geometry: the top edge radius must leave a flat",
		}.Say("The top edge radius of %v leaves no flat on a lid this small.", quantity.Length(c.Lid.EdgeRadius)))
	}
	return g, list
}

// sealFillsRecess tells that the seal leaves no height for the lid's wall.
func sealFillsRecess(c *Configuration, g Geometry) finding.Finding {
	return finding.Finding{Code: "lid.no_skirt", Severity: finding.Error, Pointer: "/seal/thickness",
		Measured: quantity.Length(g.SealThickness), Limit: quantity.Length(c.Receiver.RecessDepth), Source: "geometry: h = D - s",
		Mends: []finding.Mend{finding.Seek("/receiver/recess_depth", quantity.Up), finding.Seek("/seal/thickness", quantity.Down), finding.Seek("/seal/compression", quantity.Up)},
	}.Say("The compressed seal, %v, fills the whole recess of %v: no height is left for the lid's skirt.", quantity.Length(g.SealThickness), quantity.Length(c.Receiver.RecessDepth))
}

// Measure sweeps both surfaces of a hatch whose sections stand.
func (g *Geometry) Measure(c *Configuration) error {
	var err error
	if g.Receiver, err = c.ReceiverSurface(*g, 0, 0); err != nil {
		return fmt.Errorf("receiver: %w", err)
	}
	if g.Lid, err = c.LidSurface(*g, g.SkirtHeight, 0, 0); err != nil {
		return fmt.Errorf("lid: %w", err)
	}
	return nil
}

// ReceiverSurface sweeps the receiver, the upper part about R0, the trunk about
// its own outline. Where the trunk was not re-rounded both outlines are offsets of
// R0 and the sum is the one sweep.
//
// pastFlange and pastTrunk carry the surface on beyond the flange's edge and the
// trunk's trim line, mm: what the mold's face has more than the part.
func (c *Configuration) ReceiverSurface(g Geometry, pastFlange, pastTrunk float64) (Surface, error) {
	v := drawn(c.pattern(), c, pastFlange, pastTrunk)
	if !g.TrunkRounded {
		p, err := profile.New(v)
		if err != nil {
			return Surface{}, err
		}
		return sweep(Band{g.Outlines.Recess, p})
	}
	// Cut the section on the flat before the trunk's upper corner.
	i := v.index(Lip)
	corner, lip, foot := v[i-1], v[i], v[i+1]
	cut := profile.Point{N: corner.At.N - v.tangentAt(corner.Corner) - ringLeg, Z: corner.At.Z}
	upper, err := profile.New(append(slices.Clone(v[:i]), profile.Vertex{At: cut, Leg: lip.Leg}))
	if err != nil {
		return Surface{}, err
	}
	leg := v.tangentAt(Lip) + ringLeg
	about := func(p profile.Point) profile.Point { return profile.Point{N: p.N - lip.At.N, Z: p.Z} }
	lower, err := profile.New([]profile.Vertex{
		{At: profile.Point{N: leg, Z: lip.At.Z}},
		{At: about(lip.At), Radius: lip.Radius, Name: lip.Name, Leg: lip.Leg, Corner: lip.Corner},
		{At: about(foot.At), Leg: foot.Leg, Corner: foot.Corner},
	})
	if err != nil {
		return Surface{}, err
	}
	s, err := sweep(Band{g.Outlines.Recess, upper}, Band{g.Outlines.Trunk, lower})
	if err != nil {
		return Surface{}, err
	}
	outer, err := g.Outlines.Recess.Offset(cut.N)
	if err != nil {
		return Surface{}, fmt.Errorf("outer edge of the seat: %w", err)
	}
	inner, err := g.Outlines.Trunk.Offset(leg)
	if err != nil {
		return Surface{}, fmt.Errorf("inner edge of the seat: %w", err)
	}
	s.Area += outer.Area() - inner.Area()
	return s, nil
}

// turn returns the interior angle at b between a and c, deg.
func turn(a, b, c profile.Point) float64 {
	u, v := profile.Point{N: a.N - b.N, Z: a.Z - b.Z}, profile.Point{N: c.N - b.N, Z: c.Z - b.Z}
	return math.Abs(math.Atan2(u.N*v.Z-u.Z*v.N, u.N*v.N+u.Z*v.Z)) * 180 / math.Pi
}

// LidSurface sweeps the lid: the flat top, the top edge radius and the skirt,
// wall mm down. pastRim folds the surface outward there, over a rim of the given
// radius, mm: what the mold's face has more than the part.
func (c *Configuration) LidSurface(g Geometry, wall, pastRim, rimRadius float64) (Surface, error) {
	v := c.lidVertices(g.Thicknesses, wall, pastRim, rimRadius)
	p, err := profile.New(v)
	if err != nil {
		return Surface{}, err
	}
	s, err := sweep(Band{g.Outlines.Recess, p})
	if err != nil {
		return Surface{}, err
	}
	top, err := g.Outlines.Recess.Offset(v[v.index(LidFlat)].At.N)
	if err != nil {
		return Surface{}, fmt.Errorf("flat of the lid's top: %w", err)
	}
	s.Area += top.Area()
	return s, nil
}

func sweep(bands ...Band) (Surface, error) {
	s := Surface{Bands: bands}
	for _, b := range bands {
		area, err := profile.SweptArea(b.Round, b.Profile)
		if err != nil {
			return Surface{}, fmt.Errorf("swept area: %w", err)
		}
		volume, err := profile.EnclosedVolume(b.Round, b.Profile)
		if err != nil {
			return Surface{}, fmt.Errorf("enclosed volume: %w", err)
		}
		s.Area += area
		s.EnclosedVolume += volume
	}
	return s, nil
}
