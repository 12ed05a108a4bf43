package drawing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"hatchwright/service/model3d"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
	"hatchwright/service/tooling"
)

// block is a board or block in a mold's section.
type block struct {
	corners []profile.Point // closed
	sheets  []float64       // depths of the joints between its sheets
	name    string
	lines   []string
	at      profile.Point // where its note points
}

// moldSection is a mold cut across an edge, as it stands on the bench.
type moldSection struct {
	title   string
	blocks  []block
	face    []profile.Segment
	corners []profile.Profile // faces whose arcs are noted
	from    float64           // n where it is broken off
	edge    float64           // n of the base board's edge
	extra   []note            // in model terms: target's X is n, Y is z
}

// sheetsText writes a stack's sheets from the bottom up: "2 × 25 mm + 6 mm".
func sheetsText(st tooling.Stack, u quantity.System) string {
	var parts []string
	for i := 0; i < len(st.Sheets); {
		k := i
		for k < len(st.Sheets) && st.Sheets[k].Thickness == st.Sheets[i].Thickness {
			k++
		}
		text := Length(st.Sheets[i].Thickness, u)
		if k-i > 1 {
			text = fmt.Sprintf("%d × %s", k-i, text)
		}
		parts = append(parts, text)
		i = k
	}
	return strings.Join(parts, " + ")
}

// radiusNames say what a rounded corner is on a mold.
var radiusNames = map[string]string{
	"/receiver/edge_radius": "edge", "/receiver/root_radius": "root", "/receiver/lip_radius": "lip",
	"/lid/edge_radius": "lid edge", tooling.AtRim: "rim",
}

// joints are the heights at which the sheets of a stack that begins at z meet.
func joints(z float64, st tooling.Stack) []float64 {
	var out []float64
	for _, s := range st.Sheets[:max(len(st.Sheets)-1, 0)] {
		z += s.Thickness
		out = append(out, z)
	}
	return out
}

func receiverMold(req Request) (Drawing, error) {
	r := req.Result
	m := r.Mold(part.Receiver)
	bands, err := model3d.ReceiverMoldFace(r)
	if err != nil {
		return Drawing{}, err
	}
	// The section across an edge is that of the unrounded receiver, its trunk
	// carried on to the top of its block.
	face := r.Geometry.ReceiverProfile
	if a, b, ok := bands[len(bands)-1].Profile.Leg(part.Trunk); ok {
		if face, err = model3d.Longer(face, part.Trunk, b.At.Z-a.At.Z); err != nil {
			return Drawing{}, err
		}
	}
	corner := func(m profile.Mark) profile.Point {
		v, _ := face.Corner(m)
		return v.At
	}
	first, last := face.Ends()
	end, flange, foot := last.At, first.At, corner(part.Lip)
	base := m.Layer(tooling.BaseBoard)
	bottom := flange.Z
	for _, q := range face.Vertices() {
		bottom = math.Min(bottom, q.At.Z)
	}
	edge := flange.N + (base.Length-r.Geometry.Outlines.Flange.Length()*model3d.MoldScale(r))/2
	text := func(mm float64) string { return Length(mm, req.Units) }
	sec := moldSection{title: "Mold of the receiver", face: face.Segments(), corners: []profile.Profile{face}, from: end.N, edge: edge}
	span := func(board tooling.Board, name string, o *outline.Outline, st tooling.Stack, high float64) []string {
		lines := []string{name + ", " + text(high) + " high"}
		if o != nil {
			lines = append(lines, text(o.Length())+" × "+text(o.Width()))
		}
		lines = append(lines, "MDF "+sheetsText(st, req.Units))
		if st.Thickness-high > 0.01 && board != tooling.TrunkBlock {
			lines = append(lines, "surfaced down to "+text(high))
		}
		return lines
	}
	z0 := bottom - base.Stack.Thickness
	sec.blocks = append(sec.blocks, block{
		corners: []profile.Point{{N: math.Inf(-1), Z: z0}, {N: edge, Z: z0}, {N: edge, Z: bottom}, {N: math.Inf(-1), Z: bottom}},
		sheets:  joints(z0, base.Stack), name: base.Board.String(),
		lines: []string{base.Board.String(), text(base.Length) + " × " + text(base.Width), "MDF " + sheetsText(base.Stack, req.Units)},
		at:    profile.Point{N: edge - (edge-flange.N)*0.4, Z: z0 + base.Stack.Thickness*0.4},
	})
	// Blocks: between the face's corners.
	ends := func(leg profile.Mark) (from, to profile.Point) {
		a, b, _ := face.Leg(leg)
		return a.At, b.At
	}
	for _, l := range m.Layers {
		var k block
		switch l.Board {
		case tooling.BaseBoard:
			continue // drawn
		case tooling.RecessBlock:
			top, w := ends(part.Wall)
			if r.Configuration.HasLeg(part.GutterFloor) {
				w = ringFoot(top, w, r.Configuration.Receiver.RecessDepth)
			}
			k.corners = []profile.Point{{N: math.Inf(-1), Z: top.Z}, top, w, {N: math.Inf(-1), Z: w.Z}}
			k.lines = span(l.Board, l.Board.String(), l.Outline, l.Stack, w.Z-top.Z)
			k.sheets, k.at = joints(top.Z, l.Stack), profile.Point{N: (top.N + foot.N) / 2, Z: (top.Z + w.Z) / 2}
		case tooling.GutterRing:
			outer, inner := ends(part.GutterFloor)
			top, wall := ends(part.Wall)
			w := ringFoot(top, wall, r.Configuration.Receiver.RecessDepth)
			k.corners = []profile.Point{w, outer, inner, corner(part.UpstandTop)}
			k.lines = span(l.Board, l.Board.String(), l.Outline, l.Stack, outer.Z-w.Z)
			if l.Inside != nil {
				k.lines = append(k.lines, "inside "+text(l.Inside.Length())+" × "+text(l.Inside.Width()))
			}
			k.sheets, k.at = joints(w.Z, l.Stack), profile.Point{N: (outer.N + inner.N) / 2, Z: (w.Z + outer.Z) / 2}
		case tooling.CavityBoard:
			low, high := ends(part.CoamingWall)
			k.corners = []profile.Point{low, {N: edge, Z: low.Z}, {N: edge, Z: high.Z}, high}
			k.lines = span(l.Board, "boards with a hole", l.Outline, l.Stack, low.Z-high.Z)
			k.sheets, k.at = joints(high.Z, l.Stack), profile.Point{N: (low.N + edge) / 2, Z: (low.Z + high.Z) / 2}
		default: // the trunk's block
			k.corners = []profile.Point{{N: math.Inf(-1), Z: foot.Z}, foot, end, {N: math.Inf(-1), Z: end.Z}}
			k.lines = span(l.Board, l.Board.String(), l.Outline, l.Stack, end.Z-foot.Z)
			k.sheets, k.at = joints(foot.Z, l.Stack), profile.Point{N: end.N - 6, Z: foot.Z + (end.Z-foot.Z)*0.75}
		}
		k.name = l.Board.String()
		sec.blocks = append(sec.blocks, k)
	}
	if trim, ok := r.Geometry.ReceiverProfile.Corner(part.TrunkFoot); ok {
		p := trim.At
		sec.extra = append(sec.extra, note{lines: []string{"trim the trunk here, " + text(p.Z-foot.Z), "above its block's foot"}, target: Point{p.N, p.Z}})
	}
	return sec.draw(req, m)
}

// ringFoot is where the ring that stands on a gutter's block begins on the recess
// wall, which runs from top to foot: at the block's height.
func ringFoot(top, foot profile.Point, high float64) profile.Point {
	t := high / (foot.Z - top.Z)
	return profile.Point{N: top.N + (foot.N-top.N)*t, Z: top.Z + high}
}

func lidMold(req Request) (Drawing, error) {
	r := req.Result
	m := r.Mold(part.Lid)
	face, high, err := model3d.LidMoldFace(r)
	if err != nil {
		return Drawing{}, err
	}
	lidEdge, rim, _ := face.Leg(part.Skirt)
	flat, _ := face.Ends()
	text := func(mm float64) string { return Length(mm, req.Units) }
	base, boards := m.Layer(tooling.BaseBoard), m.Layer(tooling.CavityBoard)
	top := flat.At.Z
	edge := lidEdge.At.N + (base.Length-r.Geometry.Outlines.Lid.Length()*model3d.MoldScale(r))/2
	sec := moldSection{title: "Mold of the lid", face: face.Segments(), corners: []profile.Profile{face}, from: flat.At.N, edge: edge}
	z0 := top - base.Stack.Thickness
	sec.blocks = []block{
		{corners: []profile.Point{{N: math.Inf(-1), Z: z0}, {N: edge, Z: z0}, {N: edge, Z: top}, {N: math.Inf(-1), Z: top}}, sheets: joints(z0, base.Stack), name: base.Board.String(),
			lines: []string{base.Board.String(), text(base.Length) + " × " + text(base.Width), "MDF " + sheetsText(base.Stack, req.Units)}, at: profile.Point{N: edge * 0.7, Z: (z0 + top) / 2}},
		{corners: []profile.Point{lidEdge.At, {N: edge, Z: top}, {N: edge, Z: high}, rim.At}, sheets: joints(top, boards.Stack), name: boards.Board.String(),
			lines: []string{"boards with a hole, " + text(high-top) + " high", "hole " + text(boards.Outline.Length()) + " × " + text(boards.Outline.Width()), "MDF " + sheetsText(boards.Stack, req.Units)},
			at:    profile.Point{N: edge * 0.7, Z: (top + high) / 2}},
	}
	foot := r.Geometry.Corner(part.SkirtFoot)
	sec.extra = append(sec.extra, note{lines: []string{"trim the skirt here,", text(foot.Z-top) + " above the base"}, target: Point{foot.N, foot.Z}})
	return sec.draw(req, m)
}

// draw puts the section on a sheet: the bench at the foot, the hatch's middle to
// the left.
func (sec *moldSection) draw(req Request, m *tooling.Mold) (Drawing, error) {
	s := Sheet{Paper: req.paper()}
	r := s.room()
	d := Drawing{Title: sec.title, what: sec.title}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, b := range sec.blocks {
		for _, p := range b.corners {
			lo, hi = math.Min(lo, p.Z), math.Max(hi, p.Z)
		}
	}
	const leftWide, rightWide, over, under = 66.0, 70.0, 12.0, 22.0
	pad := 40.0 // mm of paper that the section runs on inward
	scale := FitScale(sec.edge-sec.from, hi-lo, r.x1-r.x0-leftWide-rightWide-pad, r.y1-r.y0-over-under, 2)
	k := float64(scale)
	from := sec.from - pad/k
	spareX := r.x1 - r.x0 - leftWide - rightWide - (sec.edge-from)*k
	spareY := r.y1 - r.y0 - over - under - (hi-lo)*k
	v := View{Point{r.x0 + leftWide + spareX/2 - from*k, r.y0 + over + spareY/2 + hi*k}, scale, true}
	at := func(p profile.Point) Point {
		return v.At(math.Max(p.N, from), p.Z)
	}
	text := func(mm float64) string { return Length(mm, req.Units) }
	for i, b := range sec.blocks {
		points := make([]Point, len(b.corners))
		left, right := math.Inf(1), math.Inf(-1)
		for j, p := range b.corners {
			points[j] = at(p)
			left, right = math.Min(left, math.Max(p.N, from)), math.Max(right, p.N)
		}
		path := Polygon(points...)
		angle := 45.0
		if i%2 == 1 {
			angle = -45
		}
		s.Fill(path, White, 0)
		s.Hatch(path, angle, 3, Hair)
		// Joints between sheets.
		for _, z := range b.sheets {
			if a, c, ok := inside(v.At(left, z), v.At(right, z), points); ok {
				s.Ink(Polyline(a, c), Thin, Solid)
			}
		}
		s.Ink(path, Thin, Solid)
	}
	// Fillets and round-overs: between the arc and its sharp corner.
	var notes []note
	for _, p := range sec.corners {
		for _, seg := range p.Segments() {
			if seg.Kind != profile.Arc {
				continue
			}
			mid := seg.At(0.5)
			rounded, _ := p.Corner(seg.Mark)
			corner := rounded.At
			var path Path
			path.Move(v.At(seg.From.N, seg.From.Z))
			v.arc(&path, seg.Center.N, seg.Center.Z, seg.Radius, seg.Start, seg.Sweep, v.At(seg.To.N, seg.To.Z))
			path.Line(v.At(corner.N, corner.Z))
			path.Close()
			name := radiusNames[seg.Name]
			if slices.ContainsFunc(m.Fillets, func(f tooling.Fillet) bool { return f.At == seg.Name }) {
				s.Fill(path, 150, Thin)
				notes = append(notes, note{[]string{name + ": fillet of filler R " + text(seg.Radius)}, v.At(mid.N, mid.Z), false})
			} else {
				s.Fill(path, White, 0)
				s.Ink(path, Hair, Dashed)
				notes = append(notes, note{[]string{name + ": round over R " + text(seg.Radius)}, v.At(mid.N, mid.Z), false})
			}
		}
	}
	// The face that the part is laid on.
	var face Path
	v.profile(&face, sec.face)
	last := sec.face[len(sec.face)-1].To
	if m.Kind == tooling.Plug || m.Part == part.Receiver {
		face.Line(v.At(from, last.Z))
	} else {
		var floor Path
		floor.Move(v.At(from, sec.face[0].From.Z))
		v.profile(&floor, sec.face)
		face = floor
	}
	s.Ink(face, Heavy, Solid)
	s.breakLine(v.At(from, lo-2/k), v.At(from, topAt(sec, from)+2/k))

	var left []note
	for _, b := range sec.blocks {
		n := note{b.lines, at(b.at), true}
		if b.at.N > (from+sec.edge)/2 {
			notes = append(notes, n)
		} else {
			left = append(left, n)
		}
	}
	for _, n := range sec.extra {
		p := v.At(n.target.X, n.target.Y)
		s.Ink(Polyline(Point{p.X - 7, p.Y}, Point{p.X + 7, p.Y}), Thin, Dashed)
		n.target = Point{p.X + 5, p.Y}
		notes = append(notes, n)
	}
	s.column(v.At(sec.edge, 0).X+7, r.y0, r.y1-10, false, notes)
	s.column(v.At(from, 0).X-7, r.y0, r.y1-10, true, left)
	foot := fmt.Sprintf("Standing on the bench, cut across an edge; the middle of the mold is to the left. Heavy line: the face that is sealed, waxed and laid on. Grey: filler. Face %s m², MDF %s kg, filler %s kg.",
		quantity.Decimal(m.FaceArea*1e-6, 3), quantity.Decimal(m.MDFMass, 1), quantity.Decimal(m.FillerMass, 2))
	lines := Wrap(foot, Regular, Small, r.x1-r.x0)
	for i, l := range lines {
		s.Text(r.x0, r.y1-1-float64(len(lines)-1-i)*LineHeight*Small, l, Small, Regular)
	}
	if k := req.Result.Tolerance.MoldScale; k > 1 {
		s.Text(r.x0, r.y0+3, "Sizes are the mold's: in plan × "+quantity.Decimal(k, 5)+" of the part's, against shrinkage.", Small, Bold)
	}
	for _, b := range sec.blocks {
		d.shapes = append(d.shapes, blockShape(b, from))
	}
	d.shapes = append(d.shapes, benchShape("FACE", sec.face))
	d.scale = scale.String()
	d.Sheets = []Sheet{s}
	return d, nil
}

// topAt is the highest solid at the break.
func topAt(sec *moldSection, from float64) float64 {
	top := math.Inf(-1)
	for _, b := range sec.blocks {
		left := math.Inf(1)
		for _, p := range b.corners {
			left = math.Min(left, p.N)
		}
		if left <= from {
			for _, p := range b.corners {
				top = math.Max(top, p.Z)
			}
		}
	}
	return top
}

func blockShape(b block, from float64) shape {
	s := shape{layer: strings.ToUpper(strings.ReplaceAll(b.name, " ", "_")), closed: true}
	n := len(b.corners)
	for i := range b.corners {
		p, q := b.corners[i], b.corners[(i+1)%n]
		s.segments = append(s.segments, outline.Segment{From: outline.Point{X: math.Max(p.N, from), Y: p.Z}, To: outline.Point{X: math.Max(q.N, from), Y: q.Z}})
	}
	return s
}

// benchShape is a section's path with the depth upward, as on the bench.
func benchShape(layer string, segments []profile.Segment) shape {
	s := shape{layer: layer}
	p := func(q profile.Point) outline.Point { return outline.Point{X: q.N, Y: q.Z} }
	for _, g := range segments {
		t := outline.Segment{Kind: outline.Line, From: p(g.From), To: p(g.To)}
		if g.Kind == profile.Arc {
			t.Kind, t.Center, t.Radius, t.Sweep = outline.Arc, p(g.Center), g.Radius, g.Sweep
		}
		s.segments = append(s.segments, t)
	}
	return s
}
