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
	Name    string
	Stack   Stack
	Outline *outline.Outline // the edge that matters: of a block its own, of a cavity board its hole; nil for a plain board
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
	Part         string // "receiver" or "lid"
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

// Rule rules on what the shop's sheets can build: needs no geometry.
func Rule(c *part.Configuration, s *Stacker, t shop.Tooling) []finding.Finding {
	if c.Pattern != part.FlushLedge {
		return nil
	}
	_, list := depthInStack(c, s, t.SheetTolerance)
	return list
}

// Molds builds the molds of a hatch whose geometry stands. Filler is the shop's
// first.
func Molds(c *part.Configuration, g part.Geometry, d shop.Documents, s *Stacker) ([]Mold, error) {
	plug, err := receiverPlug(c, g, d, s)
	if err != nil {
		return nil, fmt.Errorf("receiver plug: %w", err)
	}
	cavity, err := lidCavity(c, g, d, s)
	if err != nil {
		return nil, fmt.Errorf("lid cavity: %w", err)
	}
	return []Mold{plug, cavity}, nil
}

// depthInStack rules on the recess depth: whether stocked sheets give it.
func depthInStack(c *part.Configuration, s *Stacker, tolerance float64) (Stack, []finding.Finding) {
	depth := c.Receiver.RecessDepth
	if stack, ok := s.within(depth, tolerance); ok {
		return stack, nil
	}
	below, above := s.nearest(depth)
	next := s.atLeast(depth)
	f := finding.Finding{
		Code: "tooling.depth_not_stock", Severity: finding.Caution, Pointer: "/receiver/recess_depth",
		Measured: quantity.Length(math.Min(above-depth, depth-below)), Limit: quantity.Length(tolerance), Source: "shop setting: stocked sheets and tolerance",
	}
	if below > 0 {
		f.Mends = append(f.Mends, finding.AtMost("/receiver/recess_depth", quantity.Length(below)))
	}
	f.Mends = append(f.Mends, finding.AtLeast("/receiver/recess_depth", quantity.Length(above)))
	return next, []finding.Finding{f.Say("No stack of stocked sheets gives a recess %v deep; the nearest are %v and %v. As it is, a stack of %v is surfaced down with a router sled.",
		quantity.Length(depth), quantity.Length(below), quantity.Length(above), quantity.Length(next.Thickness))}
}

func receiverPlug(c *part.Configuration, g part.Geometry, d shop.Documents, s *Stacker) (Mold, error) {
	t := d.Profile.Tooling
	m := Mold{Part: "receiver", Kind: Plug}
	r0, trunk := g.Outlines.Recess, g.Outlines.Trunk
	stack, _ := depthInStack(c, s, t.SheetTolerance)

	base := baseBoard(g.Outlines.Flange, t, s)
	block1, err := blockVolume(r0, 0, c.Receiver.RecessDepth, c.Receiver.Draft)
	if err != nil {
		return m, err
	}
	tall := s.atLeast(c.Receiver.TrunkHeight + t.TrimAllowance)
	block2, err := blockVolume(trunk, 0, tall.Thickness, c.Receiver.TrunkDraft)
	if err != nil {
		return m, err
	}
	m.Layers = []Layer{
		base,
		{Name: "block 1", Stack: stack, Outline: &r0, Length: r0.Length(), Width: r0.Width(), Volume: block1},
		{Name: "block 2", Stack: tall, Outline: &trunk, Length: trunk.Length(), Width: trunk.Width(), Volume: block2},
	}
	edge, err := fillet(r0, g.ReceiverProfile, 1)
	if err != nil {
		return m, err
	}
	lip, err := lipFillet(c, g)
	if err != nil {
		return m, err
	}
	m.Fillets = keep(edge, lip)
	root, err := fillet(r0, g.ReceiverProfile, 2)
	if err != nil {
		return m, err
	}
	if root.Radius > 0 {
		m.RoundOvers = append(m.RoundOvers, RoundOver{At: root.At, Radius: root.Radius, Length: root.Length})
		m.Layers[1].Volume -= root.Volume
	}
	face, err := c.ReceiverSurface(g, t.PlyOverrun, tall.Thickness-c.Receiver.TrunkHeight)
	if err != nil {
		return m, err
	}
	m.FaceArea = face.Area
	m.sum(d)
	return m, nil
}

func lidCavity(c *part.Configuration, g part.Geometry, d shop.Documents, s *Stacker) (Mold, error) {
	t := d.Profile.Tooling
	m := Mold{Part: "lid", Kind: Cavity}
	l0 := g.Outlines.Lid
	// The rim is rounded above the trim line, so that the skirt is molded on a
	// straight wall all the way down to it.
	stack := s.atLeast(g.SkirtHeight + t.RimRadius)
	hole, err := blockVolume(l0, 0, stack.Thickness, -c.Lid.Draft)
	if err != nil {
		return m, err
	}
	length, width := l0.Length()+2*t.CavityMargin, l0.Width()+2*t.CavityMargin
	base := s.atLeast(t.BaseThickness)
	m.Layers = []Layer{
		{Name: "base board", Stack: base, Length: length, Width: width, Volume: length * width * base.Thickness},
		{Name: "cavity board", Stack: stack, Outline: &l0, Length: length, Width: width, Volume: length*width*stack.Thickness - hole},
	}
	top, err := fillet(g.Outlines.Recess, g.LidProfile, 1)
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
	return Layer{Name: "base board", Stack: stack, Length: length, Width: width, Volume: length * width * stack.Thickness}
}

// blockVolume is the volume of a block whose wall leans inward by draft deg with
// its height, mm3; a negative draft leans outward.
func blockVolume(o outline.Outline, z0, height, draft float64) (float64, error) {
	p, err := profile.New([]profile.Vertex{
		{At: profile.Point{N: 0, Z: z0}},
		{At: profile.Point{N: -height * math.Tan(draft*math.Pi/180), Z: z0 + height}},
	})
	if err != nil {
		return 0, err
	}
	return profile.EnclosedVolume(o, p)
}

// fillet measures the rounding at vertex i of p, swept round o.
func fillet(o outline.Outline, p profile.Profile, i int) (Fillet, error) {
	v := p.Vertices()[i]
	volume, err := profile.FilletVolume(o, p, i)
	if err != nil {
		return Fillet{}, err
	}
	run, err := o.PerimeterAt(v.At.N)
	if err != nil {
		return Fillet{}, err
	}
	return Fillet{At: v.Name, Radius: v.Radius, Length: run, Volume: volume}, nil
}

// lipFillet is the fillet between block 1 and block 2; it follows the trunk's own
// outline, which may have been re-rounded.
func lipFillet(c *part.Configuration, g part.Geometry) (Fillet, error) {
	if !g.TrunkRounded {
		return fillet(g.Outlines.Recess, g.ReceiverProfile, 3)
	}
	bands := g.Receiver.Bands
	lower := bands[len(bands)-1]
	return fillet(lower.Round, lower.Profile, 1)
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
