package profile

import (
	"math"

	"hatchwright/service/outline"
)

// FilletSection returns the area, mm^2, of the section between an arc of radius
// r, mm, and the two faces it is tangent to, which include the given angle,
// degrees, and the distance, mm, of that section's centroid from each face.
// With p = pi - included and h = tan(p/2):
//
//	area      r^2 (h - p/2)
//	centroid  r h^2 sin(p/2) / (3 (h - p/2))  from the arc's centre, along the
//	          bisector; from each face r less that times cos(p/2)
//
// (kite of centre, tangent points and apex, less the circular sector). At 90
// degrees these are the handbook's r^2 (1 - pi/4) and r (5/6 - pi/4)/(1 - pi/4),
// 0.2146 r^2 and 0.2234 r. An angle outside 0 to 180, or a radius that is not
// positive, has no fillet: both are 0.
func FilletSection(r, included float64) (area, fromFace float64) {
	x := (180 - included) * math.Pi / 360 // p/2
	if !(r > 0 && x > 0 && x < math.Pi/2) || math.IsInf(r, 1) {
		return 0, 0
	}
	h := math.Tan(x)
	d := tanLess(x)
	return r * r * d, r * (1 - h*h*math.Sin(x)*math.Cos(x)/(3*d))
}

// tanLess returns tan x - x; by its series where the difference would cancel.
func tanLess(x float64) float64 {
	if x > 0.1 {
		return math.Tan(x) - x
	}
	// tan x - x = x^3/3 + 2x^5/15 + 17x^7/315 + ... (Abramowitz and Stegun,
	// 4.3.67); the first term left out is below 5e-15 of the sum.
	y := x * x
	return x * y * (1./3 + y*(2./15+y*(17./315+y*(62./2835+y*(1382./155925+y*21844./6081075)))))
}

// Fillet is the section between a profile's arc and the sharp vertex it rounds:
// its area, mm^2, and its centroid.
type Fillet struct {
	Area     float64
	Centroid Point
}

// Fillet returns the fillet at vertex i, and false where that vertex is sharp or
// there is none.
func (p Profile) Fillet(i int) (Fillet, bool) {
	if i < 0 || i >= len(p.arcOf) || p.arcOf[i] < 0 {
		return Fillet{}, false
	}
	s := p.segments[p.arcOf[i]]
	area, fromFace := FilletSection(s.Radius, 180-math.Abs(s.Sweep)*180/math.Pi)
	// From the apex, the centroid is fromFace / sin(t/2) along the bisector, of
	// which the whole, apex to centre, is r / sin(t/2).
	v := p.vertices[i].At
	return Fillet{area, v.along(s.Center.sub(v), fromFace/s.Radius)}, true
}

// FilletVolumeAt is [FilletVolume] at the corner of the given mark; 0 where there is
// none.
func FilletVolumeAt(o outline.Outline, p Profile, m Mark) (float64, error) {
	return FilletVolume(o, p, p.index(m))
}

// FilletVolume returns the volume, mm^3, of the fillet at vertex i of p swept
// round o; 0 where the vertex is sharp. Where L(n) is linear over the section
// that is Pappus's theorem, area times L at the centroid; else it is the
// difference of the volumes within the sharp and the rounded surface.
//
// Errors: *[outline.CollapseError] when p goes further in than o does.
func FilletVolume(o outline.Outline, p Profile, i int) (float64, error) {
	f, ok := p.Fillet(i)
	if !ok {
		return 0, nil
	}
	law := o.Law()
	s := p.segments[p.arcOf[i]]
	v := p.vertices[i].At
	low := math.Min(v.N, math.Min(s.From.N, s.To.N))
	high := math.Max(v.N, math.Max(s.From.N, s.To.N))
	if _, err := law.Piece(low); err != nil {
		return 0, err
	}
	if len(law.Within(low, high)) == 1 {
		l, err := law.PerimeterAt(f.Centroid.N)
		return f.Area * l, err
	}
	round, err := enclosed(law, []Segment{s})
	if err != nil {
		return 0, err
	}
	sharp, err := enclosed(law, []Segment{
		{Kind: Line, From: s.From, To: v}, {Kind: Line, From: v, To: s.To}})
	return math.Abs(sharp - round), err
}
