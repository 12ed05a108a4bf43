package tooling

import (
	"fmt"
	"math"

	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/shop"
)

// wall is how a wall of the receiver's section is molded: by the edge of a board.
type wall struct {
	leg   profile.Mark
	board Board
	// Of a wall that is as high as its board, which must then come out of stocked sheets;
	// none where the part is trimmed to a line.
	what   string
	depth  string // pointer of the figure
	height func(*part.Configuration) float64
	// rounded is the pointer of the radius that is rounded along the board's edge.
	rounded string
	// layer makes the board.
	layer func(*part.Configuration, *part.Geometry, Layer, Stack) (Layer, error)
}

// walls are in the order in which their boards stand on the base board. A pattern has
// those of its section's legs; a leg that is a wall and not here cannot be molded.
var walls = [...]wall{
	{part.Wall, RecessBlock, "recess", "/receiver/recess_depth", func(c *part.Configuration) float64 { return c.Receiver.RecessDepth }, "/receiver/root_radius", recessBlock},
	{part.CoamingWall, CavityBoard, "coaming", "/coaming/height", func(c *part.Configuration) float64 { return c.Coaming.Height }, "/receiver/edge_radius", coamingBoard},
	{part.Upstand, GutterRing, "gutter", "/gutter/depth", func(c *part.Configuration) float64 { return c.Gutter.Depth }, "/receiver/root_radius", gutterRing},
	{leg: part.Trunk, board: TrunkBlock, layer: trunkBlock},
}

// stacks are what the boards of a hatch's molds that are cut to an outline are built of;
// zero where the pattern has none.
type stacks struct {
	receiver [len(boardNames)]Stack // by board
	lid      Stack                  // of its cavity boards
}

func stacksOf(c *part.Configuration, skirt float64, t shop.Tooling, s *Stacker) stacks {
	// The rim is rounded above the trim line, so that the skirt is molded on a
	// straight wall all the way down to it.
	k := stacks{lid: s.atLeast(skirt + t.RimRadius)}
	for i := range walls {
		w := &walls[i]
		switch {
		case !c.HasLeg(w.leg):
		case w.height == nil:
			k.receiver[w.board] = s.atLeast(c.TrunkRise() + t.TrimAllowance)
		default:
			k.receiver[w.board] = s.nearestOrNext(w.height(c), t.SheetTolerance)
		}
	}
	return k
}

// unmolded is an error where a leg of the receiver leads up or down and no board molds it.
func unmolded(receiver profile.Profile) error {
	v := receiver.Vertices()
	for i := range v {
		if i == 0 || v[i].At.Z == v[i-1].At.Z {
			continue
		}
		molded := false
		for k := range walls {
			molded = molded || walls[k].leg == v[i].Leg
		}
		if !molded {
			return fmt.Errorf("no board molds the receiver's %q", part.LegName(v[i].Leg))
		}
	}
	return nil
}

// recessBlock is as large as the recess.
func recessBlock(c *part.Configuration, g *part.Geometry, _ Layer, stack Stack) (Layer, error) {
	r0 := g.Outlines.Recess
	volume, err := blockVolume(r0, c.Receiver.RecessDepth, c.Receiver.Draft)
	return Layer{Board: RecessBlock, Stack: stack, Outline: &r0, Length: r0.Length(), Width: r0.Width(), Volume: volume}, err
}

// coamingBoard has the coaming's hole, and is as large as the base board.
func coamingBoard(c *part.Configuration, g *part.Geometry, base Layer, stack Stack) (Layer, error) {
	r0 := g.Outlines.Recess
	hole, err := blockVolume(r0, c.Coaming.Height, c.Receiver.Draft)
	return Layer{Board: CavityBoard, Stack: stack, Outline: &r0, Length: base.Length, Width: base.Width, Volume: base.Length*base.Width*c.Coaming.Height - hole}, err
}

// gutterRing is the frame on block 1 whose outside is the recess wall and whose
// inside is the upstand's outer wall. It is cut as two edges of one board.
func gutterRing(c *part.Configuration, g *part.Geometry, _ Layer, stack Stack) (Layer, error) {
	r0 := g.Outlines.Recess
	lean := c.Receiver.RecessDepth * math.Tan(c.Receiver.Draft*math.Pi/180)
	outer, err := r0.Offset(-lean)
	if err != nil {
		return Layer{}, err
	}
	inner, err := r0.Offset(g.Corner(part.UpstandTop).N)
	if err != nil {
		return Layer{}, err
	}
	out, err := blockVolume(outer, c.Gutter.Depth, c.Receiver.Draft)
	if err != nil {
		return Layer{}, err
	}
	in, err := blockVolume(inner, c.Gutter.Depth, -c.Receiver.Draft)
	return Layer{Board: GutterRing, Stack: stack, Outline: &outer, Inside: &inner, Length: outer.Length(), Width: outer.Width(), Volume: out - in}, err
}

// trunkBlock is as large as the trunk.
func trunkBlock(c *part.Configuration, g *part.Geometry, _ Layer, stack Stack) (Layer, error) {
	trunk := g.Outlines.Trunk
	volume, err := blockVolume(trunk, stack.Thickness, c.Receiver.TrunkDraft)
	return Layer{Board: TrunkBlock, Stack: stack, Outline: &trunk, Length: trunk.Length(), Width: trunk.Width(), Volume: volume}, err
}

// edgeOf returns the layer whose edge a round-over is on, the edge, and the height of
// the wall under it, mm.
func (m *Mold) edgeOf(r *RoundOver, k *part.Configuration) (*Layer, *outline.Outline, float64) {
	switch r.Corner {
	case part.SkirtFoot: // the rim of the lid's mold
		l := m.Layer(CavityBoard)
		return l, l.Outline, l.Stack.Target
	case part.CoamingFoot:
		l := m.Layer(CavityBoard)
		return l, l.Outline, k.Coaming.Height
	case part.FloorOuter:
		l := m.Layer(GutterRing)
		return l, l.Outline, k.Receiver.RecessDepth + k.Gutter.Depth
	case part.FloorInner:
		l := m.Layer(GutterRing)
		return l, l.Inside, k.Gutter.Depth
	case part.Root:
		l := m.Layer(RecessBlock)
		return l, l.Outline, k.Receiver.RecessDepth
	}
	return &Layer{}, nil, 0
}
