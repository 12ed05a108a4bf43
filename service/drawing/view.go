package drawing

import (
	"math"

	"hatchwright/service/outline"
	"hatchwright/service/profile"
)

// View maps a model's millimeters onto a sheet. Up is true where the model's
// second axis points up the sheet (plan), false where it points down (section).
type View struct {
	Origin Point // of the model, on the sheet
	Scale  Scale
	Up     bool
}

// At returns where a point of the model lies on the sheet.
func (v View) At(a, b float64) Point {
	k := float64(v.Scale)
	if v.Up {
		b = -b
	}
	return Point{v.Origin.X + a*k, v.Origin.Y + b*k}
}

// Outline returns the outline as a closed path.
func (v View) Outline(o outline.Outline) Path {
	var p Path
	for i, s := range o.Segments() {
		if i == 0 {
			p.Move(v.At(s.From.X, s.From.Y))
		}
		to := v.At(s.To.X, s.To.Y)
		if s.Kind == outline.Line {
			p.Line(to)
			continue
		}
		v.arc(&p, s.Center.X, s.Center.Y, s.Radius, math.Atan2(s.From.Y-s.Center.Y, s.From.X-s.Center.X), s.Sweep, to)
	}
	if len(p.steps) > 0 {
		p.Close()
	}
	return p
}

// Box is the rectangle between two corners.
func (v View) Box(a, b, c, d float64) Path {
	return Polygon(v.At(a, b), v.At(c, b), v.At(c, d), v.At(a, d))
}

func (v View) arc(p *Path, a, b, radius, start, sweep float64, to Point) {
	if v.Up {
		start, sweep = -start, -sweep
	}
	p.Arc(v.At(a, b), radius*float64(v.Scale), start, sweep, to)
}

// profile goes on along a section's path, beginning with a move when the path is
// empty and with a line to the section's start otherwise.
func (v View) profile(p *Path, segments []profile.Segment) {
	for i, s := range segments {
		if i == 0 {
			if from := v.At(s.From.N, s.From.Z); len(p.steps) == 0 {
				p.Move(from)
			} else {
				p.Line(from)
			}
		}
		to := v.At(s.To.N, s.To.Z)
		if s.Kind == profile.Line {
			p.Line(to)
			continue
		}
		v.arc(p, s.Center.N, s.Center.Z, s.Radius, s.Start, s.Sweep, to)
	}
}
