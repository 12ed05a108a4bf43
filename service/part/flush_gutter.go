package part

import (
	"math"
	"slices"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

// flushGutter is a lid in a recess with a gutter round it, the panel's underside on an
// upstand. The wall runs down to the gutter's floor, K below the seal plane, and the
// upstand comes up again to the seal plane.
//
//	(F, 0) → (0, 0) r_e → (-(D+K) tan f_r, D+K) r_r → (…- G, D+K) r_r → (…- K tan f_r, D) r_l → (…- U, D) r_l → foot
//	lid      n = -g, z = 0, h = D + K - clearance over the floor
type flushGutter struct{}

func (flushGutter) name() Pattern { return FlushGutter }

func (flushGutter) figures() []string {
	return []string{"/receiver/recess_depth", "/receiver/trunk_height", "/receiver/edge_radius", "/receiver/root_radius", "/receiver/lip_radius",
		"/receiver/draft_deg", "/receiver/trunk_draft_deg", "/lid/gap", "/lid/least_gap", "/lid/draft_deg",
		"/gutter/width", "/gutter/depth", "/gutter/upstand_width", "/gutter/skirt_clearance", "/gutter/drain_count", "/gutter/drain_diameter", "/gutter/rain_intensity", "/gutter/catchment",
		"/seal/thickness", "/seal/width", "/seal/compression"}
}

// The panel's underside presses the seal on the upstand:
//
//	D = t_p + s
func (flushGutter) complete(c *Configuration, r Request, s Shop) {
	if !r.Has("/receiver/recess_depth") && s.Panel != nil {
		c.Receiver.RecessDepth = c.step(At("/receiver/recess_depth"), s.Panel(c)+c.Seal.Compressed())
	}
}

func (p flushGutter) receiver(c *Configuration, s *section) {
	r, k := c.Receiver, c.Gutter
	deep := r.RecessDepth + k.Depth
	s.flange(r.EdgeRadius, Edge)
	s.add(-deep*tan(r.Draft), deep, r.RootRadius, atRoot, Wall, FloorOuter)
	s.add(-k.Width, 0, r.RootRadius, atRoot, GutterFloor, FloorInner)
	s.add(-k.Depth*tan(r.Draft), -k.Depth, r.LipRadius, atLip, Upstand, UpstandTop)
	s.add(-k.UpstandWidth, 0, r.LipRadius, atLip, UpstandSeat, Lip)
	s.trunk(p.trunkRise(c), r.TrunkDraft)
}

func (flushGutter) trunkRise(c *Configuration) float64 { return c.Receiver.TrunkHeight }
func (flushGutter) wall(c *Configuration) float64      { return c.Receiver.RecessDepth }
func (flushGutter) depthBelow(c *Configuration) float64 {
	return c.Receiver.RecessDepth + math.Max(c.Receiver.TrunkHeight, c.Gutter.Depth)
}
func (flushGutter) cutout(c *Configuration, t Thicknesses) float64 { return outsideLaminate(c, t) }

func (flushGutter) lidFace(c *Configuration, _ Thicknesses) (n, z, h float64) {
	return -c.Lid.Gap, 0, c.Receiver.RecessDepth + c.Gutter.Depth - c.Gutter.SkirtClearance
}

func (flushGutter) gapEaten(c *Configuration) float64 {
	return flushGapEaten(c, c.Gutter.SkirtClearance)
}

func (flushGutter) captions() Captions {
	return Captions{"recess, at the deck", "lid, at the deck", "trunk, at the seal plane", "clear opening, trunk's foot"}
}

func (flushGutter) narrows() ([]string, string) {
	return []string{"/gutter/width", "/gutter/upstand_width", "/receiver/draft_deg", "/receiver/trunk_draft_deg"}, "gutter.too_wide"
}

func (flushGutter) heightens() []string { return []string{"/receiver/recess_depth", "/gutter/depth"} }

func (flushGutter) makesRoom(radius string) []string {
	switch radius {
	case atEdge:
		return []string{"/receiver/flange_width", "/receiver/recess_depth"}
	case atRoot:
		return []string{"/gutter/width", "/gutter/depth"}
	case atLip:
		return []string{"/gutter/upstand_width", "/gutter/depth", "/receiver/trunk_height"}
	}
	return []string{"/receiver/recess_depth"}
}

func (flushGutter) seatWidth() string { return "/gutter/upstand_width" }

func (flushGutter) noSkirt(c *Configuration, _ Geometry) finding.Finding {
	clear, room := quantity.Length(c.Gutter.SkirtClearance), quantity.Length(c.Receiver.RecessDepth+c.Gutter.Depth)
	return finding.Finding{Code: "lid.no_skirt", Severity: finding.Error, Pointer: "/gutter/skirt_clearance",
		Measured: clear, Limit: room, Source: "geometry: h = D - s",
		Mends: []finding.Mend{finding.Seek("/gutter/skirt_clearance", quantity.Down), finding.Seek("/gutter/depth", quantity.Up)},
	}.Say("A clearance of %v over the gutter's floor leaves no skirt in a recess and gutter %v deep together.", clear, room)
}

// The skirt has two sides to clear: the recess wall outside and the upstand inside.
func (flushGutter) fit(c *Configuration, g Geometry) (Fit, error) {
	deep, h := c.Receiver.RecessDepth, g.SkirtHeight
	f := flushGaps(c, g)
	v := corners(g.ReceiverProfile.Vertices())
	wall, err := v.stretch(FlangeEnd, FloorInner) // down to the floor, past the root
	if err != nil {
		return f, err
	}
	if f.LeastClearance, f.LeastClearanceAt, err = profile.LeastHorizontalClearance(wall, g.LidProfile, 0, h); err != nil || h <= deep {
		return f, err
	}
	skirt, err := skirtInside(c, g, 0, h)
	if err != nil {
		return f, err
	}
	upstand, err := v.stretch(FloorOuter, Lip)
	if err != nil {
		return f, err
	}
	inside, at, err := profile.LeastHorizontalClearance(skirt, upstand, deep, h)
	if err == nil && inside < f.LeastClearance {
		f.LeastClearance, f.LeastClearanceAt, f.Inside = inside, at, true
	}
	return f, err
}

func (flushGutter) jams(f Fit) (string, float64) {
	if f.Inside {
		return "The lid's skirt does not clear the upstand inside it: %v is left at %v below the deck, %v is asked for. Gap, skirt and clearance must fit in the gutter.", f.LeastClearanceAt
	}
	return flushJams, f.LeastClearanceAt
}

func (flushGutter) widens(f Fit) (up, down []string) {
	if f.Inside {
		return []string{"/gutter/width", "/gutter/skirt_clearance"}, []string{"/lid/gap", atRoot}
	}
	return []string{"/lid/gap", "/gutter/skirt_clearance"}, []string{atRoot, "/lid/draft_deg", "/receiver/draft_deg"}
}

func (flushGutter) rules(c *Configuration, g *Geometry, t Thicknesses, s Sizes) []finding.Finding {
	return slices.Concat(ruleClearance(c, g), ruleSeat(c, g), ruleCompression(c),
		ruleReceiver(c, g, t, s), rulePlug(c), ruleDrafts(c, g), ruleGutter(c, g))
}

// Drain is what a gutter's drains do.
type Drain struct {
	FlowEach     float64 // of one drain with the gutter full, L/min
	Inflow       float64 // rain on lid and catchment, L/min
	FlowRatio    float64 // all drains over inflow
	GutterArea   float64 // plan area of the floor, mm2
	GutterVolume float64 // floor area × depth, L
	EmptySeconds float64 // from full, no rain
}

// Figures of the drains.
const (
	// gravity is the standard acceleration, mm/s2 (ISO 80000-3).
	gravity = 9806.65
	// discharge is Cd of a sharp-edged orifice: 0.60 to 0.62 in published
	// experiments; a short tube running full has 0.80, not counted on here.
	discharge = 0.61
	// flowRatioAsked is how much more the drains must carry than rain brings (shop
	// rule: green water and a hose bring far more than rain).
	flowRatioAsked = 2.0
	// emptyAsked is how fast a full gutter must empty, s (common practice).
	emptyAsked = 60.0
	// floorClearance is the least room under the lid's skirt, mm (shop rule).
	floorClearance = 5.0
	// layWidth is the least width that glass is laid in by hand, mm (common
	// practice, no source); narrower channels are filled solid.
	layWidth = 25.0

	mm3PerLiter = 1e6
)

// UpstandFilled reports whether a gutter's upstand is too narrow to lay glass in and is
// filled solid, as a finding says.
func (c *Configuration) UpstandFilled() bool {
	return c.HasLeg(UpstandSeat) && c.Gutter.UpstandWidth < layWidth-measureSlack
}

// OrificeFlow returns the flow of a drain of bore d under a head h, both mm, in
// L/min:
//
//	Q = Cd (π d²/4) sqrt(2 g h)
//
// Source: standard orifice equation, e.g. Encyclopaedia Britannica 11th ed.,
// "Hydraulics"; free discharge, h above the drain, which stands in the floor.
func OrificeFlow(d, h float64) float64 {
	return discharge * math.Pi * d * d / 4 * math.Sqrt(2*gravity*h) * 60 / mm3PerLiter
}

// EmptyingTime returns how long drains of the given total bore area take to empty
// a channel of floor area a, both mm2, from depth h, mm, in s:
//
//	t = (A / (Cd a_d)) sqrt(2 h / g)
//
// constant section, from h to 0.
func EmptyingTime(a, drains, h float64) float64 {
	return a / (discharge * drains) * math.Sqrt(2*h/gravity)
}

// drainage works out the drains of a gutter whose outlines stand.
func drainage(c *Configuration, g *Geometry) (*Drain, error) {
	k := c.Gutter
	outer, err := g.Outlines.Recess.AreaAt(g.Corner(FloorOuter).N)
	if err != nil {
		return nil, err
	}
	inner, err := g.Outlines.Recess.AreaAt(g.Corner(FloorInner).N)
	if err != nil {
		return nil, err
	}
	var catch outline.Outline
	if catch, err = g.Outlines.Recess.Offset(k.Catchment); err != nil {
		return nil, err
	}
	d := &Drain{GutterArea: outer - inner}
	d.GutterVolume = d.GutterArea * k.Depth / mm3PerLiter
	d.FlowEach = OrificeFlow(k.DrainDiameter, k.Depth)
	// 1 mm of rain on 1 mm2 in 1 h is 1 mm3/h.
	d.Inflow = k.RainIntensity * catch.Area() / 60 / mm3PerLiter
	d.FlowRatio = math.Inf(1)
	if d.Inflow > 0 {
		d.FlowRatio = k.DrainCount * d.FlowEach / d.Inflow
	}
	d.EmptySeconds = EmptyingTime(d.GutterArea, k.DrainCount*math.Pi*k.DrainDiameter*k.DrainDiameter/4, k.Depth)
	return d, nil
}

// ruleGutter rules on channel, skirt, seal and drains of a flush-gutter hatch.
func ruleGutter(c *Configuration, g *Geometry) []finding.Finding {
	var list []finding.Finding
	k := c.Gutter
	if k.SkirtClearance < floorClearance-measureSlack {
		list = append(list, finding.Finding{
			Code: "gutter.skirt_on_floor", Severity: finding.Error, Pointer: "/gutter/skirt_clearance",
			Measured: quantity.Length(k.SkirtClearance), Limit: quantity.Length(floorClearance), Source: "shop rule: dirt and water pass under the skirt",
			Mends: []finding.Mend{finding.AtLeast("/gutter/skirt_clearance", quantity.Length(floorClearance))},
		}.Say("The lid's skirt hangs %v over the gutter's floor; %v must stay clear.", quantity.Length(k.SkirtClearance), quantity.Length(floorClearance)))
	}
	for _, w := range []struct {
		pointer, what string
		width         float64
	}{{"/gutter/width", "gutter", k.Width}, {"/gutter/upstand_width", "upstand", k.UpstandWidth}} {
		if w.width < layWidth-measureSlack {
			list = append(list, finding.Finding{
				Code: "gutter.narrow_for_glass", Severity: finding.Caution, Pointer: w.pointer,
				Measured: quantity.Length(w.width), Limit: quantity.Length(layWidth), Source: commonPractice,
				Mends: []finding.Mend{finding.AtLeast(w.pointer, quantity.Length(layWidth))},
			}.Say("A %s of %v is too narrow to lay glass in by hand; below %v it is filled solid.", w.what, quantity.Length(w.width), quantity.Length(layWidth)))
		}
	}
	list = append(list, ruleSealSeat(c, g)...)

	floor := k.Width - 2*corners(g.ReceiverProfile.Vertices()).tangentAt(FloorOuter)
	if k.DrainDiameter > floor+measureSlack {
		f := finding.Finding{
			Code: "gutter.drain_too_wide", Severity: finding.Error, Pointer: "/gutter/drain_diameter",
			Measured: quantity.Length(k.DrainDiameter), Limit: quantity.Length(math.Max(floor, 0)), Source: "geometry: the drain stands in the floor's flat",
			Mends: []finding.Mend{finding.Seek("/gutter/width", quantity.Up), finding.Seek(atRoot, quantity.Down)},
		}.Say("A drain of %v does not fit the gutter's floor, %v flat between its radii.", quantity.Length(k.DrainDiameter), quantity.Length(math.Max(floor, 0)))
		if floor > 0 {
			f.Mends = append(f.Mends, finding.AtMost("/gutter/drain_diameter", quantity.Length(floor)))
		}
		list = append(list, f)
	}
	d, err := drainage(c, g)
	if err != nil {
		return append(list, collapsed("gutter.too_wide", "/gutter/width", k.Width, err, finding.Seek("/gutter/width", quantity.Down)))
	}
	g.Drain = d
	more := []finding.Mend{finding.Seek("/gutter/drain_count", quantity.Up), finding.Seek("/gutter/drain_diameter", quantity.Up)}
	if d.FlowRatio < flowRatioAsked-ratioSlack {
		list = append(list, finding.Finding{
			Code: "gutter.drains_too_small", Severity: finding.Error, Pointer: "/gutter/drain_diameter",
			Measured: quantity.Of(d.FlowRatio, quantity.Ratio), Limit: quantity.Of(flowRatioAsked, quantity.Ratio), Mends: append(more, finding.Seek("/gutter/depth", quantity.Up)),
			Source: "orifice flow with Cd 0.61; shop rule: twice the rain",
		}.Say("%v drains of %v carry %v times the rain that falls on lid and catchment; %v times is asked for, or water comes over the upstand.",
			quantity.Of(k.DrainCount, quantity.Count), quantity.Length(k.DrainDiameter), quantity.Of(d.FlowRatio, quantity.Ratio), quantity.Of(flowRatioAsked, quantity.Ratio)))
	}
	if d.EmptySeconds > emptyAsked+ratioSlack {
		list = append(list, finding.Finding{
			Code: "gutter.empties_slowly", Severity: finding.Caution, Pointer: "/gutter/drain_diameter",
			Measured: quantity.Of(d.EmptySeconds, quantity.Second), Limit: quantity.Of(emptyAsked, quantity.Second), Mends: more,
			Source: "emptying time of a constant section; the limit is common practice, no published source",
		}.Say("A full gutter takes %v to empty; %v is the aim.", quantity.Of(d.EmptySeconds, quantity.Second), quantity.Of(emptyAsked, quantity.Second)))
	}
	return list
}

// ruleSealSeat rules on a seal that the panel's underside presses: the room left
// for it is the recess depth less the panel.
//
//	compression = 1 - (D - t_p)/free thickness
func ruleSealSeat(c *Configuration, g *Geometry) []finding.Finding {
	room := c.Receiver.RecessDepth - g.Thicknesses.Panel
	pressed := math.Inf(1)
	if c.Seal.Thickness > 0 {
		pressed = 1 - room/c.Seal.Thickness
	}
	if math.Abs(pressed-c.Seal.Compression) <= compressionSlack {
		return nil
	}
	right := g.Thicknesses.Panel + c.Seal.Compressed()
	mend := finding.AtMost("/receiver/recess_depth", quantity.Length(right))
	severity := finding.Caution
	message := "The panel's underside leaves %v for a seal %v thick: it is pressed otherwise than asked for; a recess of %v would press it right."
	if room > right {
		if room > c.Seal.Thickness-measureSlack {
			severity, message = finding.Error, "The panel's underside leaves %v over the upstand: a seal %v thick is not even touched; a recess of %v would press it right."
		}
	} else {
		mend = finding.AtLeast("/receiver/recess_depth", quantity.Length(right))
		if room < measureSlack {
			severity, message = finding.Error, "The panel's underside leaves %v over the upstand for a seal %v thick: the lid stands proud; a recess of %v would press it right."
		}
	}
	return []finding.Finding{finding.Finding{
		Code: "seal.seat_depth", Severity: severity, Pointer: "/receiver/recess_depth",
		Measured: quantity.Length(room), Limit: quantity.Length(c.Seal.Compressed()), Mends: []finding.Mend{mend},
		Source: "geometry: recess depth = panel + compressed seal",
	}.Say(message, quantity.Length(room), quantity.Length(c.Seal.Thickness), quantity.Length(right))}
}

// compressionSlack is how far a seal may be pressed off what was asked for, share
// of its thickness: a tenth of a millimeter on the usual 6 mm seal is 0.017, less
// than any mold holds.
const compressionSlack = 0.02
