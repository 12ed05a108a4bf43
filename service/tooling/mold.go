package tooling

import (
	"fmt"
	"math"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// Layer is a board or block of a mold.
type Layer struct {
	Board   Board
	Stack   Stack
	Outline *outline.Outline // the edge that matters: of a block its own, of a cavity board its hole; nil for a plain board
	Inside  *outline.Outline // of a ring, the edge inside; else nil
	Length  float64          // of the board it is cut from, mm
	Width   float64
	Volume  float64 // of MDF that stays, mm3
}

// Fillet is an inside radius made of filler.
type Fillet struct {
	At     string // pointer of the figure
	Radius float64
	Length float64 // of the corner it runs along, mm
	Volume float64 // mm3
}

// RoundOver is an edge rounded with the router.
type RoundOver struct {
	At     string
	Radius float64
	Length float64
}

// The kinds of molds.
const (
	Plug   = "plug"
	Cavity = "cavity"
)

// Mold is one mold, as built.
type Mold struct {
	Part         part.Part
	Kind         string
	Layers       []Layer
	Fillets      []Fillet
	RoundOvers   []RoundOver
	FaceArea     float64 // to seal, wax and gelcoat, overrun included, mm2
	MDFVolume    float64 // mm3
	MDFMass      float64 // kg
	FillerVolume float64 // mm3
	FillerMass   float64 // kg, without hardener
	HardenerMass float64 // kg
}

// DeepestStack is the tallest stack that a Stacker is asked for, mm: the largest
// recess and trunk that a configuration can ask for, with allowances.
const DeepestStack = part.MaxDepth*2 + 500

// Rule rules on what the shop's sheets can build: needs no geometry. Blocks whose
// height is a depth of the part must come out of stocked sheets; the rest may be
// thicker than asked.
func Rule(c *part.Configuration, s *Stacker, t shop.Tooling) []finding.Finding {
	var list []finding.Finding
	depth := func(pointer, what string) {
		target, _ := c.Number(pointer)
		list = append(list, depthInStack(pointer, what, target, s, t.SheetTolerance)...)
	}
	switch c.Pattern {
	case part.FlushLedge:
		depth("/receiver/recess_depth", "recess")
	case part.FlushGutter:
		depth("/receiver/recess_depth", "recess")
		depth("/gutter/depth", "gutter")
	case part.RaisedCoaming:
		depth("/coaming/height", "coaming")
	}
	return list
}

// Molds builds the molds of a hatch whose geometry stands. Filler is the shop's
// first.
func Molds(c *part.Configuration, g part.Geometry, d shop.Documents, s *Stacker) ([]Mold, error) {
	plug, err := receiverMold(c, g, d, s)
	if err != nil {
		return nil, fmt.Errorf("receiver mold: %w", err)
	}
	cavity, err := lidCavity(c, g, d, s)
	if err != nil {
		return nil, fmt.Errorf("lid cavity: %w", err)
	}
	return []Mold{plug, cavity}, nil
}

// depthInStack rules on one depth: whether stocked sheets give it.
func depthInStack(pointer, what string, depth float64, s *Stacker, tolerance float64) []finding.Finding {
	if _, ok := s.within(depth, tolerance); ok {
		return nil
	}
	below, above := s.nearest(depth)
	next := s.atLeast(depth)
	f := finding.Finding{
		Code: "tooling.depth_not_stock", Severity: finding.Caution, Pointer: pointer,
		Measured: quantity.Length(math.Min(above-depth, depth-below)), Limit: quantity.Length(tolerance), Source: "shop setting: stocked sheets and tolerance",
	}
	if below > 0 {
		f.Mends = append(f.Mends, finding.AtMost(pointer, quantity.Length(below)))
	}
	f.Mends = append(f.Mends, finding.AtLeast(pointer, quantity.Length(above)))
	return []finding.Finding{f.Say("No stack of stocked sheets gives a %s of %v; the nearest are %v and %v. As it is, a stack of %v is surfaced down with a router sled.",
		what, quantity.Length(depth), quantity.Length(below), quantity.Length(above), quantity.Length(next.Thickness))}
}

// stacks are what the boards of a hatch's molds that are cut to an outline are built of; zero where the pattern has
// none.
type stacks struct {
	recess  Stack // block 1
	ring    Stack // of a gutter
	coaming Stack // the boards with the coaming's hole
	trunk   Stack // block 2
	lid     Stack // the cavity boards of the lid
}

func stacksOf(c *part.Configuration, skirt float64, t shop.Tooling, s *Stacker) stacks {
	// The rim is rounded above the trim line, so that the skirt is molded on a
	// straight wall all the way down to it.
	k := stacks{lid: s.atLeast(skirt + t.RimRadius)}
	if !c.HasTrunk() {
		return k
	}
	k.trunk = s.atLeast(trunkRise(c) + t.TrimAllowance)
	switch c.Pattern {
	case part.RaisedCoaming:
		k.coaming = s.nearestOrNext(c.Coaming.Height, t.SheetTolerance)
		return k
	case part.FlushGutter:
		k.ring = s.nearestOrNext(c.Gutter.Depth, t.SheetTolerance)
	}
	k.recess = s.nearestOrNext(c.Receiver.RecessDepth, t.SheetTolerance)
	return k
}

// trunkRise is the height of the trunk's wall, mm.
func trunkRise(c *part.Configuration) float64 {
	if c.Pattern == part.RaisedCoaming {
		return c.Receiver.TrunkHeight + c.Coaming.Height
	}
	return c.Receiver.TrunkHeight
}

// receiverMold builds the receiver's mold.
//
// Of a flush hatch it is a plug, upside down: the base board is the deck plane,
// block 1 the recess, block 2 the trunk. A gutter's plug has a ring on block 1:
// the groove between ring and block 2 becomes the upstand. A coaming is molded
// inside: the base board is the coaming's top, boards with a hole its outer wall
// and the flange, block 2 the trunk. A bolted plate's ring is laid on a board.
func receiverMold(c *part.Configuration, g part.Geometry, d shop.Documents, s *Stacker) (Mold, error) {
	t := d.Profile.Tooling
	m := Mold{Part: part.Receiver, Kind: Plug}
	r0, trunk := g.Outlines.Recess, g.Outlines.Trunk
	base := baseBoard(g.Outlines.Flange, t, s)
	m.Layers = []Layer{base}
	past := 0.0
	if c.HasTrunk() {
		made := stacksOf(c, g.SkirtHeight, t, s)
		tall := made.trunk
		past = tall.Thickness - trunkRise(c)
		volume, err := blockVolume(trunk, tall.Thickness, c.Receiver.TrunkDraft)
		if err != nil {
			return m, err
		}
		block2 := Layer{Board: TrunkBlock, Stack: tall, Outline: &trunk, Length: trunk.Length(), Width: trunk.Width(), Volume: volume}
		if c.Pattern == part.RaisedCoaming {
			m.Kind = Cavity
			stack := made.coaming
			hole, err := blockVolume(r0, c.Coaming.Height, c.Receiver.Draft)
			if err != nil {
				return m, err
			}
			m.Layers = append(m.Layers, Layer{Board: CavityBoard, Stack: stack, Outline: &r0, Length: base.Length, Width: base.Width,
				Volume: base.Length*base.Width*c.Coaming.Height - hole})
		} else {
			stack := made.recess
			volume, err := blockVolume(r0, c.Receiver.RecessDepth, c.Receiver.Draft)
			if err != nil {
				return m, err
			}
			m.Layers = append(m.Layers, Layer{Board: RecessBlock, Stack: stack, Outline: &r0, Length: r0.Length(), Width: r0.Width(), Volume: volume})
		}
		if c.Pattern == part.FlushGutter {
			ring, err := gutterRing(c, g, made.ring)
			if err != nil {
				return m, err
			}
			m.Layers = append(m.Layers, ring...)
		}
		m.Layers = append(m.Layers, block2)
	}
	// Corners of the section: those that are inside corners of the mold are filled,
	// the others rounded with the router.
	for _, v := range g.ReceiverProfile.Vertices() {
		if v.Radius == 0 {
			continue
		}
		round, p := r0, g.ReceiverProfile
		if v.Corner == part.Lip && g.TrunkRounded {
			trunk := g.Receiver.Bands[len(g.Receiver.Bands)-1]
			round, p = trunk.Round, trunk.Profile
		}
		f, err := fillet(round, p, v.Corner)
		if err != nil {
			return m, err
		}
		if part.Filled(v.Corner) {
			m.Fillets = append(m.Fillets, f)
			continue
		}
		m.RoundOvers = append(m.RoundOvers, RoundOver{At: f.At, Radius: f.Radius, Length: f.Length})
		m.Layers[1].Volume -= f.Volume
	}
	face, err := c.ReceiverSurface(g, t.PlyOverrun, past)
	if err != nil {
		return m, err
	}
	m.FaceArea = face.Area
	m.sum(d)
	return m, nil
}

// gutterRing is the frame on block 1 whose outside is the recess wall and whose
// inside is the upstand's outer wall. It is cut as two edges of one board.
func gutterRing(c *part.Configuration, g part.Geometry, stack Stack) ([]Layer, error) {
	r0 := g.Outlines.Recess
	lean := c.Receiver.RecessDepth * math.Tan(c.Receiver.Draft*math.Pi/180)
	outer, err := r0.Offset(-lean)
	if err != nil {
		return nil, err
	}
	inner, err := r0.Offset(g.Corner(part.UpstandTop).N)
	if err != nil {
		return nil, err
	}
	out, err := blockVolume(outer, c.Gutter.Depth, c.Receiver.Draft)
	if err != nil {
		return nil, err
	}
	in, err := blockVolume(inner, c.Gutter.Depth, -c.Receiver.Draft)
	if err != nil {
		return nil, err
	}
	return []Layer{{Board: GutterRing, Stack: stack, Outline: &outer, Inside: &inner, Length: outer.Length(), Width: outer.Width(), Volume: out - in}}, nil
}

func lidCavity(c *part.Configuration, g part.Geometry, d shop.Documents, s *Stacker) (Mold, error) {
	t := d.Profile.Tooling
	m := Mold{Part: part.Lid, Kind: Cavity}
	l0 := g.Outlines.Lid
	stack := stacksOf(c, g.SkirtHeight, t, s).lid
	hole, err := blockVolume(l0, stack.Thickness, -c.Lid.Draft)
	if err != nil {
		return m, err
	}
	length, width := l0.Length()+2*t.CavityMargin, l0.Width()+2*t.CavityMargin
	base := s.atLeast(t.BaseThickness)
	m.Layers = []Layer{
		{Board: BaseBoard, Stack: base, Length: length, Width: width, Volume: length * width * base.Thickness},
		{Board: CavityBoard, Stack: stack, Outline: &l0, Length: length, Width: width, Volume: length*width*stack.Thickness - hole},
	}
	top, err := fillet(g.Outlines.Recess, g.LidProfile, part.LidEdge)
	if err != nil {
		return m, err
	}
	m.Fillets = keep(top)
	rim, err := l0.Offset(stack.Thickness * math.Tan(c.Lid.Draft*math.Pi/180))
	if err != nil {
		return m, err
	}
	if t.RimRadius > 0 {
		m.RoundOvers = append(m.RoundOvers, RoundOver{At: "/rim", Radius: t.RimRadius, Length: rim.Perimeter()})
	}
	face, err := c.LidSurface(g, stack.Thickness, t.PlyOverrun, t.RimRadius)
	if err != nil {
		return m, err
	}
	m.FaceArea = face.Area
	m.sum(d)
	return m, nil
}

func baseBoard(flange outline.Outline, t shop.Tooling, s *Stacker) Layer {
	stack := s.atLeast(t.BaseThickness)
	length, width := flange.Length()+2*t.BaseMargin, flange.Width()+2*t.BaseMargin
	return Layer{Board: BaseBoard, Stack: stack, Length: length, Width: width, Volume: length * width * stack.Thickness}
}

// blockVolume is the volume of a block whose wall leans inward by draft deg with
// its height, mm3; a negative draft leans outward.
func blockVolume(o outline.Outline, height, draft float64) (float64, error) {
	p, err := profile.New([]profile.Vertex{
		{At: profile.Point{}},
		{At: profile.Point{N: -height * math.Tan(draft*math.Pi/180), Z: height}},
	})
	if err != nil {
		return 0, err
	}
	return profile.EnclosedVolume(o, p)
}

// fillet measures the rounding at a corner of p, swept round o.
func fillet(o outline.Outline, p profile.Profile, corner profile.Mark) (Fillet, error) {
	v, ok := p.Corner(corner)
	if !ok {
		return Fillet{}, fmt.Errorf("the section has no corner %d", corner)
	}
	volume, err := profile.FilletVolumeAt(o, p, corner)
	if err != nil {
		return Fillet{}, err
	}
	run, err := o.PerimeterAt(v.At.N)
	if err != nil {
		return Fillet{}, err
	}
	return Fillet{At: v.Name, Radius: v.Radius, Length: run, Volume: volume}, nil
}

func keep(list ...Fillet) []Fillet {
	var out []Fillet
	for _, f := range list {
		if f.Radius > 0 {
			out = append(out, f)
		}
	}
	return out
}

func (m *Mold) sum(d shop.Documents) {
	for _, l := range m.Layers {
		m.MDFVolume += l.Volume
		m.MDFMass += l.Volume * density(l.Stack) * cubicMeter
	}
	filler := d.Materials.Fillers[0]
	for _, f := range m.Fillets {
		m.FillerVolume += f.Volume
	}
	m.FillerMass = m.FillerVolume * filler.Density * cubicMeter
	m.HardenerMass = m.FillerMass * filler.HardenerPercent / 100
}

// cubicMeter turns mm3 × kg/m3 into kg.
const cubicMeter = 1e-9

// density is the mean of a stack's sheets, kg/m3.
func density(s Stack) float64 {
	mass, height := 0.0, 0.0
	for _, sheet := range s.Sheets {
		mass += sheet.Density * sheet.Thickness
		height += sheet.Thickness
	}
	return mass / height
}
