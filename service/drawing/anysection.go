package drawing

import (
	"math"
	"slices"

	"hatchwright/service/model3d"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

// anySection draws a gutter, a coaming or a plate cut across an edge: the sections
// of both parts with every leg dimensioned and every radius noted.
func anySection(req Request) (Drawing, error) {
	s := Sheet{Paper: req.paper()}
	d := Drawing{Title: "Section", what: "Section, hatch closed"}
	r := s.room()
	res := req.Result
	c, g := &res.Configuration, &res.Geometry
	t := res.Receiver.SkirtThickness
	v := g.ReceiverProfile.Vertices()
	flange, lidTop, lip := g.Corner(part.FlangeEnd), g.Corner(part.LidFlat), g.Corner(part.Lip)
	low, high := g.ReceiverProfile.Bounds()
	top, bottom := math.Min(low.Z, lidTop.Z), math.Max(high.Z+t, t+c.Deck.Thickness)
	bottom = math.Max(bottom, g.Corner(part.SkirtFoot).Z)

	const rightWide, over, deckPast = 66.0, 30.0, 8.0
	leftWide := 12.0 // and a line for each upright leg
	var level, upright []int
	for i := 0; i+1 < len(v); i++ {
		if math.Abs(v[i+1].At.N-v[i].At.N) > math.Abs(v[i+1].At.Z-v[i].At.Z) {
			level = append(level, i)
		} else {
			upright = append(upright, i)
			leftWide += 7
		}
	}
	under := 10 + 6.5*float64(len(level))
	inner := math.Min(low.N, lidTop.N)
	if edge, ok := model3d.CoreEdge(res); ok {
		inner = math.Min(inner, edge)
	}
	var scale Scale
	var from float64
	for _, k := range scales {
		from = inner - 16/float64(k)
		scale = k
		if k <= 5 && (flange.N-from)*float64(k)+deckPast <= r.x1-r.x0-leftWide-rightWide && (bottom-top)*float64(k) <= r.y1-r.y0-over-under {
			break
		}
	}
	k := float64(scale)
	deckTo := flange.N + deckPast/k
	spareX := r.x1 - r.x0 - leftWide - rightWide - (deckTo-from)*k
	spareY := r.y1 - r.y0 - over - under - (bottom-top)*k
	view := View{Point{r.x0 + leftWide + spareX/2 - from*k, r.y0 + over + spareY/2 - top*k}, scale, false}
	at := func(p profile.Point) Point { return view.At(p.N, p.Z) }
	text := func(mm float64) string { return Length(mm, req.Units) }

	// Deck, cut where the deck cut-out is.
	cut := g.DeckCut(c)
	s.deck(view, cut, deckTo, t, c.Deck.Thickness)
	s.breakLine(view.At(deckTo, t-1/k), view.At(deckTo, t+c.Deck.Thickness+1/k))

	back, err := model3d.Back(res, g.ReceiverProfile)
	if err != nil {
		return d, err
	}
	s.shell(view, g.ReceiverProfile, back)

	seat := (g.SeatOuter + g.SeatInner) / 2
	half := c.Seal.Width / 2
	if c.HasTrunk() {
		s.Fill(view.Box(seat-half, lip.Z-g.SealThickness, seat+half, lip.Z), 170, Thin)
	}

	path, err := model3d.LidSection(res, from)
	if err != nil {
		return d, err
	}
	var core Path
	if edge, ok := model3d.CoreEdge(res); ok && from < edge {
		z := lidTop.Z + res.Lid.Stack.OuterThickness()
		core = view.Box(from, z, edge, z+res.Lid.Core.Thickness)
	}
	s.pan(view, path, core)
	s.breakLine(view.At(from, lidTop.Z-1/k), view.At(from, lidTop.Z+res.Lid.Thickness+1/k))
	d.shapes = []shape{
		sectionShape("RECEIVER", between(g.ReceiverProfile, back)),
		sectionShape("LID", closeUp(path)),
	}

	// Level legs below, one under the other from the outside in.
	name := func(i int) string { return part.LegName(v[i+1].Leg) + " " }
	y := view.At(0, bottom).Y + 7
	for _, i := range level {
		s.across(at(v[i].At), at(v[i+1].At), y, name(i)+text(math.Abs(v[i+1].At.N-v[i].At.N)))
		y += 6.5
	}

	// Above: the lid.
	var above []note
	lid := []string{"lid panel " + text(res.Lid.Thickness)}
	if res.Lid.Core != nil {
		lid = append(lid, "core "+text(res.Lid.Core.Thickness))
	}
	above = append(above, note{lid, view.At(from+6/k, lidTop.Z+res.Lid.Thickness/2), true})
	if p, ok := onArc(g.LidProfile, part.LidEdge, 0.4); ok {
		above = append(above, note{[]string{"lid edge", "R " + text(c.Lid.EdgeRadius)}, at(p), false})
	}
	above = append(above, note{[]string{"skirt " + text(g.SkirtHeight), "draft " + Degrees(c.Lid.Draft)}, at(onLeg(g.LidProfile, part.Skirt, 0.5)), false})
	s.row(r.x0, view.At(deckTo, 0).X+2, r.y0+spareY/2+5, above)

	// Right: the receiver.
	var right []note
	seen := map[string]bool{}
	for _, seg := range g.ReceiverProfile.Segments() {
		if seg.Kind == profile.Arc && !seen[seg.Name] {
			seen[seg.Name] = true
			right = append(right, note{[]string{radiusNames[seg.Name] + " R " + text(seg.Radius)}, at(seg.At(0.5)), false})
		}
	}
	if c.HasTrunk() {
		wall := part.Wall
		if c.HasLeg(part.CoamingWall) {
			wall = part.CoamingWall
		}
		right = append(right, note{[]string{"wall draft " + Degrees(c.Receiver.Draft), "trunk draft " + Degrees(c.Receiver.TrunkDraft)}, at(onLeg(g.ReceiverProfile, wall, 0.5)), false})
	}
	right = append(right, note{[]string{"receiver laminate " + text(t)}, view.At((cut+flange.N)/2, t/2), true})
	if c.UpstandFilled() {
		up := g.Corner(part.UpstandTop)
		right = append(right, note{[]string{"upstand filled solid"}, view.At((up.N+lip.N)/2, up.Z+2*t), true})
	}
	right = append(right, note{[]string{"deck " + text(c.Deck.Thickness)}, view.At(flange.N+3/k, t+c.Deck.Thickness*0.5), true})
	if c.HasTrunk() {
		right = append(right, note{[]string{"deck cut-out: recess + " + text(cut)}, view.At(cut, t+c.Deck.Thickness*0.85), false})
		right = append(right, note{[]string{"seal " + text(c.Seal.Width) + " × " + text(g.SealThickness), "(free " + text(c.Seal.Thickness) + ")"}, view.At(seat+half-1/k, lip.Z-g.SealThickness/2), true})
		right = append(right, note{[]string{"least clearance " + text(g.Fit.LeastClearance), depthText(g.Fit.LeastClearanceAt, req.Units), "(asked for: " + text(c.Lid.LeastGap) + ")"},
			view.At(nAt(g.LidProfile, g.Fit.LeastClearanceAt, g.Corner(part.LidEdge).N), g.Fit.LeastClearanceAt), false})
	} else {
		right = append(right, note{[]string{"bolts Ø " + text(c.Plate.BoltDiameter), text(c.Plate.EdgeDistance) + " from the plate's edge"}, view.At(-c.Plate.EdgeDistance, lidTop.Z+res.Lid.Thickness/2), false})
		s.Ink(Polyline(view.At(-c.Plate.EdgeDistance, lidTop.Z-4/k), view.At(-c.Plate.EdgeDistance, t+c.Deck.Thickness+4/k)), Thin, Chain)
	}
	s.column(view.At(deckTo, 0).X+6, r.y0+16, view.At(0, bottom).Y+3, false, right)

	// Upright legs left, in the order in which their texts stand freest.
	var orders []func(*Sheet)
	for _, order := range permutations(upright) {
		orders = append(orders, func(s *Sheet) {
			x := view.At(from, 0).X - 7
			for _, i := range order {
				s.down(at(v[i].At), at(v[i+1].At), x, name(i)+text(math.Abs(v[i+1].At.Z-v[i].At.Z)))
				x -= 7
			}
		})
	}
	s.arranged(orders...)
	d.scale = scale.String()
	d.Sheets = []Sheet{s}
	return d, nil
}

// permutations are the orders of a few legs, the one given first.
func permutations(of []int) [][]int {
	if len(of) < 2 {
		return [][]int{of}
	}
	var out [][]int
	for i, first := range of {
		for _, rest := range permutations(slices.Delete(slices.Clone(of), i, i+1)) {
			out = append(out, append([]int{first}, rest...))
		}
	}
	return out
}

// depthText says where a depth is: below the deck plane or above it.
func depthText(z float64, u quantity.System) string {
	if z < 0 {
		return "at " + Length(-z, u) + " above the deck"
	}
	return "at " + Length(z, u) + " below the deck"
}
