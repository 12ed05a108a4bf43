package part

import (
	"errors"
	"math"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/quantity"
)

// LeastTrunkRadius is the smallest plan corner that glass can be laid up in
// cleanly, mm (common practice, no source).
const LeastTrunkRadius = 10.0

const commonPractice = "common practice, no published source"

// Curve returns the customer's plan shape as an outline, or the findings that
// say why it is none.
func (p Plan) Curve() (outline.Outline, []finding.Finding) {
	o, err := p.shape().curve(p)
	if err == nil {
		return o, nil
	}
	return o, []finding.Finding{p.fault(err)}
}

// fault turns an outline's error into a finding on the plan.
func (p Plan) fault(err error) finding.Finding {
	var large *outline.RadiusTooLargeError
	if errors.As(err, &large) {
		pointer := "/outline/corner_radius"
		if p.Shape == Polygon {
			pointer = cornerPointer(large.Corner) + "/radius"
		}
		measured, limit := quantity.Length(large.Radius), quantity.Length(large.Largest)
		f := finding.Finding{
			Code: "outline.corner_radius_too_large", Severity: finding.Error, Pointer: pointer,
			Measured: measured, Limit: limit, Source: "geometry: the tangent lengths at both ends of an edge may not exceed the edge",
		}.Say("A corner radius of %v does not fit between the straight edges; the largest that fits is %v.", measured, limit)
		f.Mends = []finding.Mend{finding.AtMost(pointer, limit)}
		for _, size := range [...]string{"/outline/length", "/outline/width"} {
			if p.shape().uses(size) {
				f.Mends = append(f.Mends, finding.Seek(size, quantity.Up))
			}
		}
		return f
	}
	var reflex *outline.ReflexError
	if errors.As(err, &reflex) {
		inside := quantity.Angle(interiorAngle(p.Corners, reflex.Corner))
		return finding.Finding{
			Code: "outline.reflex_corner", Severity: finding.Error, Pointer: cornerPointer(reflex.Corner),
			Measured: inside, Limit: quantity.Angle(180),
			Source: "shop rule: a lid's outline is convex, so that a bearing can run all round it",
		}.Say("The outline turns inward at corner %d (%v inside); only outlines that bulge outward all round are built. Move that corner outward or leave it out.",
			reflex.Corner+1, inside)
	}
	var short *outline.ProportionError
	if errors.As(err, &short) {
		return finding.Finding{
			Code: "outline.too_short", Severity: finding.Error, Pointer: "/outline/length",
			Measured: quantity.Length(p.Length), Limit: quantity.Length(short.LeastLength), Source: "geometry",
			Mends: []finding.Mend{finding.AtLeast("/outline/length", quantity.Length(short.LeastLength)), finding.Seek("/outline/width", quantity.Down)},
		}.Say("A %s %v wide needs a length of at least %v, not %v; a hatch that is wider than long is given turned.",
			p.Shape, quantity.Length(p.Width), quantity.Length(short.LeastLength), quantity.Length(p.Length))
	}
	var bad *outline.DegenerateError
	if errors.As(err, &bad) && bad.Corner >= 0 {
		return finding.Finding{
			Code: "outline.no_shape", Severity: finding.Error, Pointer: cornerPointer(bad.Corner),
			Measured: quantity.Of(float64(len(p.Corners)), quantity.Count), Limit: quantity.Of(float64(len(p.Corners)-1), quantity.Count), Source: "geometry",
		}.Say("Corner %d cannot stand: %s. Move it or leave it out.", bad.Corner+1, string(bad.Reason))
	}
	return finding.Finding{
		Code: "outline.no_shape", Severity: finding.Error, Pointer: "/outline",
		Measured: quantity.Of(float64(len(p.Corners)), quantity.Count), Limit: quantity.Of(3, quantity.Count), Source: "geometry",
	}.Say("The figures do not close to a plan shape: %v.", err)
}

// extent returns the longest side of the plan and how many corners it has, without
// drawing it.
func (p Plan) extent() (side float64, corners int) {
	if p.Shape != Polygon {
		return math.Max(math.Max(p.Length, p.Width), math.Max(p.Diameter, math.Max(p.WidthAft, p.WidthFwd))), 4
	}
	low, high := outline.Point{X: math.Inf(1), Y: math.Inf(1)}, outline.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, k := range p.Corners {
		low.X, low.Y = math.Min(low.X, k.At.X), math.Min(low.Y, k.At.Y)
		high.X, high.Y = math.Max(high.X, k.At.X), math.Max(high.Y, k.At.Y)
	}
	return math.Max(0, math.Max(high.X-low.X, high.Y-low.Y)), len(p.Corners)
}

func cornerPointer(i int) string {
	return "/outline/corners/" + quantity.Decimal(float64(i), 0)
}

// interiorAngle returns the angle inside the polygon at corner i, deg.
func interiorAngle(corners []outline.Corner, i int) float64 {
	n := len(corners)
	at := func(k int) outline.Point { return corners[(k+n)%n].At }
	twice := 0.0
	for k := range corners {
		a, b := at(k), at(k+1)
		twice += a.X*b.Y - a.Y*b.X
	}
	a, b, c := at(i-1), at(i), at(i+1)
	turn := math.Atan2((b.X-a.X)*(c.Y-b.Y)-(b.Y-a.Y)*(c.X-b.X), (b.X-a.X)*(c.X-b.X)+(b.Y-a.Y)*(c.Y-b.Y))
	if twice < 0 {
		turn = -turn
	}
	return 180 - turn*180/math.Pi
}
