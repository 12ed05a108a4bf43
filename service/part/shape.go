package part

import (
	"fmt"
	"slices"

	"hatchwright/service/outline"
)

// The plan shapes.
const (
	Rectangle = "rectangle"
	Obround   = "obround"
	Circle    = "circle"
	Dee       = "dee"
	Taper     = "taper"
	Polygon   = "polygon"
)

// shape is everything that depends on a plan's shape. A new one is a row of shapes, its
// figures in Plan and in Parameters.
type shape struct {
	name  string
	sizes []string // pointers of the figures that make it larger, each alone
	round bool     // it has a corner radius
	even  bool     // it is the same about both axes
	turns bool     // the smallest rectangle round it may lie turned
	curve func(Plan) (outline.Outline, error)
	// size says its size in a few words; l writes a length.
	size func(p Plan, l func(mm float64) string) string
}

func lengthByWidth(p Plan, l func(mm float64) string) string {
	return l(p.Length) + " × " + l(p.Width)
}

// shapes are the plan shapes, in the order of the wire: the one place that names them
// all.
var shapes = []shape{
	{
		name: Rectangle, sizes: []string{"/outline/length", "/outline/width"}, round: true, even: true,
		curve: func(p Plan) (outline.Outline, error) { return outline.Rectangle(p.Length, p.Width, p.CornerRadius) }, size: lengthByWidth,
	},
	{
		name: Obround, sizes: []string{"/outline/length", "/outline/width"}, even: true,
		curve: func(p Plan) (outline.Outline, error) { return outline.Obround(p.Length, p.Width) }, size: lengthByWidth,
	},
	{
		name: Circle, sizes: []string{"/outline/diameter"}, even: true,
		curve: func(p Plan) (outline.Outline, error) { return outline.Circle(p.Diameter) },
		size:  func(p Plan, l func(mm float64) string) string { return l(p.Diameter) },
	},
	{
		name: Dee, sizes: []string{"/outline/length", "/outline/width"}, round: true,
		curve: func(p Plan) (outline.Outline, error) { return outline.Dee(p.Length, p.Width, p.CornerRadius) }, size: lengthByWidth,
	},
	{
		name: Taper, sizes: []string{"/outline/length", "/outline/width_aft", "/outline/width_fwd"}, round: true, turns: true,
		curve: func(p Plan) (outline.Outline, error) {
			return outline.Taper(p.Length, p.WidthAft, p.WidthFwd, p.CornerRadius)
		},
		size: func(p Plan, l func(mm float64) string) string {
			return l(p.Length) + " × " + l(p.WidthAft) + "/" + l(p.WidthFwd)
		},
	},
	{
		name: Polygon, turns: true, // its figures are the corners
		curve: func(p Plan) (outline.Outline, error) { return outline.New(p.Corners) },
		size:  func(p Plan, _ func(mm float64) string) string { return fmt.Sprintf("%d corners", len(p.Corners)) },
	},
}

// Shapes are the plan shapes, in the order of the wire.
var Shapes = func() (out []string) {
	for _, s := range shapes {
		out = append(out, s.name)
	}
	return out
}()

// shape is that of the plan; the zero shape, which draws nothing, where there is none.
func (p Plan) shape() shape {
	for _, s := range shapes {
		if s.name == p.Shape {
			return s
		}
	}
	return shape{curve: func(Plan) (outline.Outline, error) { return outline.Outline{}, fmt.Errorf("no shape %q", p.Shape) }}
}

// uses reports whether the figure of a pointer under /outline means something for the
// shape.
func (s shape) uses(pointer string) bool {
	return slices.Contains(s.sizes, pointer) || s.round && pointer == "/outline/corner_radius"
}

// SizePointers lists the plan figures that make the hatch larger: those that its shape
// uses. A polygon has none.
func (c *Configuration) SizePointers() []string { return slices.Clone(c.Outline.shape().sizes) }

// Even reports whether the plan is the same about both axes.
func (p Plan) Even() bool { return p.shape().even }

// Turns reports whether the smallest rectangle round the plan may lie turned.
func (p Plan) Turns() bool { return p.shape().turns }

// Size says the size that was given in a few words; l writes a length of mm.
func (p Plan) Size(l func(mm float64) string) string {
	s := p.shape()
	if s.size == nil {
		return ""
	}
	return s.size(p, l)
}
