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

// receiverVertices returns the receiver's section about R0, from the flange's
// outer edge to the trunk's foot. The last vertex but one is the trunk's upper
// corner; between it and the one before lies the flat that the seal, or the plate,
// lies on. pastFlange and pastTrunk carry the section on beyond the part, mm.
//
// flush-ledge
//
//	(F, 0) → (0, 0) r_e → (-D tan f_r, D) r_r → (-(D tan f_r + W), D) r_l → foot
//
// flush-gutter: the wall runs down to the gutter's floor, K below the seal plane,
// and the upstand comes up again to the seal plane
//
//	… → (-(D+K) tan f_r, D+K) r_r → (…- G, D+K) r_r → (…- K tan f_r, D) r_l → (…- U, D) r_l → foot
//
// raised-coaming: the wall runs up, outside first
//
//	(F, 0) → (0, 0) r_e → (-B tan f_r, -B) r_l → (…- U, -B) r_l → foot
//
// bolted-plate: a flat ring, open inside
//
//	(F, 0) → (-overlap, 0)
func (c *Configuration) receiverVertices(pastFlange, pastTrunk float64) []profile.Vertex {
	r := c.Receiver
	n, z := r.FlangeWidth+pastFlange, 0.0
	out := []profile.Vertex{{At: profile.Point{N: n, Z: 0}, Corner: FlangeEnd}}
	add := func(dn, dz, radius float64, name string, leg, corner profile.Mark) {
		n, z = n+dn, z+dz
		out = append(out, profile.Vertex{At: profile.Point{N: n, Z: z}, Radius: radius, Name: name, Leg: leg, Corner: corner})
	}
	trunk := func() {
		height := c.trunkRise() + pastTrunk
		add(-height*tan(r.TrunkDraft), height, 0, "", Trunk, TrunkFoot)
	}
	switch c.Pattern {
	case FlushGutter:
		k := c.Gutter
		deep := r.RecessDepth + k.Depth
		add(-n, 0, r.EdgeRadius, atEdge, Flange, Edge)
		add(-deep*tan(r.Draft), deep, r.RootRadius, atRoot, Wall, FloorOuter)
		add(-k.Width, 0, r.RootRadius, atRoot, GutterFloor, FloorInner)
		add(-k.Depth*tan(r.Draft), -k.Depth, r.LipRadius, atLip, Upstand, UpstandTop)
		add(-k.UpstandWidth, 0, r.LipRadius, atLip, UpstandSeat, Lip)
		trunk()
	case RaisedCoaming:
		k := c.Coaming
		add(-n, 0, r.EdgeRadius, atEdge, Flange, CoamingFoot)
		add(-k.Height*tan(r.Draft), -k.Height, r.LipRadius, atLip, CoamingWall, CoamingTop)
		add(-k.TopWidth, 0, r.LipRadius, atLip, CoamingSeat, Lip)
		trunk()
	case BoltedPlate:
		add(-n-c.Plate.Overlap, 0, 0, "", Ring, RingInside)
	default:
		add(-n, 0, r.EdgeRadius, atEdge, Flange, Edge)
		add(-r.RecessDepth*tan(r.Draft), r.RecessDepth, r.RootRadius, atRoot, Wall, Root)
		add(-r.LedgeWidth, 0, r.LipRadius, atLip, Ledge, Lip)
		trunk()
	}
	return out
}

// trunkRise is the height of the trunk's wall, mm: from the seal plane down to
// the trunk's foot. A coaming's trunk starts at its top.
func (c *Configuration) trunkRise() float64 {
	if c.Pattern == RaisedCoaming {
		return c.Coaming.Height + c.Receiver.TrunkHeight
	}
	return c.Receiver.TrunkHeight
}

// HasTrunk reports whether the pattern has a trunk through the deck.
func (c *Configuration) HasTrunk() bool { return c.Pattern != BoltedPlate }

// openingInset returns how far the clear opening stands inside R0, mm, and how
// much of that is the trunk's own draft.
func (c *Configuration) openingInset() (inset, trunk float64) {
	v := c.receiverVertices(0, 0)
	inset = -v[len(v)-1].At.N
	if c.HasTrunk() {
		trunk = v[len(v)-2].At.N - v[len(v)-1].At.N
	}
	return inset, trunk
}

// lidFace returns the lid's molded outer face at the top of the lid: its offset
// from R0 and its depth, mm, and the height of its wall down to the trim line.
//
//	flush-ledge     n = -g, z = 0, h = D - s
//	flush-gutter    n = -g, z = 0, h = D + K - clearance over the floor
//	raised-coaming  the skirt goes over the coaming: at its top the inside of the
//	                skirt clears the coaming's wall by g, and the laminate is
//	                outside that; the top is panel and seal above the coaming
//	                z = -(B + s + t_p), h = s + t_p + V
//	                n = -B tan f_r + g + t_l + (z + B) tan f_l
//	bolted-plate    n = 0, z = -t_p, h = t_p
func (c *Configuration) lidFace(t Thicknesses) (n, z, h float64) {
	switch c.Pattern {
	case FlushGutter:
		return -c.Lid.Gap, 0, c.Receiver.RecessDepth + c.Gutter.Depth - c.Gutter.SkirtClearance
	case RaisedCoaming:
		above := c.Seal.Compressed() + t.Panel
		n = -c.Coaming.Height*tan(c.Receiver.Draft) + c.Lid.Gap + t.Skirt - above*tan(c.Lid.Draft)
		return n, -(c.Coaming.Height + above), above + c.Coaming.Overlap
	case BoltedPlate:
		return 0, -t.Panel, t.Panel
	}
	return -c.Lid.Gap, 0, c.Receiver.RecessDepth - c.Seal.Compressed()
}

// lidVertices returns the lid's section about R0, from the flat of its top to the
// trim line, or further: down to wall mm below the top and pastRim outward there,
// over a rim of the given radius.
//
//	(n - tangent, z) → (n, z) r_t → (n + h tan f_l, z + h)
func (c *Configuration) lidVertices(t Thicknesses, wall, pastRim, rimRadius float64) []profile.Vertex {
	n, z, _ := c.lidFace(t)
	leg := c.Lid.EdgeRadius*tangent(90+c.Lid.Draft) + ringLeg
	foot := profile.Point{N: n + wall*tan(c.Lid.Draft), Z: z + wall}
	out := []profile.Vertex{
		{At: profile.Point{N: n - leg, Z: z}, Corner: LidFlat},
		{At: profile.Point{N: n, Z: z}, Radius: c.Lid.EdgeRadius, Name: atTop, Leg: LidTop, Corner: LidEdge},
		{At: foot, Leg: Skirt, Corner: SkirtFoot},
	}
	if pastRim > 0 {
		out[2].Radius = rimRadius
		out = append(out, profile.Vertex{At: profile.Point{N: foot.N + pastRim, Z: foot.Z}, Leg: Rim, Corner: RimEnd})
	}
	return out
}

// recessOutline solves R0 from the customer's outline, by the size basis.
func recessOutline(c *Configuration, o outline.Outline, t Thicknesses) (outline.Outline, error) {
	d := 0.0
	switch c.SizeBasis {
	case BasisLid:
		n, _, _ := c.lidFace(t)
		d = -n
	case BasisClearOpening:
		d, _ = c.openingInset()
	case BasisDeckCutout:
		d = -c.cutoutOffset(t)
	}
	if d == 0 {
		return o, nil
	}
	return o.Offset(d)
}

// cutoutOffset returns where the deck is cut, outward from R0, mm: the receiver's
// laminate and the fitting clearance outside the mold's face. A bolted plate's
// ring lies flat on the deck, which is cut to the opening.
func (c *Configuration) cutoutOffset(t Thicknesses) float64 {
	if c.Pattern == BoltedPlate {
		return -c.Plate.Overlap + c.Receiver.FittingClearance
	}
	return t.Receiver + c.Receiver.FittingClearance
}

// insetPointers are the figures that make the opening smaller inside R0.
func (c *Configuration) insetPointers() []string {
	switch c.Pattern {
	case FlushGutter:
		return []string{"/gutter/width", "/gutter/upstand_width", "/receiver/draft_deg", "/receiver/trunk_draft_deg"}
	case RaisedCoaming:
		return []string{"/coaming/top_width", "/receiver/draft_deg", "/receiver/trunk_draft_deg"}
	case BoltedPlate:
		return []string{"/plate/overlap"}
	}
	return []string{"/receiver/ledge_width", "/receiver/trunk_draft_deg", "/receiver/draft_deg"}
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
	face, _, _ := c.lidFace(t)
	if out.Lid, err = r0.Offset(face); err != nil {
		list = append(list, collapsed("lid.gap_too_wide", "/lid/gap", c.Lid.Gap, err, finding.Seek("/lid/gap", quantity.Down)))
	}
	inset, trunk := c.openingInset()
	narrow := c.insetPointers()
	mends := func() []finding.Mend {
		var out []finding.Mend
		for _, p := range narrow {
			out = append(out, finding.Seek(p, quantity.Down))
		}
		for _, p := range c.SizePointers() {
			out = append(out, finding.Seek(p, quantity.Up))
		}
		return out
	}
	foot, err := r0.Offset(-inset)
	if err != nil {
		measured, _ := c.Number(narrow[0])
		list = append(list, collapsed(tooWide[c.Pattern], narrow[0], measured, err, mends()...))
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
	if out.DeckCutout, err = r0.Offset(c.cutoutOffset(t)); err != nil {
		list = append(list, collapsed("receiver.cutout_collapses", "/receiver/fitting_clearance", r.FittingClearance, err))
	}
	return out, rounded, list
}

// tooWide are the codes for an opening that closes, by pattern.
var tooWide = map[Pattern]string{
	FlushLedge: "receiver.ledge_too_wide", FlushGutter: "gutter.too_wide", RaisedCoaming: "coaming.too_wide", BoltedPlate: "plate.overlap_too_wide",
}

// radiusSlack is how far below a limit a radius may lie and still count as on
// it, mm: well above what offsets lose in float64, far below what a shop measures.
const radiusSlack = 1e-6

// SizePointers lists the plan figures that make the hatch larger: those that its
// shape uses. A polygon has none.
func (c *Configuration) SizePointers() []string {
	var out []string
	for _, p := range [...]string{"/outline/length", "/outline/width", "/outline/diameter", "/outline/width_aft", "/outline/width_fwd"} {
		if At(p).Used(c) {
			out = append(out, p)
		}
	}
	return out
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
		f := collapsed("receiver.cutout_too_small", "/outline", c.cutoutOffset(t), err)
		for _, p := range c.SizePointers() {
			f.Mends = append(f.Mends, finding.Seek(p, quantity.Up))
		}
		return g, append(list, f)
	}
	g.Stage = StageRecess
	out, rounded, faults := outlines(c, r0, t)
	g.Outlines, g.TrunkRounded = out, rounded
	list = append(list, faults...)

	g.SealThickness = c.Seal.Compressed()
	_, _, g.SkirtHeight = c.lidFace(t)
	if g.SkirtHeight <= 0 {
		list = append(list, noSkirt(c, g))
	}
	if len(list) > 0 {
		return g, list
	}
	g.Stage = StageOutlines
	if g.ReceiverProfile, err = profile.New(c.receiverVertices(0, 0)); err != nil {
		f := radiusFault(err)
		for _, p := range c.roomFor(f.Pointer) {
			f.Mends = append(f.Mends, finding.Seek(p, quantity.Up))
		}
		list = append(list, f)
	}
	if g.LidProfile, err = profile.New(c.lidVertices(t, g.SkirtHeight, 0, 0)); err != nil {
		f := radiusFault(err)
		for _, p := range c.skirtPointers() {
			f.Mends = append(f.Mends, finding.Seek(p, quantity.Up))
		}
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

// skirtPointers are the figures that make the lid's wall higher.
func (c *Configuration) skirtPointers() []string {
	switch c.Pattern {
	case FlushGutter:
		return []string{"/receiver/recess_depth", "/gutter/depth"}
	case RaisedCoaming:
		return []string{"/coaming/overlap"}
	case BoltedPlate:
		return nil
	}
	return []string{"/receiver/recess_depth"}
}

// roomFor are the figures that make room for a radius of the receiver.
func (c *Configuration) roomFor(radius string) []string {
	var out []string
	if radius == atEdge {
		out = append(out, "/receiver/flange_width")
	}
	switch c.Pattern {
	case FlushGutter:
		switch radius {
		case atRoot:
			out = append(out, "/gutter/width", "/gutter/depth")
		case atLip:
			out = append(out, "/gutter/upstand_width", "/gutter/depth", "/receiver/trunk_height")
		default:
			out = append(out, "/receiver/recess_depth")
		}
	case RaisedCoaming:
		out = append(out, "/coaming/height")
		if radius == atLip {
			out = append(out, "/coaming/top_width")
		}
	default:
		if radius == atRoot || radius == atEdge {
			out = append(out, "/receiver/recess_depth")
		}
		if radius == atRoot || radius == atLip {
			out = append(out, "/receiver/ledge_width")
		}
		if radius == atLip {
			out = append(out, "/receiver/trunk_height")
		}
	}
	return out
}

func noSkirt(c *Configuration, g Geometry) finding.Finding {
	f := finding.Finding{Code: "lid.no_skirt", Severity: finding.Error, Pointer: "/seal/thickness",
		Measured: quantity.Length(g.SealThickness), Limit: quantity.Length(c.Receiver.RecessDepth), Source: "geometry: h = D - s",
		Mends: []finding.Mend{finding.Seek("/receiver/recess_depth", quantity.Up), finding.Seek("/seal/thickness", quantity.Down), finding.Seek("/seal/compression", quantity.Up)}}
	if c.Pattern == FlushGutter {
		f.Pointer, f.Measured, f.Limit = "/gutter/skirt_clearance", quantity.Length(c.Gutter.SkirtClearance), quantity.Length(c.Receiver.RecessDepth+c.Gutter.Depth)
		f.Mends = []finding.Mend{finding.Seek("/gutter/skirt_clearance", quantity.Down), finding.Seek("/gutter/depth", quantity.Up)}
		return f.Say("A clearance of %v over the gutter's floor leaves no skirt in a recess and gutter %v deep together.", f.Measured, f.Limit)
	}
	return f.Say("The compressed seal, %v, fills the whole recess of %v: no height is left for the lid's skirt.", f.Measured, f.Limit)
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
	v := c.receiverVertices(pastFlange, pastTrunk)
	if !g.TrunkRounded {
		p, err := profile.New(v)
		if err != nil {
			return Surface{}, err
		}
		return sweep(Band{g.Outlines.Recess, p})
	}
	// Cut the section on the flat before the trunk's upper corner.
	corner, lip, foot := v[len(v)-3], v[len(v)-2], v[len(v)-1]
	before := v[len(v)-4].At
	cut := profile.Point{N: corner.At.N - corner.Radius*tangent(turn(before, corner.At, lip.At)) - ringLeg, Z: corner.At.Z}
	upper, err := profile.New(append(append([]profile.Vertex{}, v[:len(v)-2]...), profile.Vertex{At: cut, Leg: lip.Leg}))
	if err != nil {
		return Surface{}, err
	}
	leg := lip.Radius*tangent(turn(corner.At, lip.At, foot.At)) + ringLeg
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
	top, err := g.Outlines.Recess.Offset(v[0].At.N)
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
