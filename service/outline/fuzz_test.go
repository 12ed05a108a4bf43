package outline_test

import (
	"encoding/binary"
	"errors"
	"math"
	"testing"

	"hatchwright/service/outline"
)

func pack(v ...float64) []byte {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
	}
	return b
}

// FuzzNewOffset takes arbitrary numbers as corners, x, y and radius in turn. What
// New takes must measure finite, read back, and offset to something that holds
// it or that it holds; what it refuses must be refused with a typed error.
func FuzzNewOffset(f *testing.F) {
	f.Add(pack(0, 0, 0, 100, 0, 0, 100, 100, 0, 0, 100, 0), -20.0)
	f.Add(pack(-50, -30, 30, 50, -30, 30, 50, 30, 30, -50, 30, 30), -29.9)
	f.Add(pack(-25, -25, 25, 25, -25, 25, 25, 25, 25, -25, 25, 25), 4.0)
	f.Add(pack(0, 0, 0, 10, 0, 0, 20, 0, 5, 20, 20, 0), 1.0)               // on a line
	f.Add(pack(0, 0, 0, 10, 10, 0, 10, 0, 0, 0, 10, 0), 1.0)               // bow tie
	f.Add(pack(0, 0, 0, 0, 0, 0, 10, 0, 0, 0, 10, 0), 1.0)                 // repeated
	f.Add(pack(0, 0, 0, 100, 1e-9, 0, 50, 30, 0), -3.0)                    // nearly on a line
	f.Add(pack(math.NaN(), 0, 0, math.Inf(1), 0, 0, 1e300, 1, 1), 1.0)     // not finite
	f.Add(pack(0, 0, 0, 100, 0, 0, 100, 50, 50, 0, 50, 50), -1.0)          // used up at once
	f.Add(pack(0, 100, 10, 100, 100, 10, 100, 0, 10, 0, 0, 10), -49.99999) // clockwise
	f.Fuzz(func(t *testing.T, data []byte, d float64) {
		var corners []outline.Corner
		for len(data) >= 24 && len(corners) < 200 {
			x := math.Float64frombits(binary.LittleEndian.Uint64(data))
			y := math.Float64frombits(binary.LittleEndian.Uint64(data[8:]))
			r := math.Float64frombits(binary.LittleEndian.Uint64(data[16:]))
			corners = append(corners, outline.Corner{At: outline.Point{X: x, Y: y}, Radius: r})
			data = data[24:]
		}
		o, err := outline.New(corners)
		if err != nil {
			checkTyped(t, err, len(corners))
			return
		}
		checkSound(t, o)
		p, err := o.Offset(d)
		if err != nil {
			checkTyped(t, err, len(corners))
			return
		}
		checkSound(t, p)
		if d == 0 {
			return
		}
		outer, inner := o, p
		if d > 0 {
			outer, inner = p, o
		}
		// Relative to the size, as the package's tolerances are: where the corners of
		// a needle lie far outside the curve, so does what rounding moves.
		slack := 1e-7 * math.Max(size(outer), size(inner))
		for _, g := range inner.Segments() {
			if dist := outer.Distance(g.From); dist > slack-math.Abs(d)*(1-1e-6) {
				t.Fatalf("%v offset %g is %v, not %g clear of it at %v but %g", o, d, p, math.Abs(d), g.From, -dist)
			}
		}
		if !(inner.Area() <= outer.Area()*(1+1e-9)) {
			t.Fatalf("%v offset %g: areas %g and %g", o, d, o.Area(), p.Area())
		}
	})
}

// size is the greater of an outline's extent and the largest coordinate of its
// corners, mm.
func size(o outline.Outline) float64 {
	lo, hi := o.Bounds()
	largest := hi.X - lo.X + hi.Y - lo.Y
	for _, c := range o.Corners() {
		largest = math.Max(largest, math.Max(math.Abs(c.At.X), math.Abs(c.At.Y)))
	}
	return largest
}

func checkTyped(t *testing.T, err error, corners int) {
	t.Helper()
	var (
		degenerate *outline.DegenerateError
		reflex     *outline.ReflexError
		large      *outline.RadiusTooLargeError
		collapse   *outline.CollapseError
		dimension  *outline.DimensionError
		syntax     *outline.SyntaxError
	)
	switch {
	case errors.As(err, &degenerate):
		if degenerate.Corner < -1 || degenerate.Corner >= corners || degenerate.Reason == "" {
			t.Fatalf("%#v", degenerate)
		}
	case errors.As(err, &reflex):
		if reflex.Corner < 0 || reflex.Corner >= corners {
			t.Fatalf("%#v", reflex)
		}
	case errors.As(err, &large):
		if !(large.Largest >= 0 && large.Largest < large.Radius) || large.Corner < 0 || large.Corner >= corners {
			t.Fatalf("%#v", large)
		}
	case errors.As(err, &collapse):
		if !(collapse.Largest >= 0) || math.IsInf(collapse.Largest, 0) {
			t.Fatalf("%#v", collapse)
		}
	case errors.As(err, &dimension), errors.As(err, &syntax):
	default:
		t.Fatalf("untyped %T: %v", err, err)
	}
}

// checkSound verifies what must hold of any outline.
func checkSound(t *testing.T, o outline.Outline) {
	t.Helper()
	lo, hi := o.Bounds()
	for _, v := range []float64{o.Perimeter(), o.Area(), o.Length(), o.Width(), o.MaxInset() + 1, o.MinCornerRadius() + 1, hi.X - lo.X, hi.Y - lo.Y} {
		if !(v > 0) || math.IsInf(v, 0) {
			t.Fatalf("%v measures %g (L %g, A %g, most %g)", o, v, o.Perimeter(), o.Area(), o.MaxInset())
		}
	}
	// Isoperimetric inequality: A <= L^2/(4 pi).
	if l := o.Perimeter(); o.Area() > l*l/(4*math.Pi)*(1+1e-9) {
		t.Fatalf("%v: area %g in a perimeter of %g", o, o.Area(), l)
	}
	// The greatest inset is at most half the width across. Tangents may overlap by a
	// billionth of the corners' coordinates, which can lie far outside the curve: two
	// kilometers of needle rounded to a circle of 60 mm.
	if m := o.MaxInset(); m > math.Min(o.Length(), o.Width())/2*(1+1e-6)+2e-9*size(o) {
		t.Fatalf("%v: inset by up to %g", o, m)
	}
	back, err := outline.Parse(o.String())
	if err != nil || !back.Equal(o) {
		t.Fatalf("%v read back as %v: %v", o, back, err)
	}
	segs := o.Segments()
	for i, g := range segs {
		if g.To != segs[(i+1)%len(segs)].From {
			t.Fatalf("%v: gap after segment %d", o, i)
		}
	}
	for _, v := range append([]float64{o.MaxInset()}, o.Breaks()...) {
		l, err1 := o.PerimeterAt(-v)
		a, err2 := o.AreaAt(-v)
		if err := errors.Join(err1, err2); err != nil || !(l >= 0 && a >= 0) {
			t.Fatalf("%v at inset %g: %g, %g, %v", o, v, l, a, err)
		}
	}
}

// FuzzParse reads arbitrary text. What is read must write and read back the same.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"outline()", "outline(0 0; 10 0; 10 10)", "outline(-50 -30 r5; 50 -30 r5; 50 30; -50 30)",
		"outline( 0 0 r 1e0 ;\n10 0;5 8)", "outline(0 0; 10 0; 10 10", "outline(0 0 r; 1 1; 2 2)", "outline(NaN 0; 1 0; 0 1)",
		"outline(1e999 0; 1 0; 0 1)", "", "outline", "outline(0 0; 10 0; 10 10) x", "outline(0x1p4 0; 1 0; 0 1)", "outline(0-0; 1 0; 0 1)",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		o, err := outline.Parse(s)
		if err != nil {
			checkTyped(t, err, len(s))
			return
		}
		back, err := outline.Parse(o.String())
		if err != nil || !back.Equal(o) || back.String() != o.String() {
			t.Fatalf("%q read as %v, back as %v: %v", s, o, back, err)
		}
	})
}
