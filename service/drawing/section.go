package drawing

import (
	"fmt"
	"math"

	"hatchwright/service/derivation"
	"hatchwright/service/model3d"
	"hatchwright/service/part"
	"hatchwright/service/profile"
)

// cut is a hatch cut across an edge: the closed sections of what is there, mm in
// (n, z).
type cut struct {
	receiver, back profile.Profile // the mold's face and the laminate's other face
	lid            profile.Profile // face
	pan            []profile.Segment

	c *part.Configuration
	g *part.Geometry

	skin, panel, skirt float64 // lid: outer skin, whole panel, plies without core
	shell              float64 // receiver laminate
	coreEdge           float64 // n where the core begins; the panel has it inside
	cored              bool
	core               float64 // thickness, 0: none
	foot               float64 // n of the skirt's outer foot
	sealAt             float64 // n of the seal's middle
	deckEdge           float64 // n of the deck's cut
}

// cutAcross cuts the result between n = from and to, mm, the trunk down to depth.
// The receiver ends on the ledge where from does not reach the lip.
func cutAcross(r *derivation.Result, from, to, depth float64) (cut, error) {
	k := cut{c: &r.Configuration, g: &r.Geometry}
	k.skin, k.panel, k.skirt = r.Lid.Stack.OuterThickness(), r.Lid.Thickness, r.Lid.SkirtThickness
	k.shell = r.Receiver.SkirtThickness
	if r.Lid.Core != nil {
		k.core = r.Lid.Core.Thickness
	}

	lip := k.g.Corner(part.Lip)
	trunk := from <= lip.N-r.Configuration.Receiver.LipRadius-1
	var path []profile.Vertex
	for _, v := range k.g.ReceiverProfile.Vertices() {
		switch v.Corner {
		case part.FlangeEnd:
			v.At.N = to
		case part.Lip:
			if !trunk {
				v.At.N, v.Radius = from, 0
			}
		case part.TrunkFoot:
			if !trunk {
				continue
			}
			t := (depth - lip.Z) / (v.At.Z - lip.Z)
			v.At = profile.Point{N: lip.N + (v.At.N-lip.N)*t, Z: depth}
		}
		path = append(path, v)
	}
	var err error
	if k.receiver, err = profile.New(path); err != nil {
		return k, fmt.Errorf("receiver: %w", err)
	}
	if k.back, err = model3d.Thicken(k.receiver, -k.shell); err != nil {
		return k, fmt.Errorf("receiver's back: %w", err)
	}
	if k.lid, err = model3d.LidFace(r, from); err != nil {
		return k, err
	}
	if k.pan, err = model3d.LidSection(r, from); err != nil {
		return k, err
	}
	k.foot = k.g.Corner(part.SkirtFoot).N
	k.coreEdge, k.cored = model3d.CoreEdge(r)
	k.deckEdge = k.g.DeckCut(k.c)
	k.sealAt = k.seal()
	return k, nil
}

// seal places the seal's middle under the skirt's foot, on the ledge's flat.
func (k *cut) seal() float64 {
	outer, inner := k.flat()
	half := k.c.Seal.Width / 2
	at := k.foot - (k.skirt+k.c.Lid.LandWidth)/2
	return math.Max(math.Min(at, outer-half), inner+half)
}

// flat returns n of the ledge's flat: its ends at the root's and the lip's
// tangent points.
func (k *cut) flat() (outer, inner float64) {
	p := k.g.ReceiverProfile
	outer, inner = k.g.Corner(part.Root).N, k.g.Corner(part.Lip).N
	if root, ok := p.Arc(part.Root); ok {
		outer = root.To.N
	}
	if lip, ok := p.Arc(part.Lip); ok {
		inner = lip.From.N
	}
	return outer, inner
}

// draw puts the sections on the sheet. from and to are n where the lid and the
// flange are broken off; deckTo where the deck is.
func (k *cut) draw(s *Sheet, v View, from, deckTo float64) {
	c, g := k.c, k.g
	// Deck: under the flange.
	top := k.shell
	s.deck(v, k.deckEdge, deckTo, top, c.Deck.Thickness)
	s.breakLine(v.At(deckTo, top-1), v.At(deckTo, top+c.Deck.Thickness+1))

	// Receiver.
	s.shell(v, k.receiver, k.back)

	// Seal, compressed.
	half := c.Seal.Width / 2
	s.Fill(v.Box(k.sealAt-half, g.SkirtHeight, k.sealAt+half, c.Receiver.RecessDepth), 170, Thin)

	// Lid.
	under := k.skirt
	var core Path
	if k.hasCore(from) {
		under, core = k.panel, v.Box(from, k.skin, k.coreEdge, k.skin+k.core)
	}
	s.pan(v, k.pan, core)
	s.breakLine(v.At(from, -1), v.At(from, under+1))
}

// deck hatches the deck from its cut outward and draws all its edges but the one
// where it is broken off.
func (s *Sheet) deck(v View, cut, to, top, thick float64) {
	s.Hatch(v.Box(cut, top, to, top+thick), 0, 1.6, Hair)
	s.Ink(Polyline(v.At(to, top), v.At(cut, top), v.At(cut, top+thick), v.At(to, top+thick)), Medium, Solid)
}

// shell draws a laminate between its face and its back.
func (s *Sheet) shell(v View, face, back profile.Profile) {
	var p Path
	v.profile(&p, face.Segments())
	v.profile(&p, model3d.Reversed(back.Segments()))
	p.Close()
	s.Fill(p, White, 0)
	s.Hatch(p, 45, 1, Hair)
	s.Ink(p, Medium, Solid)
}

// pan draws the lid's section, with its core where there is one.
func (s *Sheet) pan(v View, section []profile.Segment, core Path) {
	var p Path
	v.profile(&p, section)
	p.Close()
	s.Fill(p, White, 0)
	s.Hatch(p, -45, 1, Hair)
	if len(core.steps) > 0 {
		s.Fill(core, White, 0)
		s.Hatch(core, 45, 2.6, Hair)
		s.Hatch(core, -45, 2.6, Hair)
		s.Ink(core, Thin, Solid)
	}
	s.Ink(p, Medium, Solid)
}

// breakLine covers an edge where a section is broken off and draws the zigzag of
// a break.
func (s *Sheet) breakLine(a, b Point) {
	s.Ink(Polyline(a, b), Medium+0.25, Solid)
	last := len(s.items) - 1
	s.items[last].stroke = Stroke{}
	s.items[last].fill = NoFill
	v := b.sub(a)
	l := v.norm()
	u := v.times(1 / l)
	n := Point{-u.Y, u.X}
	m := a.toward(u, l/2)
	pad := 0.45
	s.Fill(Polygon(a.toward(n, pad), b.toward(n, pad), b.toward(n, -pad), a.toward(n, -pad)), White, 0)
	s.Ink(Polyline(a.toward(u, -1), m.toward(u, -1.2), m.toward(u, -0.5).toward(n, 1.3), m.toward(u, 0.5).toward(n, -1.3), m.toward(u, 1.2), b.toward(u, 1)), Thin, Solid)
}

// onArc returns the point the part t along the arc that rounds a corner of a section.
func onArc(p profile.Profile, corner profile.Mark, t float64) (profile.Point, bool) {
	s, ok := p.Arc(corner)
	return s.At(t), ok
}

// onLeg returns the point the part t along what rounding leaves of a leg; the leg's
// end where nothing is left.
func onLeg(p profile.Profile, leg profile.Mark, t float64) profile.Point {
	if s, ok := p.Line(leg); ok {
		return s.At(t)
	}
	_, to, _ := p.Leg(leg)
	return to.At
}

// section draws the hatch cut across an edge, closed, with its heights, widths
// and thicknesses.
func section(req Request) (Drawing, error) {
	s := Sheet{Paper: req.paper()}
	d := Drawing{Title: "Section"}
	r := s.room()
	c := &req.Result.Configuration
	g := &req.Result.Geometry
	rc := c.Receiver
	depth := rc.RecessDepth + rc.TrunkHeight
	trunk := g.Corner(part.TrunkFoot).N
	shell := req.Result.Receiver.SkirtThickness

	const (
		leftDims  = 22.0 // of the heights, left of the view
		wellText  = 52.0 // for notes within the well
		rightText = 62.0 // for notes right of the deck
		topRoom   = 34.0 // notes and dimensions above
		lowRoom   = 20.0 // dimensions below
		deckPast  = 12.0 // of deck beyond the flange, mm of paper
	)
	high := math.Max(depth, shell+c.Deck.Thickness)
	core := -(c.Lid.Gap + part.CoreSetback)
	fits := func(k Scale) (from float64, ok bool) {
		f := float64(k)
		from = math.Min(trunk-wellText/f, core-14/f)
		w := (rc.FlangeWidth-from)*f + deckPast
		return from, w <= r.x1-r.x0-leftDims-rightText && high*f <= r.y1-r.y0-topRoom-lowRoom
	}
	scale := scales[len(scales)-1]
	for _, k := range scales {
		if _, ok := fits(k); ok && k <= 5 {
			scale = k
			break
		}
	}
	from, _ := fits(scale)
	f := float64(scale)
	deckTo := rc.FlangeWidth + deckPast/f
	k, err := cutAcross(req.Result, from, rc.FlangeWidth, depth)
	if err != nil {
		return d, err
	}
	spareX := r.x1 - r.x0 - leftDims - rightText - (deckTo-from)*f
	spareY := r.y1 - r.y0 - topRoom - lowRoom - high*f
	v := View{Point{r.x0 + leftDims + spareX/2 - from*f, r.y0 + topRoom + spareY/2}, scale, false}
	k.draw(&s, v, from, deckTo)
	d.shapes = k.shapes(deckTo)

	text := func(mm float64) string { return Length(mm, req.Units) }
	at := func(p profile.Point) Point { return v.At(p.N, p.Z) }
	// Heights, left.
	x0 := v.At(from, 0).X
	lip := g.Corner(part.Lip)
	s.down(v.At(from, 0), v.At(lip.N-1/f, rc.RecessDepth), x0-7, text(rc.RecessDepth))
	s.down(v.At(lip.N-1/f, rc.RecessDepth), v.At(trunk, depth), x0-7, text(rc.TrunkHeight))
	s.down(v.At(from, 0), v.At(trunk, depth), x0-15, text(depth))
	// Widths, below and above.
	yLow := v.At(0, high).Y + 7
	wallFoot := g.Corner(part.Root)
	s.across(v.At(lip.N, depth+1/f), v.At(wallFoot.N, rc.RecessDepth+shell+1/f), yLow, "ledge "+text(rc.LedgeWidth))
	s.across(v.At(0, 0), v.At(rc.FlangeWidth, 0), v.At(0, 0).Y-7, "flange "+text(rc.FlangeWidth))

	// Notes above: lid.
	var above []note
	panel := []string{"lid panel " + text(k.panel)}
	if k.core > 0 {
		panel = append(panel, "core "+text(k.core))
	}
	above = append(above, note{panel, v.At(from+8/f, k.panel/2), true})
	above = append(above, note{[]string{"lid skirt", "laminate " + text(k.skirt)}, at(mid2(onLeg(k.lid, part.Skirt, 0.35), k.skirt/2)), true})
	if p, ok := onArc(k.lid, part.LidEdge, 0.4); ok {
		above = append(above, note{[]string{"lid edge", "R " + text(c.Lid.EdgeRadius)}, at(p), false})
	}
	if p, ok := onArc(k.receiver, part.Edge, 0.35); ok {
		above = append(above, note{[]string{"receiver edge", "R " + text(rc.EdgeRadius)}, at(p), false})
	}
	s.row(v.At(from, 0).X+1, v.At(rc.EdgeRadius/3, 0).X+14, v.At(0, 0).Y-24, above)

	// Notes in the well.
	var well []note
	sealSize := []string{"seal " + text(c.Seal.Width), "× " + text(g.SealThickness), "(free " + text(c.Seal.Thickness) + ")"}
	well = append(well, note{sealSize, v.At(k.sealAt-c.Seal.Width/2+1/f, (g.SkirtHeight+rc.RecessDepth)/2), true})
	if p, ok := onArc(k.receiver, part.Lip, 0.6); ok {
		well = append(well, note{[]string{"lip R " + text(rc.LipRadius)}, at(p), false})
	}
	well = append(well, note{[]string{"trunk draft " + Degrees(rc.TrunkDraft)}, at(onLeg(k.receiver, part.Trunk, 0.5)), false})
	s.column(math.Min(v.At(from, 0).X+wellText-6, v.At(trunk, 0).X-8), v.At(0, math.Max(k.panel, rc.RecessDepth)).Y+2, r.y1-8, true, well)

	// Notes right: receiver and deck.
	var right []note
	right = append(right, note{[]string{"flange bears on the deck"}, v.At((k.deckEdge+rc.FlangeWidth)/2, shell), true})
	right = append(right, note{[]string{"deck " + text(c.Deck.Thickness)}, v.At(rc.FlangeWidth, shell+c.Deck.Thickness*0.4), true})
	right = append(right, note{[]string{"deck cut-out: recess + " + text(k.deckEdge), "(laminate " + text(shell) + ",", "clearance " + text(rc.FittingClearance) + ")"},
		v.At(k.deckEdge, shell+c.Deck.Thickness*0.85), false})
	if p, ok := onArc(k.receiver, part.Root, 0.5); ok {
		right = append(right, note{[]string{"root R " + text(rc.RootRadius)}, at(p), false})
	}
	wallNote := []string{"recess wall draft " + Degrees(rc.Draft), "lid skirt draft " + Degrees(c.Lid.Draft)}
	right = append(right, note{wallNote, at(onLeg(k.receiver, part.Wall, 0.75)), false})
	tw := onLeg(k.receiver, part.Trunk, 0.35)
	right = append(right, note{[]string{"receiver laminate " + text(shell)}, at(profile.Point{N: tw.N + shell/2, Z: tw.Z}), true})
	s.column(v.At(deckTo, 0).X+6, v.At(0, 0).Y-12, yLow-3, false, right)

	s.Put(Label{At: Point{r.x0, r.y1 - 1}, Text: "Section is the same all round. Center of the hatch to the left. The mold's face is the inside of the well and the top of the lid.", Size: Small})
	d.what, d.scale = "Section, hatch closed", scale.String()
	d.Sheets = []Sheet{s}
	return d, nil
}

func mid2(p profile.Point, in float64) profile.Point { return profile.Point{N: p.N - in, Z: p.Z} }

// shapes are the sections in model space for DXF, y up: depth is negative.
func (k *cut) shapes(deckTo float64) []shape {
	box := func(n0, z0, n1, z1 float64) []profile.Segment {
		a, b, c, d := profile.Point{N: n0, Z: z0}, profile.Point{N: n1, Z: z0}, profile.Point{N: n1, Z: z1}, profile.Point{N: n0, Z: z1}
		return []profile.Segment{{From: a, To: b}, {From: b, To: c}, {From: c, To: d}, {From: d, To: a}}
	}
	half, top := k.c.Seal.Width/2, k.shell
	return []shape{
		sectionShape("RECEIVER", between(k.receiver, k.back)),
		sectionShape("LID", closeUp(k.pan)),
		sectionShape("SEAL", box(k.sealAt-half, k.g.SkirtHeight, k.sealAt+half, k.c.Receiver.RecessDepth)),
		sectionShape("DECK", box(k.deckEdge, top, deckTo, top+k.c.Deck.Thickness)),
	}
}

func (k *cut) hasCore(from float64) bool { return k.cored && from < k.coreEdge }

// between is the closed path along a laminate's face and back along its other side.
func between(face, back profile.Profile) []profile.Segment {
	out, b := face.Segments(), model3d.Reversed(back.Segments())
	out = append(out, profile.Segment{From: out[len(out)-1].To, To: b[0].From})
	return closeUp(append(out, b...))
}

// closeUp joins the path's end to its start.
func closeUp(path []profile.Segment) []profile.Segment {
	out := append([]profile.Segment(nil), path...)
	return append(out, profile.Segment{From: path[len(path)-1].To, To: path[0].From})
}

// fit draws the gap, the seal and the radii round them at a larger scale.
func fit(req Request) (Drawing, error) {
	s := Sheet{Paper: req.paper()}
	d := Drawing{Title: "Fit"}
	r := s.room()
	c := &req.Result.Configuration
	g := &req.Result.Geometry
	rc := c.Receiver
	shell, skirt := req.Result.Receiver.SkirtThickness, req.Result.Lid.SkirtThickness
	inner := g.Corner(part.SkirtFoot).N - skirt - c.Lid.LandWidth
	lip := g.Corner(part.Lip)
	const (
		sideText = 64.0
		topRoom  = 26.0
		lowRoom  = 26.0
	)
	span := func(k Scale) (from, to float64) {
		f := float64(k)
		from = math.Min(inner, -(c.Lid.Gap+c.Lid.EdgeRadius*1.2)) - 18/f
		from = math.Min(from, lip.N-2/f)
		return from, rc.EdgeRadius + shell + 14/f
	}
	high := rc.RecessDepth + shell
	scale := scales[len(scales)-1]
	for _, k := range scales {
		from, to := span(k)
		if (to-from)*float64(k) <= r.x1-r.x0-2*sideText && high*float64(k) <= r.y1-r.y0-topRoom-lowRoom {
			scale = k
			break
		}
	}
	f := float64(scale)
	from, to := span(scale)
	depth := rc.RecessDepth + math.Max(rc.LipRadius, shell) + 6/f
	k, err := cutAcross(req.Result, from, to, depth)
	if err != nil {
		return d, err
	}
	spareX := r.x1 - r.x0 - 2*sideText - (to-from)*f
	spareY := r.y1 - r.y0 - topRoom - lowRoom - high*f
	v := View{Point{r.x0 + sideText + spareX/2 - from*f, r.y0 + topRoom + spareY/2}, scale, false}
	k.draw(&s, v, from, to)
	ends := k.receiver.Segments()
	first, last := ends[0].From, ends[len(ends)-1].To
	s.breakLine(v.At(first.N, -1/f), v.At(first.N, shell+1/f))
	if last.Z > rc.RecessDepth {
		s.breakLine(v.At(last.N-1/f, last.Z), v.At(last.N+shell+1/f, last.Z))
	} else {
		s.breakLine(v.At(last.N, last.Z-1/f), v.At(last.N, last.Z+shell+1/f))
	}

	text := func(mm float64) string { return Length(mm, req.Units) }
	at := func(p profile.Point) Point { return v.At(p.N, p.Z) }
	y := v.At(0, 0).Y
	// Above: the gap between the straight walls at the deck, and the lid.
	var above []note
	gapLine := y - 5
	s.across(v.At(-c.Lid.Gap, 0), v.At(0, 0), gapLine, "")
	above = append(above, note{[]string{"gap at deck", text(c.Lid.Gap)}, Point{v.At(-c.Lid.Gap/2, 0).X, gapLine}, true})
	if p, ok := onArc(k.lid, part.LidEdge, 0.3); ok {
		above = append(above, note{[]string{"lid edge", "R " + text(c.Lid.EdgeRadius)}, at(p), false})
	}
	if p, ok := onArc(k.receiver, part.Edge, 0.35); ok {
		above = append(above, note{[]string{"receiver edge", "R " + text(rc.EdgeRadius)}, at(p), false})
	}
	top := k.lid.Segments()[0]
	above = append(above, note{[]string{"lid laminate", "in the skirt " + text(skirt)}, v.At(top.From.N+math.Min(8/f, (top.To.N-top.From.N)/2), skirt/2), true})
	s.row(v.At(from, 0).X+1, r.x1, y-21, above)

	// Left: heights; the seal makes up the recess.
	x0 := v.At(from, 0).X
	s.down(v.At(from, 0), v.At(inner, g.SkirtHeight), x0-6, "skirt "+text(g.SkirtHeight))
	s.down(v.At(from, 0), v.At(math.Max(from, lip.N), rc.RecessDepth), x0-13, "recess "+text(rc.RecessDepth))

	// Below: seal and flat.
	yLow := v.At(0, high).Y + 8
	if last.Z > rc.RecessDepth {
		yLow = v.At(0, last.Z).Y + 8
	}
	outer, flatIn := k.flat()
	s.across(v.At(k.sealAt-c.Seal.Width/2, rc.RecessDepth+shell), v.At(k.sealAt+c.Seal.Width/2, rc.RecessDepth+shell), yLow, "seal "+text(c.Seal.Width))
	s.across(v.At(flatIn, rc.RecessDepth+shell), v.At(outer, rc.RecessDepth+shell), yLow+7, "ledge flat "+text(g.LedgeFlat))

	// Right: the receiver's side.
	least := g.Fit
	lidAt := nAt(k.lid, least.LeastClearanceAt, -c.Lid.Gap)
	s.Ink(Polyline(v.At(lidAt, least.LeastClearanceAt), v.At(lidAt+least.LeastClearance, least.LeastClearanceAt)), Thick, Solid)
	right := []note{
		{[]string{"recess wall draft " + Degrees(rc.Draft), "lid skirt draft " + Degrees(c.Lid.Draft)}, at(onLeg(k.receiver, part.Wall, 0.3)), false},
		{[]string{"least clearance " + text(least.LeastClearance), "at " + text(least.LeastClearanceAt) + " below the flange", "(asked for: " + text(c.Lid.LeastGap) + ")"},
			v.At(lidAt+least.LeastClearance/2, least.LeastClearanceAt), false},
		{[]string{"receiver laminate " + text(shell)}, v.At((outer+flatIn)/2, rc.RecessDepth+shell/2), true},
	}
	if p, ok := onArc(k.receiver, part.Root, 0.55); ok {
		right = append(right, note{[]string{"root R " + text(rc.RootRadius)}, at(p), false})
	}
	s.column(v.At(to, 0).X+7, y-4, yLow-3, false, right)

	// Left, below the heights: the seal.
	left := []note{{[]string{"seal pressed to", text(g.SealThickness), "(free " + text(c.Seal.Thickness) + ")"}, v.At(k.sealAt-c.Seal.Width/2+1/f, (g.SkirtHeight+rc.RecessDepth)/2), true}}
	if last.Z > rc.RecessDepth {
		if p, ok := onArc(k.receiver, part.Lip, 0.5); ok {
			left = append(left, note{[]string{"lip R " + text(rc.LipRadius)}, at(p), false})
		}
	}
	s.column(x0-2, v.At(0, rc.RecessDepth).Y+4, r.y1-8, true, left)

	d.what, d.scale = "Fit of lid and receiver", scale.String()
	d.Sheets = []Sheet{s}
	return d, nil
}

// nAt returns the section's offset at a depth, the last where there are more.
func nAt(p profile.Profile, z, otherwise float64) float64 {
	ns := p.NAt(z)
	if len(ns) == 0 {
		return otherwise
	}
	return ns[len(ns)-1]
}
