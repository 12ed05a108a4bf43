package part

import (
	"errors"
	"fmt"
	"math"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

func tan(deg float64) float64 { return math.Tan(deg * math.Pi / 180) }

// wallInset returns how far the recess wall has come in at the ledge, mm:
//
//	D tan f_r
func (r Receiver) wallInset() float64 { return r.RecessDepth * tan(r.Draft) }

// ledgeInset returns how far the trunk stands inside R0 at the ledge, mm:
//
//	D tan f_r + W
func (r Receiver) ledgeInset() float64 { return r.wallInset() + r.LedgeWidth }

// trunkInset returns how far the trunk comes in over its height, mm:
//
//	H tan f_t
func (r Receiver) trunkInset() float64 { return r.TrunkHeight * tan(r.TrunkDraft) }

// recessOutline solves R0 from the customer's outline, by the size basis.
func recessOutline(c *Configuration, o outline.Outline, t Thicknesses) (outline.Outline, error) {
	d := 0.0
	switch c.SizeBasis {
	case BasisLid:
		d = c.Lid.Gap
	case BasisClearOpening:
		d = c.Receiver.ledgeInset() + c.Receiver.trunkInset()
	case BasisDeckCutout:
		d = -(t.Receiver + c.Receiver.FittingClearance)
	}
	if d == 0 {
		return o, nil
	}
	return o.Offset(d)
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
	if out.DeckCutout, err = r0.Offset(t.Receiver + r.FittingClearance); err != nil {
		list = append(list, collapsed("receiver.cutout_collapses", "/receiver/fitting_clearance", r.FittingClearance, err))
	}
	if out.Lid, err = r0.Offset(-c.Lid.Gap); err != nil {
		list = append(list, collapsed("lid.gap_too_wide", "/lid/gap", c.Lid.Gap, err,
			finding.Seek("/lid/gap", quantity.Down)))
	}
	foot, err := r0.Offset(-(r.ledgeInset() + r.trunkInset()))
	if err != nil {
		mends := []finding.Mend{finding.Seek("/receiver/ledge_width", quantity.Down), finding.Seek("/receiver/trunk_draft_deg", quantity.Down),
			finding.Seek("/receiver/draft_deg", quantity.Down)}
		for _, p := range sizePointers(c) {
			mends = append(mends, finding.Seek(p, quantity.Up))
		}
		list = append(list, collapsed("receiver.ledge_too_wide", "/receiver/ledge_width", r.LedgeWidth, err, mends...))
		return out, false, list
	}
	// The tightest plan corner is at the foot; it is re-rounded there and the
	// trunk follows, so that wall and draft stay true all the way down.
	if foot.MinCornerRadius() < LeastTrunkRadius-radiusSlack {
		var again outline.Outline
		if again, err = foot.WithMinRadius(LeastTrunkRadius); err != nil {
			mends := []finding.Mend{finding.Seek("/receiver/ledge_width", quantity.Down)}
			for _, p := range sizePointers(c) {
				mends = append(mends, finding.Seek(p, quantity.Up))
			}
			list = append(list, finding.Finding{
				Code: "receiver.opening_too_small", Severity: finding.Error, Pointer: "/outline",
				Measured: quantity.Length(math.Min(foot.Length(), foot.Width())), Limit: quantity.Length(2 * LeastTrunkRadius),
				Mends: mends, Source: commonPractice,
			}.Say("What is left open, %v by %v, is too small to round its corners to the %v that glass needs.",
				quantity.Length(foot.Length()), quantity.Length(foot.Width()), quantity.Length(LeastTrunkRadius)))
			return out, false, list
		}
		foot, rounded = again, true
	}
	out.ClearOpening = foot
	if out.Trunk, err = foot.Offset(r.trunkInset()); err != nil {
		list = append(list, collapsed("receiver.trunk_collapses", "/receiver/trunk_draft_deg", r.TrunkDraft, err))
	}
	return out, rounded, list
}

// radiusSlack is how far below a limit a radius may lie and still count as on
// it, mm: well above what offsets lose in float64, far below what a shop measures.
const radiusSlack = 1e-6

// sizePointers lists the plan figures that make the hatch larger.
func sizePointers(c *Configuration) []string {
	switch c.Outline.Shape {
	case Circle:
		return []string{"/outline/diameter"}
	case Taper:
		return []string{"/outline/length", "/outline/width_aft", "/outline/width_fwd"}
	case Polygon:
		return nil
	}
	return []string{"/outline/length", "/outline/width"}
}

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

// ReceiverSection returns the receiver's section about R0:
//
//	(F, 0) → (0, 0) r_e → (-D tan f_r, D) r_r → (-(D tan f_r + W), D) r_l → (… - H tan f_t, D + H)
func (c *Configuration) ReceiverSection() (profile.Profile, error) {
	r := c.Receiver
	return profile.New([]profile.Vertex{
		{At: profile.Point{N: r.FlangeWidth, Z: 0}},
		{At: profile.Point{N: 0, Z: 0}, Radius: r.EdgeRadius, Name: atEdge},
		{At: profile.Point{N: -r.wallInset(), Z: r.RecessDepth}, Radius: r.RootRadius, Name: atRoot},
		{At: profile.Point{N: -r.ledgeInset(), Z: r.RecessDepth}, Radius: r.LipRadius, Name: atLip},
		{At: profile.Point{N: -r.ledgeInset() - r.trunkInset(), Z: r.RecessDepth + r.TrunkHeight}},
	})
}

// LidSection returns the lid's section about R0, from the flat of the top to the
// trim line:
//
//	(-g - tangent, 0) → (-g, 0) r_t → (-g + h tan f_l, h)
func (c *Configuration) LidSection() (profile.Profile, error) {
	h := c.SkirtHeight()
	leg := c.Lid.EdgeRadius*tangent(90+c.Lid.Draft) + ringLeg
	return profile.New([]profile.Vertex{
		{At: profile.Point{N: -c.Lid.Gap - leg, Z: 0}},
		{At: profile.Point{N: -c.Lid.Gap, Z: 0}, Radius: c.Lid.EdgeRadius, Name: atTop},
		{At: profile.Point{N: -c.Lid.Gap + h*tan(c.Lid.Draft), Z: h}},
	})
}

// tangent returns the tangent length per unit radius at a vertex whose interior
// angle is deg:
//
//	1/tan(t/2)
func tangent(deg float64) float64 { return 1 / math.Tan(deg*math.Pi/360) }

// SkirtHeight returns h, how deep the lid's skirt reaches, mm:
//
//	h = D - s
func (c *Configuration) SkirtHeight() float64 { return c.Receiver.RecessDepth - c.Seal.Compressed() }

// radiusFault turns a profile's error into a finding on the radius.
func radiusFault(err error) finding.Finding {
	var large *profile.RadiusTooLargeError
	if errors.As(err, &large) {
		measured, limit := quantity.Length(large.Radius), quantity.Length(large.Largest)
		return finding.Finding{
			Code: "profile.radius_too_large", Severity: finding.Error, Pointer: large.Name, Measured: measured, Limit: limit,
			Mends: []finding.Mend{finding.AtMost(large.Name, limit)}, Source: "geometry: an arc's tangent points must lie on its two walls",
		}.Say("A radius of %v does not fit the walls it joins; the largest that fits with the others as they are is %v.", measured, limit)
	}
	return finding.Finding{Code: "profile.no_section", Severity: finding.Error, Pointer: "/receiver", Source: "geometry"}.
		Say("The section cannot be drawn: %v.", err)
}

// resolveFlushLedge turns a completed configuration into outlines, sections and
// surfaces.
func resolveFlushLedge(c *Configuration, o outline.Outline, t Thicknesses) (Geometry, []finding.Finding) {
	var g Geometry
	var list []finding.Finding

	r0, err := recessOutline(c, o, t)
	if err != nil {
		f := collapsed("receiver.cutout_too_small", "/outline", t.Receiver+c.Receiver.FittingClearance, err)
		for _, p := range sizePointers(c) {
			f.Mends = append(f.Mends, finding.Seek(p, quantity.Up))
		}
		return g, append(list, f)
	}
	g.Stage = StageRecess
	out, rounded, faults := outlines(c, r0, t)
	g.Outlines, g.TrunkRounded = out, rounded
	list = append(list, faults...)

	g.SealThickness, g.SkirtHeight = c.Seal.Compressed(), c.SkirtHeight()
	if g.SkirtHeight <= 0 {
		list = append(list, finding.Finding{
			Code: "lid.no_skirt", Severity: finding.Error, Pointer: "/seal/thickness",
			Measured: quantity.Length(g.SealThickness), Limit: quantity.Length(c.Receiver.RecessDepth), Source: "geometry: h = D - s",
			Mends: []finding.Mend{finding.Seek("/receiver/recess_depth", quantity.Up), finding.Seek("/seal/thickness", quantity.Down), finding.Seek("/seal/compression", quantity.Up)},
		}.Say("The compressed seal, %v, fills the whole recess of %v: no height is left for the lid's skirt.",
			quantity.Length(g.SealThickness), quantity.Length(c.Receiver.RecessDepth)))
	}
	if len(list) > 0 {
		return g, list
	}
	g.Stage = StageOutlines
	if g.ReceiverProfile, err = c.ReceiverSection(); err != nil {
		f := radiusFault(err)
		if f.Pointer == atRoot || f.Pointer == atEdge {
			f.Mends = append(f.Mends, finding.Seek("/receiver/recess_depth", quantity.Up))
		}
		if f.Pointer == atRoot || f.Pointer == atLip {
			f.Mends = append(f.Mends, finding.Seek("/receiver/ledge_width", quantity.Up))
		}
		list = append(list, f)
	}
	if g.LidProfile, err = c.LidSection(); err != nil {
		f := radiusFault(err)
		f.Mends = append(f.Mends, finding.Seek("/receiver/recess_depth", quantity.Up))
		list = append(list, f)
	}
	if len(list) > 0 {
		return g, list
	}
	g.Stage = StageSections
	// The top edge radius must leave a flat inside it.
	if inset, most := -g.LidProfile.Vertices()[0].At.N-c.Lid.Gap, g.Outlines.Lid.MaxInset(); inset >= most {
		list = append(list, finding.Finding{
			Code: "lid.edge_radius_too_large", Severity: finding.Error, Pointer: atTop,
			Measured: quantity.Length(c.Lid.EdgeRadius), Limit: quantity.Length(math.Max(0, most-ringLeg) / tangent(90+c.Lid.Draft)),
			Mends:  []finding.Mend{finding.Seek(atTop, quantity.Down)},
			Source: "geometry: the top edge radius must leave a flat",
		}.Say("The top edge radius of %v leaves no flat on a lid this small.", quantity.Length(c.Lid.EdgeRadius)))
	}
	return g, list
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

// ReceiverSurface sweeps the receiver: flange, edge radius, wall, root radius and
// ledge about R0; lip radius and trunk about the trunk. Where the trunk was not
// re-rounded both outlines are offsets of R0 and the sum is the one sweep.
//
// pastFlange and pastTrunk carry the surface on beyond the flange's edge and the
// trunk's trim line, mm: what the mold's face has more than the part.
func (c *Configuration) ReceiverSurface(g Geometry, pastFlange, pastTrunk float64) (Surface, error) {
	r := c.Receiver
	flange := profile.Point{N: r.FlangeWidth + pastFlange, Z: 0}
	foot := profile.Point{N: -(r.TrunkHeight + pastTrunk) * tan(r.TrunkDraft), Z: r.RecessDepth + r.TrunkHeight + pastTrunk}
	edge := profile.Vertex{At: profile.Point{N: 0, Z: 0}, Radius: r.EdgeRadius, Name: atEdge}
	root := profile.Vertex{At: profile.Point{N: -r.wallInset(), Z: r.RecessDepth}, Radius: r.RootRadius, Name: atRoot}
	if !g.TrunkRounded {
		lip := profile.Vertex{At: profile.Point{N: -r.ledgeInset(), Z: r.RecessDepth}, Radius: r.LipRadius, Name: atLip}
		foot.N -= r.ledgeInset()
		p, err := profile.New([]profile.Vertex{{At: flange}, edge, root, lip, {At: foot}})
		if err != nil {
			return Surface{}, err
		}
		return sweep(Band{g.Outlines.Recess, p})
	}
	upper, err := profile.New([]profile.Vertex{{At: flange}, edge, root,
		{At: profile.Point{N: -r.wallInset() - r.RootRadius*tangent(90+r.Draft) - ringLeg, Z: r.RecessDepth}}})
	if err != nil {
		return Surface{}, err
	}
	leg := r.LipRadius*tangent(90+r.TrunkDraft) + ringLeg
	lower, err := profile.New([]profile.Vertex{
		{At: profile.Point{N: leg, Z: r.RecessDepth}},
		{At: profile.Point{N: 0, Z: r.RecessDepth}, Radius: r.LipRadius, Name: atLip},
		{At: foot},
	})
	if err != nil {
		return Surface{}, err
	}
	s, err := sweep(Band{g.Outlines.Recess, upper}, Band{g.Outlines.Trunk, lower})
	if err != nil {
		return Surface{}, err
	}
	outer, err := g.Outlines.Recess.Offset(end(upper).N)
	if err != nil {
		return Surface{}, fmt.Errorf("ledge's outer edge: %w", err)
	}
	inner, err := g.Outlines.Trunk.Offset(leg)
	if err != nil {
		return Surface{}, fmt.Errorf("ledge's inner edge: %w", err)
	}
	s.Area += outer.Area() - inner.Area()
	return s, nil
}

// LidSurface sweeps the lid: the flat top, the top edge radius and the skirt down
// to depth z. pastRim folds the surface outward there, over a rim of the given
// radius, mm: what the mold's face has more than the part.
func (c *Configuration) LidSurface(g Geometry, z, pastRim, rimRadius float64) (Surface, error) {
	leg := c.Lid.EdgeRadius*tangent(90+c.Lid.Draft) + ringLeg
	foot := profile.Point{N: -c.Lid.Gap + z*tan(c.Lid.Draft), Z: z}
	vertices := []profile.Vertex{
		{At: profile.Point{N: -c.Lid.Gap - leg, Z: 0}},
		{At: profile.Point{N: -c.Lid.Gap, Z: 0}, Radius: c.Lid.EdgeRadius, Name: atTop},
		{At: foot},
	}
	if pastRim > 0 {
		vertices[2].Radius = rimRadius
		vertices = append(vertices, profile.Vertex{At: profile.Point{N: foot.N + pastRim, Z: z}})
	}
	p, err := profile.New(vertices)
	if err != nil {
		return Surface{}, err
	}
	s, err := sweep(Band{g.Outlines.Recess, p})
	if err != nil {
		return Surface{}, err
	}
	top, err := g.Outlines.Recess.Offset(vertices[0].At.N)
	if err != nil {
		return Surface{}, fmt.Errorf("flat of the lid's top: %w", err)
	}
	s.Area += top.Area()
	return s, nil
}

// ringLeg is how much of the ledge's flat is given to each of the two sweeps it
// lies between, mm, so that a radius of 0 still has a leg to stand on. The flat
// ring between them is what remains, so its size does not change the sum.
const ringLeg = 0.5

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

func end(p profile.Profile) profile.Point {
	v := p.Vertices()
	return v[len(v)-1].At
}
