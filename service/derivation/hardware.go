package derivation

import (
	"fmt"
	"math"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// The edges of a lid that hardware goes on.
const (
	Fore      = "fore"      // +x
	Port      = "port"      // +y
	Aft       = "aft"       // -x
	Starboard = "starboard" // -y
)

// edges in the order in which they are worked through, with how far a lid is
// turned so that the edge faces +x, deg.
var edges = []struct {
	name string
	turn float64
}{{Fore, 0}, {Port, -90}, {Aft, 180}, {Starboard, 90}}

// Placement is one fitting on the lid.
//
//	        y (port)
//	        |     +--------+
//	        |     |  cut-  |  edge distance
//	        |     |  out   |<-->| lid's edge, here fore
//	        |     +--------+
//	--------+------------------- x (fore)
type Placement struct {
	Row      int // index into the configuration's hardware
	Item     string
	Edge     string
	At       outline.Point // middle of the cut-out, in plan
	Length   float64       // of the cut-out, along the edge, mm
	Width    float64       // across
	Distance float64       // from the lid's edge to the cut-out, mm
	Load     float64       // that the seal puts on it when closed, N
	OpenLoad float64       // that the open lid puts on it, N; of hinges
	fitting  shop.Fitting
}

// box is the cut-out in plan.
func (p Placement) box() (min, max outline.Point) {
	l, w := p.Width/2, p.Length/2
	if p.Edge == Port || p.Edge == Starboard {
		l, w = w, l
	}
	return outline.Point{X: p.At.X - l, Y: p.At.Y - w}, outline.Point{X: p.At.X + l, Y: p.At.Y + w}
}

// Pad returns the size of the solid pad under the fitting, mm, and its plies; 0 for
// none.
func (p Placement) Pad() (length, width float64, plies int) {
	if p.fitting.PadPlies == 0 {
		return 0, 0, 0
	}
	return p.fitting.PadLength, p.fitting.PadWidth, p.fitting.PadPlies
}

// Screws returns the fitting's fasteners.
func (p Placement) Screws() shop.Screws { return p.fitting.Screws }

// chord returns the extent in y of a curve at x, and whether there is any.
func chord(curve []outline.Segment, x float64) (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	take := func(y float64) { low, high = math.Min(low, y), math.Max(high, y) }
	for _, s := range curve {
		a, b := s.From, s.To
		if s.Kind == outline.Line {
			switch {
			case math.Abs(a.X-x) < chordSlack && math.Abs(b.X-x) < chordSlack:
				take(a.Y)
				take(b.Y)
			case (a.X-x)*(b.X-x) <= 0:
				take(a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X))
			}
			continue
		}
		d := x - s.Center.X
		if math.Abs(d) > s.Radius {
			continue
		}
		h := math.Sqrt(s.Radius*s.Radius - d*d)
		start := math.Atan2(a.Y-s.Center.Y, a.X-s.Center.X)
		for _, y := range [2]float64{h, -h} {
			along := math.Mod(math.Atan2(y, d)-start+4*math.Pi, 2*math.Pi)
			if along <= s.Sweep+angleSlack || along >= 2*math.Pi-angleSlack {
				take(s.Center.Y + y)
			}
		}
	}
	return low, high, low <= high
}

const (
	// chordSlack is within which a straight edge counts as lying on the line, mm: far
	// above what a quarter turn loses, far below what is measured.
	chordSlack = 1e-6
	// angleSlack is the same for the ends of an arc, radians.
	angleSlack = 1e-9
)

// lay spreads fittings evenly along the +x edge of o, as near the edge as they fit
// within their reach: their middles in y, the distance of all from the edge, and
// how much room there is and is needed.
func lay(o outline.Outline, list []Placement) (ys []float64, distance, have, need float64, ok bool) {
	reach, deepest, spacing, total := math.Inf(1), 0.0, 0.0, 0.0
	for _, p := range list {
		f := p.fitting
		distance = math.Max(distance, f.EdgeDistance)
		reach = math.Min(reach, f.Reach)
		deepest = math.Max(deepest, f.CutOutWidth)
		spacing = math.Max(spacing, f.Spacing)
		total += f.CutOutLength
	}
	n := float64(len(list))
	need = total + (n-1)*spacing
	inner, err := o.Offset(-distance)
	if err != nil {
		return nil, distance, 0, need, false
	}
	_, most := inner.Bounds()
	curve := inner.Segments()
	room := func(push float64) (low, high float64) {
		l1, h1, ok1 := chord(curve, most.X-push)
		l2, h2, ok2 := chord(curve, most.X-push-deepest)
		if !ok1 || !ok2 {
			return 0, 0
		}
		return math.Max(l1, l2), math.Min(h1, h2)
	}
	enough := func(push float64) bool { l, h := room(push); return h-l >= need-measureSlack }
	push := 0.0
	if !enough(0) {
		if !enough(reach) {
			l, h := room(reach)
			return nil, distance, math.Max(h-l, 0), need, false
		}
		lo, hi := 0.0, reach
		for range pushHalvings {
			if mid := (lo + hi) / 2; enough(mid) {
				hi = mid
			} else {
				lo = mid
			}
		}
		push = hi
	}
	low, high := room(push)
	// Even gaps with half of one at either end, or the least spacing where that is
	// more.
	gap := math.Max((high-low-total)/n, spacing)
	y := low + (high-low-total-(n-1)*gap)/2
	for _, p := range list {
		ys = append(ys, y+p.fitting.CutOutLength/2)
		y += p.fitting.CutOutLength + gap
	}
	return ys, distance + push, high - low, need, true
}

// pushHalvings bring the push within a thousandth of a mm of the least for any
// reach up to a meter.
const pushHalvings = 20

// turned puts a point of the lid turned by deg back where it was.
func turned(x, y, deg float64) outline.Point {
	switch deg {
	case -90:
		return outline.Point{X: -y, Y: x}
	case 180:
		return outline.Point{X: -x, Y: -y}
	case 90:
		return outline.Point{X: y, Y: -x}
	}
	return outline.Point{X: x, Y: y}
}

// mostFittings on one edge: more are a slip of the keyboard, and fit on no edge.
const mostFittings = 64

// ruleHardware places the fittings on the lid and rules on where they stand and
// what they bear.
func (e *Engine) ruleHardware(s *state) []finding.Finding {
	var list []finding.Finding
	c := &s.config
	s.hardware = nil
	byEdge := map[string][]Placement{}
	crowd := map[string]int{}
	for i, h := range c.Hardware {
		f, ok := e.docs.Materials.Fitting(h.Item)
		if !ok {
			list = append(list, notStocked("hardware.unknown", fmt.Sprintf("/hardware/%d/item", i), h.Item, "fitting", names(e.docs.Materials.Hardware, func(f shop.Fitting) string { return f.Key })))
			continue
		}
		known := false
		for _, edge := range edges {
			known = known || edge.name == h.Edge
		}
		if !known {
			bad := finding.Finding{
				Code: "hardware.edge_unknown", Severity: finding.Error, Pointer: fmt.Sprintf("/hardware/%d/edge", i),
				Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count), Source: "the four edges of a lid",
			}.Say("A lid has no edge %q (measured: edges of that name; one is needed).", h.Edge)
			for _, edge := range edges {
				bad.Mends = append(bad.Mends, finding.Choose(bad.Pointer, edge.name))
			}
			list = append(list, bad)
			continue
		}
		crowd[h.Edge] += h.Count
		for range min(h.Count, mostFittings) {
			byEdge[h.Edge] = append(byEdge[h.Edge], Placement{Row: i, Item: h.Item, Edge: h.Edge, Length: f.CutOutLength, Width: f.CutOutWidth, fitting: f})
		}
	}
	if s.geometry.Stage < part.StageOutlines || len(byEdge) == 0 {
		return list
	}
	lid := s.geometry.Outlines.Lid
	for _, edge := range edges {
		on := byEdge[edge.name]
		if len(on) == 0 {
			continue
		}
		facing := lid
		if edge.turn != 0 {
			facing = lid.Rotate(edge.turn)
		}
		ys, distance, have, need, ok := lay(facing, on)
		if !ok || crowd[edge.name] > len(on) {
			list = append(list, e.noRoom(c, on[0], have, need))
			continue
		}
		_, most := facing.Bounds()
		for i := range on {
			on[i].Distance = distance
			on[i].At = turned(most.X-distance-on[i].Width/2, ys[i], edge.turn)
		}
		s.hardware = append(s.hardware, on...)
	}
	list = append(list, ruleCrowded(s.hardware)...)
	return append(list, e.ruleLoads(s)...)
}

func (e *Engine) noRoom(c *part.Configuration, p Placement, have, need float64) finding.Finding {
	f := finding.Finding{
		Code: "hardware.does_not_fit", Severity: finding.Error, Pointer: fmt.Sprintf("/hardware/%d/edge", p.Row),
		Measured: quantity.Length(have), Limit: quantity.Length(need), Source: "shop setting: cut-outs, edge distances and spacing of the fittings",
	}
	for _, edge := range edges {
		if edge.name != p.Edge {
			f.Mends = append(f.Mends, finding.Choose(f.Pointer, edge.name))
		}
	}
	for _, k := range e.docs.Materials.Hardware {
		if k.Kind == p.fitting.Kind && k.Key != p.Item {
			f.Mends = append(f.Mends, finding.Choose(fmt.Sprintf("/hardware/%d/item", p.Row), k.Key))
		}
	}
	for _, size := range c.SizePointers() {
		f.Mends = append(f.Mends, finding.Seek(size, quantity.Up))
	}
	return f.Say("The fittings on the %s edge need %v along it; the lid has %v there, at the edge distance they ask for.", p.Edge, quantity.Length(need), quantity.Length(have))
}

// ruleCrowded rules on fittings of different edges that come too close.
func ruleCrowded(all []Placement) []finding.Finding {
	var list []finding.Finding
	told := map[int]bool{}
	for i, a := range all {
		for _, b := range all[:i] {
			if a.Edge == b.Edge || told[a.Row] {
				continue
			}
			amin, amax := a.box()
			bmin, bmax := b.box()
			apart := math.Max(math.Max(amin.X-bmax.X, bmin.X-amax.X), math.Max(amin.Y-bmax.Y, bmin.Y-amax.Y))
			least := math.Min(a.fitting.Spacing, b.fitting.Spacing)
			if apart >= least-measureSlack {
				continue
			}
			told[a.Row] = true
			f := finding.Finding{
				Code: "hardware.crowded", Severity: finding.Error, Pointer: fmt.Sprintf("/hardware/%d/edge", a.Row),
				Measured: quantity.Length(apart), Limit: quantity.Length(least), Source: "shop setting: spacing of the fittings",
			}.Say("%q on the %s edge and %q on the %s edge stand %v apart; %v is the least.", a.Item, a.Edge, b.Item, b.Edge, quantity.Length(apart), quantity.Length(least))
			for _, edge := range edges {
				if edge.name != a.Edge {
					f.Mends = append(f.Mends, finding.Choose(f.Pointer, edge.name))
				}
			}
			list = append(list, f)
		}
	}
	return list
}

// ruleLoads shares the seal's force among latches and hinges, once the seat
// stands, and rules on it. The lid's weight would take some of it off.
//
//	S = force of a mm × length of the seat, in the middle of the opening
//	latches  S (c - h)/(l - h), distances from the hinged edge: of the opening's middle, hinges, latches
//	hinges   the rest
//
// Without hinges the latches bear all of it. Shared evenly among those of a kind.
// The open lid is ruleOpen's.
func (e *Engine) ruleLoads(s *state) []finding.Finding {
	c := &s.config
	if !c.HasTrunk() || s.geometry.Stage < part.StageOutlines {
		return nil
	}
	trunk := s.geometry.Outlines.Trunk
	force := e.docs.Profile.Seal.ForceAt(c.Seal.Compression) * trunk.Perimeter()
	hinged := ""
	var hinges, latches []int
	for i, p := range s.hardware {
		switch p.fitting.Kind {
		case shop.Hinge:
			hinges = append(hinges, i)
			hinged = p.Edge
		case shop.Latch:
			latches = append(latches, i)
		}
	}
	list := e.ruleOpen(s, hinges, hinged)
	if len(latches) == 0 {
		if len(hinges) > 0 && force > 0 {
			list = append(list, finding.Finding{
				Code: "hardware.no_latch", Severity: finding.Note, Pointer: "/hardware", Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count),
				Source: "shop rule: a latch pulls the lid down on its seal",
			}.Say("The lid has hinges and no latch: nothing presses the seal, which takes %v.", quantity.Of(force, quantity.Newton)))
		}
		return list
	}
	onLatches := force
	if len(hinges) > 0 {
		from := func(p outline.Point) float64 { return fromHinge(hinged, p) }
		mean := func(which []int) float64 {
			sum := 0.0
			for _, i := range which {
				sum += from(s.hardware[i].At)
			}
			return sum / float64(len(which))
		}
		h, l := mean(hinges), mean(latches)
		if arm := l - h; arm > leastArm {
			onLatches = force * math.Min(1, math.Max(0, (from(areaCenter(trunk))-h)/arm))
		}
		for _, i := range hinges {
			s.hardware[i].Load = (force - onLatches) / float64(len(hinges))
		}
	}
	for _, i := range latches {
		s.hardware[i].Load = onLatches / float64(len(latches))
	}
	told := map[int]bool{}
	for _, p := range s.hardware {
		most := p.fitting.WorkingLoad
		if told[p.Row] || most == 0 || p.Load <= most*(1+utilizationSlack) {
			continue
		}
		told[p.Row] = true
		f := finding.Finding{
			Code: "hardware.overloaded", Severity: finding.Caution, Pointer: fmt.Sprintf("/hardware/%d/item", p.Row),
			Measured: quantity.Of(p.Load, quantity.Newton), Limit: quantity.Of(most, quantity.Newton),
			Mends: []finding.Mend{finding.Seek("/seal/compression", quantity.Down)}, Source: "shop setting: working load of the fitting and force of the seal",
		}.Say("The closed seal puts %v on each %q; it is good for %v.", quantity.Of(p.Load, quantity.Newton), p.Item, quantity.Of(most, quantity.Newton))
		for _, k := range e.docs.Materials.Hardware {
			if k.Kind == p.fitting.Kind && k.Key != p.Item {
				f.Mends = append(f.Mends, finding.Choose(f.Pointer, k.Key))
			}
		}
		list = append(list, f)
	}
	return list
}

// leastArm between hinges and latches below which no lever is worked out, mm.
const leastArm = 1.0
