package model3d

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"hatchwright/service/derivation"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/tooling"
)

// The solids of a hatch.
const (
	Lid          = "lid"
	Receiver     = "receiver"
	ReceiverMold = "receiver-mold"
	LidMold      = "lid-mold"
)

// The errors of [Solid].
var (
	// ErrUnknownModel: there is no solid of that name; see [Names].
	ErrUnknownModel = errors.New("model: no solid of that name")
	// ErrNoShape: the configuration has no geometry.
	ErrNoShape = errors.New("model: the configuration cannot be made, so it has no shape")
)

// Names lists the solids of a result: the parts, then their molds.
func Names(r *derivation.Result) []string {
	if r == nil || !r.Makeable() {
		return nil
	}
	return []string{Lid, Receiver, ReceiverMold, LidMold}
}

// Solid meshes one solid of a result to the given chord error, mm; 0 stands for
// [DefaultChordError]. Parts lie as in the boat, molds as on the bench.
//
// Errors: [ErrNoShape], [ErrUnknownModel], *[ChordError]; others name the curve
// that does not go in as far as the laminate asks.
func Solid(r *derivation.Result, name string, chord float64) (Mesh, error) {
	if r == nil || !r.Makeable() {
		return Mesh{}, ErrNoShape
	}
	if chord == 0 {
		chord = DefaultChordError
	}
	switch name {
	case Lid:
		return lid(r, chord)
	case Receiver:
		return receiver(r, chord)
	case ReceiverMold:
		return receiverMold(r, chord)
	case LidMold:
		return lidMold(r, chord)
	}
	return Mesh{}, fmt.Errorf("%w: %q", ErrUnknownModel, name)
}

// Solids meshes all of them.
func Solids(r *derivation.Result, chord float64) ([]Mesh, error) {
	var out []Mesh
	for _, name := range Names(r) {
		m, err := Solid(r, name, chord)
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

// inBoat places a part: up is against the depth.
func inBoat(x, y, z float64) Vertex { return Vertex{x, y, -z} }

// onBench places a mold: the part is made upside down, turned about x.
func onBench(x, y, z float64) Vertex { return Vertex{x, -y, z} }

// receiver is a ring: the molded face from the flange's edge to the trunk's foot,
// and the laminate's back from there to the flange's edge.
func receiver(r *derivation.Result, chord float64) (Mesh, error) {
	t := r.Receiver.SkirtThickness
	var face, back []leg
	bands := r.Geometry.Receiver.Bands
	for i, b := range bands {
		front, rear, err := shell(r, b.Profile, t, i > 0, i < len(bands)-1)
		if err != nil {
			return Mesh{}, fmt.Errorf("receiver's back: %w", err)
		}
		face = append(face, leg{b.Round, front.Segments()})
		back = append([]leg{{b.Round, Reversed(rear.Segments())}}, back...)
	}
	return sweep(Receiver, append(face, back...), true, chord, inBoat)
}

// shell returns a band's face and back. An end that meets another band lies on a
// flat and may be carried on over it, by t, where it is too short to have a back.
func shell(r *derivation.Result, p profile.Profile, t float64, headOnFlat, tailOnFlat bool) (face, back profile.Profile, err error) {
	if back, err = Back(r, p); err == nil {
		return p, back, nil
	}
	v := p.Vertices()
	extend := func(end, next int) {
		dn, dz := v[end].At.N-v[next].At.N, v[end].At.Z-v[next].At.Z
		l := math.Hypot(dn, dz)
		v[end].At.N += dn / l * t
		v[end].At.Z += dz / l * t
	}
	if headOnFlat {
		extend(0, 1)
	}
	if tailOnFlat {
		extend(len(v)-1, len(v)-2)
	}
	if face, err = profile.New(v); err != nil {
		return face, back, err
	}
	back, err = Thicken(face, -t)
	return face, back, err
}

// Back returns the other face of the receiver's laminate along a section: its
// parallel curve, or, where an upstand is filled solid, that of the section
// without it: from the gutter's floor straight on to the trunk.
func Back(r *derivation.Result, p profile.Profile) (profile.Profile, error) {
	t := r.Receiver.SkirtThickness
	floor, upstand := p.Corner(part.FloorOuter)
	lip, foot, trunk := p.Leg(part.Trunk)
	if r.Configuration.UpstandFilled() && upstand && trunk {
		a, b := lip.At, foot.At
		if z := floor.At.Z; b.Z-z > t {
			at := profile.Point{N: a.N + (b.N-a.N)*(z-a.Z)/(b.Z-a.Z), Z: z}
			var path []profile.Vertex
			for _, v := range p.Vertices() {
				if path = append(path, v); v.Corner == part.FloorOuter {
					break
				}
			}
			plain, err := profile.New(append(path, profile.Vertex{At: at, Leg: part.GutterFloor, Corner: part.Lip}, foot))
			if err != nil {
				return profile.Profile{}, fmt.Errorf("filled upstand: %w", err)
			}
			return Thicken(plain, -t)
		}
	}
	return Thicken(p, -t)
}

// Reversed returns a section path walked the other way.
func Reversed(segments []profile.Segment) []profile.Segment {
	out := make([]profile.Segment, len(segments))
	for i, s := range segments {
		s.From, s.To = s.To, s.From
		s.Start, s.Sweep = s.Start+s.Sweep, -s.Sweep
		out[len(segments)-1-i] = s
	}
	return out
}

// CoreEdge returns n of the core's edge about R0, and whether there is a core on
// this lid at all: none is laid where nothing is left inside the setback.
func CoreEdge(r *derivation.Result) (n float64, ok bool) {
	if r.Lid.Core == nil {
		return 0, false
	}
	_, n, ok = r.Geometry.CoreEdge(&r.Configuration)
	return n, ok
}

// LidSection returns the lid's section as an open path about R0: from the flat of
// the top at n = from, over the edge, down the skirt, round its foot and the land
// if there is one, up the inside to the panel's underside and inward below it, to
// n = from again or, where from lies outside the flat, to the flat's edge.
func LidSection(r *derivation.Result, from float64) ([]profile.Segment, error) {
	skirt := r.Lid.SkirtThickness
	face, err := LidFace(r, from)
	if err != nil {
		return nil, err
	}
	out := face.Segments()
	to := func(n, z float64) {
		last := out[len(out)-1].To
		if p := (profile.Point{N: n, Z: z}); p != last {
			out = append(out, profile.Segment{From: last, To: p})
		}
	}
	foot := out[len(out)-1].To
	flat, _ := face.Ends()
	top := flat.At
	if !r.Configuration.HasTrunk() { // solid to its edge
		to(top.N, foot.Z)
		return out, nil
	}
	inside, err := Thicken(face, skirt)
	if err != nil {
		return nil, fmt.Errorf("lid's inside: %w", err)
	}
	back := Reversed(inside.Segments())
	h, land := foot.Z, r.Configuration.Lid.LandWidth
	// The skirt's inner face ends at the depth of its foot, or on the land.
	z := h
	if land > 0 {
		z = h - skirt
		inner := foot.N - skirt - land
		to(inner, h)
		to(inner, z)
	}
	end := back[0].From
	slope := math.Tan(r.Configuration.Lid.Draft * math.Pi / 180)
	back[0].From = profile.Point{N: end.N + (z-end.Z)*slope, Z: z}
	to(back[0].From.N, z)
	core, ok := CoreEdge(r)
	last := &back[len(back)-1]
	if ok = ok && last.To.N < core; ok {
		last.To = profile.Point{N: math.Min(core, last.From.N), Z: last.To.Z}
	}
	out = append(out, back...)
	if ok {
		edge := out[len(out)-1].To
		to(edge.N, top.Z+r.Lid.Thickness)
		to(top.N, top.Z+r.Lid.Thickness)
	}
	return out, nil
}

// LidFace returns the lid's face with the flat of its top carried inward to n = from,
// where that lies within it.
func LidFace(r *derivation.Result, from float64) (profile.Profile, error) {
	v := r.Geometry.LidProfile.Vertices()
	for i := range v {
		if v[i].Corner == part.LidFlat {
			v[i].At.N = math.Min(v[i].At.N, from)
		}
	}
	p, err := profile.New(v)
	if err != nil {
		return p, fmt.Errorf("lid: %w", err)
	}
	return p, nil
}

// lid is a pan: capped by the flat of the top and by the panel's underside.
func lid(r *derivation.Result, chord float64) (Mesh, error) {
	from := 0.0
	if core, ok := CoreEdge(r); ok {
		from = core - coreStep
		if _, err := r.Geometry.Outlines.Recess.Offset(from); err != nil {
			from = (core - r.Geometry.Outlines.Recess.MaxInset()) / 2
		}
	} else if r.Configuration.HasTrunk() {
		// The flat reaches so far in that the panel's underside does too.
		edge, _ := r.Geometry.LidProfile.Corner(part.LidEdge)
		from = min(from, edge.At.N-2*(r.Lid.SkirtThickness+edge.Radius))
		from = max(from, -0.95*r.Geometry.Outlines.Recess.MaxInset())
	}
	path, err := LidSection(r, from)
	if err != nil {
		return Mesh{}, err
	}
	return sweep(Lid, []leg{{r.Geometry.Outlines.Recess, path}}, false, chord, inBoat)
}

// coreStep is how far inside the core's edge the caps begin, mm; the panel is flat
// there, so that it does not change the solid.
const coreStep = 5.0

// board is the plan of a mold's base: a rectangle about the middle of what stands
// on it.
func board(r *derivation.Result, about outline.Outline, l *tooling.Layer) (outline.Outline, error) {
	about, err := about.Scale(MoldScale(r))
	if err != nil {
		return about, fmt.Errorf("base board: %w", err)
	}
	o, err := outline.Rectangle(l.Length, l.Width, 0)
	if err != nil {
		return o, fmt.Errorf("base board: %w", err)
	}
	low, high := about.Bounds()
	return o.Translate((low.X+high.X)/2, (low.Y+high.Y)/2), nil
}

// MoldScale is how much larger than the part its molds are in plan, against the
// laminate's shrinkage; 1 where they are not.
func MoldScale(r *derivation.Result) float64 { return math.Max(r.Tolerance.MoldScale, 1) }

// ReceiverMoldFace returns the receiver mold's face: the receiver's, in plan by
// [MoldScale], its trunk carried on to the top of its block.
func ReceiverMoldFace(r *derivation.Result) ([]part.Band, error) {
	var err error
	bands := slices.Clone(r.Geometry.Receiver.Bands)
	for i := range bands {
		if bands[i].Round, err = bands[i].Round.Scale(MoldScale(r)); err != nil {
			return nil, fmt.Errorf("receiver mold: %w", err)
		}
	}
	last := &bands[len(bands)-1]
	if last.Profile, err = Longer(last.Profile, part.Trunk, r.Mold(part.Receiver).Layer(tooling.TrunkBlock).Stack.Thickness); err != nil {
		return nil, fmt.Errorf("receiver mold: %w", err)
	}
	return bands, nil
}

// Longer carries the last leg of a section on, at its draft, until it is as high as
// given, mm; a section that does not end in that leg, or is as high, stays.
func Longer(p profile.Profile, leg profile.Mark, high float64) (profile.Profile, error) {
	from, to, ok := p.Leg(leg)
	if rise := to.At.Z - from.At.Z; !ok || rise <= 0 || high <= rise {
		return p, nil
	}
	t := high / (to.At.Z - from.At.Z)
	to.At = profile.Point{N: from.At.N + (to.At.N-from.At.N)*t, Z: from.At.Z + high}
	v := p.Vertices()
	return profile.New(append(v[:len(v)-1], to))
}

// receiverMold is the receiver's mold: the base board and, on it, the face.
func receiverMold(r *derivation.Result, chord float64) (Mesh, error) {
	base := r.Mold(part.Receiver).Layer(tooling.BaseBoard)
	bands, err := ReceiverMoldFace(r)
	if err != nil {
		return Mesh{}, err
	}
	edge, err := board(r, r.Geometry.Outlines.Flange, base)
	if err != nil {
		return Mesh{}, err
	}
	// The base board's face is the highest plane of the part: the deck's, or a
	// coaming's top; boards stand on it up to the flange.
	end, _ := bands[0].Profile.Ends()
	flange := end.At.Z
	top := flange
	for _, b := range bands {
		low, _ := b.Profile.Bounds()
		top = math.Min(top, low.Z)
	}
	legs := []leg{{edge, line(profile.Point{Z: top - base.Stack.Thickness}, profile.Point{Z: flange})}}
	for _, b := range bands {
		legs = append(legs, leg{b.Round, b.Profile.Segments()})
	}
	return sweep(ReceiverMold, legs, false, chord, onBench)
}

// LidMoldFace returns the lid mold's face: the lid's, its skirt carried on to the
// top of the cavity boards and rounded outward there; and the depth of that top.
func LidMoldFace(r *derivation.Result) (profile.Profile, float64, error) {
	m := r.Mold(part.Lid)
	v := r.Geometry.LidProfile.Vertices()
	edge, foot, _ := r.Geometry.LidProfile.Leg(part.Skirt)
	high := edge.At.Z + m.Layer(tooling.CavityBoard).Stack.Thickness
	rim := 0.0
	for _, e := range m.RoundOvers {
		if e.At == tooling.AtRim {
			rim = e.Radius
		}
	}
	a, b := edge.At, foot.At
	t := (high - a.Z) / (b.Z - a.Z)
	foot.At, foot.Radius, foot.Name = profile.Point{N: a.N + (b.N-a.N)*t, Z: high}, rim, tooling.AtRim
	v = append(v[:len(v)-1], foot, profile.Vertex{At: profile.Point{N: foot.At.N + rim*2 + 1, Z: high}, Leg: part.Rim, Corner: part.RimEnd})
	p, err := profile.New(v)
	if err != nil {
		return p, 0, fmt.Errorf("lid mold: %w", err)
	}
	return p, high, nil
}

// lidMold is the lid's mold: base and cavity boards with the hole.
func lidMold(r *derivation.Result, chord float64) (Mesh, error) {
	base := r.Mold(part.Lid).Layer(tooling.BaseBoard)
	face, high, err := LidMoldFace(r)
	if err != nil {
		return Mesh{}, err
	}
	edge, err := board(r, r.Geometry.Outlines.Lid, base)
	if err != nil {
		return Mesh{}, err
	}
	round, err := r.Geometry.Outlines.Recess.Scale(MoldScale(r))
	if err != nil {
		return Mesh{}, fmt.Errorf("lid mold: %w", err)
	}
	flat, _ := face.Ends()
	return sweep(LidMold, []leg{
		{edge, line(profile.Point{Z: flat.At.Z - base.Stack.Thickness}, profile.Point{Z: high})},
		{round, Reversed(face.Segments())},
	}, false, chord, onBench)
}
