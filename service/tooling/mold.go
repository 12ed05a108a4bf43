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

// AtRim is where the top of a lid's mold is rounded: no figure of the hatch gives it.
const AtRim = "/rim"

// RoundOver is an edge rounded with the router.
type RoundOver struct {
	Corner profile.Mark // of the part's section
	At     string       // pointer of the figure
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

// Layer returns the mold's layer of a kind, one without sheets where there is none.
func (m *Mold) Layer(of Board) *Layer {
	for i := range m.Layers {
		if m.Layers[i].Board == of {
			return &m.Layers[i]
		}
	}
	return &Layer{}
}

// DeepestStack is the tallest stack that a Stacker is asked for, mm: the largest
// recess and trunk that a configuration can ask for, with allowances.
const DeepestStack = part.MaxDepth*2 + 500

// Rule rules on what the shop's sheets can build: needs no geometry. Blocks whose
// height is a depth of the part must come out of stocked sheets; the rest may be
// thicker than asked.
func Rule(c *part.Configuration, s *Stacker, t shop.Tooling) []finding.Finding {
	var list []finding.Finding
	for i := range walls {
		if w := &walls[i]; w.height != nil && c.HasLeg(w.leg) {
			list = append(list, depthInStack(w.depth, w.what, w.height(c), s, t.SheetTolerance)...)
		}
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
	if err := unmolded(g.ReceiverProfile); err != nil {
		return m, err
	}
	base := baseBoard(g.Outlines.Flange, t, s)
	m.Layers = []Layer{base}
	made := stacksOf(c, g.SkirtHeight, t, s)
	outer, past := BaseBoard, 0.0 // the board whose edge is the outermost wall
	for i := range walls {
		w := &walls[i]
		if !c.HasLeg(w.leg) {
			continue
		}
		l, err := w.layer(c, &g, base, made.receiver[w.board])
		if err != nil {
			return m, err
		}
		m.Layers = append(m.Layers, l)
		if outer == BaseBoard {
			outer = w.board
		}
		if w.board.IsHole() {
			m.Kind = Cavity
		}
		if w.leg == part.Trunk {
			past = l.Stack.Thickness - c.TrunkRise()
		}
	}
	// Corners of the section: those that are inside corners of the mold are filled,
	// the others rounded with the router.
	for _, v := range g.ReceiverProfile.Vertices() {
		if v.Radius == 0 {
			continue
		}
		round, p := g.Outlines.Recess, g.ReceiverProfile
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
		m.RoundOvers = append(m.RoundOvers, RoundOver{Corner: v.Corner, At: f.At, Radius: f.Radius, Length: f.Length})
		m.Layer(outer).Volume -= f.Volume
	}
	face, err := c.ReceiverSurface(g, t.PlyOverrun, past)
	if err != nil {
		return m, err
	}
	m.FaceArea = face.Area
	m.sum(d)
	return m, nil
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
		m.RoundOvers = append(m.RoundOvers, RoundOver{Corner: part.SkirtFoot, At: AtRim, Radius: t.RimRadius, Length: rim.Perimeter()})
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
