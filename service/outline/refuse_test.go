package outline_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"hatchwright/service/outline"
)

func c(x, y, r float64) outline.Corner {
	return outline.Corner{At: outline.Point{X: x, Y: y}, Radius: r}
}

func TestNewRefuses(t *testing.T) {
	square := func(r float64) []outline.Corner {
		return []outline.Corner{c(0, 0, r), c(10, 0, r), c(10, 10, r), c(0, 10, r)}
	}
	star := make([]outline.Corner, 5)
	for i := range star {
		s, k := math.Sincos(float64(i) * 4 * math.Pi / 5)
		star[i] = c(100*k, 100*s, 0)
	}
	for _, k := range []struct {
		name    string
		corners []outline.Corner
		want    outline.DegenerateError
	}{
		{"two corners", square(0)[:2], outline.DegenerateError{Corner: -1, Reason: outline.TooFewCorners}},
		{"not a number", []outline.Corner{c(0, 0, 0), c(1, math.NaN(), 0), c(0, 1, 0)}, outline.DegenerateError{Corner: 1, Reason: outline.NotFinite}},
		{"infinite radius", []outline.Corner{c(0, 0, 0), c(1, 0, 0), c(0, 1, math.Inf(1))}, outline.DegenerateError{Corner: 2, Reason: outline.NotFinite}},
		{"huge", []outline.Corner{c(0, 0, 0), c(1e10, 0, 0), c(0, 1, 0)}, outline.DegenerateError{Corner: 1, Reason: outline.TooLarge}},
		{"negative radius", square(-1), outline.DegenerateError{Corner: 0, Reason: outline.NegativeRadius}},
		{"repeated", []outline.Corner{c(0, 0, 0), c(10, 0, 0), c(10, 0, 0), c(0, 10, 0)}, outline.DegenerateError{Corner: 2, Reason: outline.RepeatedCorner}},
		{"last on first", append(square(0), c(0, 0, 0)), outline.DegenerateError{Corner: 0, Reason: outline.RepeatedCorner}},
		{"on a line", []outline.Corner{c(0, 0, 0), c(10, 10, 0), c(20, 20, 0)}, outline.DegenerateError{Corner: -1, Reason: outline.NoArea}},
		{"a point", []outline.Corner{c(1, 1, 0), c(1, 1, 0), c(1, 1, 0)}, outline.DegenerateError{Corner: -1, Reason: outline.NoArea}},
		{"bow tie", []outline.Corner{c(0, 0, 0), c(10, 10, 0), c(10, 0, 0), c(0, 9, 0)}, outline.DegenerateError{Corner: -1, Reason: outline.Crossing}},
		{"star", star, outline.DegenerateError{Corner: -1, Reason: outline.Crossing}},
		{"spike", []outline.Corner{c(0, 0, 0), c(10, 0, 0), c(20, 0, 0), c(10, 0, 0), c(5, 9, 0)}, outline.DegenerateError{Corner: 2, Reason: outline.Spike}},
	} {
		_, err := outline.New(k.corners)
		var got *outline.DegenerateError
		if !errors.As(err, &got) || *got != k.want {
			t.Errorf("%s: got %v, want %v", k.name, err, k.want)
		}
	}

	var reflex *outline.ReflexError
	for _, cw := range []bool{false, true} {
		ell := []outline.Corner{c(0, 0, 0), c(20, 0, 0), c(20, 10, 0), c(10, 10, 0), c(10, 20, 0), c(0, 20, 0)}
		want := 3
		if cw {
			for i, j := 0, len(ell)-1; i < j; i, j = i+1, j-1 {
				ell[i], ell[j] = ell[j], ell[i]
			}
			want = 2
		}
		if _, err := outline.New(ell); !errors.As(err, &reflex) || reflex.Corner != want {
			t.Errorf("L, clockwise %v: %v", cw, err)
		}
	}
}

// The largest radius that fits, worked by hand.
func TestLargestRadius(t *testing.T) {
	for _, k := range []struct {
		name            string
		make            func() (outline.Outline, error)
		corner          int
		largest, common float64
	}{
		{"rectangle", func() (outline.Outline, error) { return outline.Rectangle(100, 60, 31) }, -1, 30, 30},
		{"dee", func() (outline.Outline, error) { return outline.Dee(40, 60, 12) }, -1, 10, 20},
		// Right triangle 3-4-5 of 30 by 40: inscribed circle of 10.
		{"triangle, all", func() (outline.Outline, error) {
			return outline.New([]outline.Corner{c(0, 0, 11), c(40, 0, 11), c(0, 30, 11)})
		}, 1, -1, 10},
		// One corner alone takes the shorter of its edges: 90 degrees, 30.
		{"triangle, one", func() (outline.Outline, error) {
			return outline.New([]outline.Corner{c(0, 0, 31), c(40, 0, 0), c(0, 30, 0)})
		}, 0, 30, 10},
		// Clockwise: the index is the caller's. Corner 1 has 30 less 10 left.
		{"clockwise", func() (outline.Outline, error) {
			return outline.New([]outline.Corner{c(0, 0, 10), c(0, 30, 25), c(50, 30, 0), c(50, 0, 0)})
		}, 1, 20, 15},
		// No taper: a rectangle of 40 by 100.
		{"taper", func() (outline.Outline, error) { return outline.Taper(40, 100, 100, 25) }, -1, 20, 20},
	} {
		_, err := k.make()
		var got *outline.RadiusTooLargeError
		if !errors.As(err, &got) {
			t.Errorf("%s: %v", k.name, err)
			continue
		}
		if k.corner != got.Corner && k.largest >= 0 {
			t.Errorf("%s: corner %d, want %d", k.name, got.Corner, k.corner)
		}
		if k.largest >= 0 {
			near(t, k.name+" largest", got.Largest, k.largest, 1e-12)
		}
		near(t, k.name+" common", got.Common, k.common, 1e-12)
	}
}

func TestShapesRefuse(t *testing.T) {
	var p *outline.ProportionError
	if _, err := outline.Obround(50, 60); !errors.As(err, &p) || p.LeastLength != 60 || !strings.Contains(err.Error(), "swap") {
		t.Errorf("obround 50 by 60: %v", err)
	}
	if _, err := outline.Dee(29, 60, 0); !errors.As(err, &p) || p.LeastLength != 30 {
		t.Errorf("dee 29 by 60: %v", err)
	}
	for _, v := range []float64{0, -1, math.NaN(), math.Inf(1), 1e10, 1e-9} {
		_, e1 := outline.Rectangle(v, 10, 0)
		_, e2 := outline.Rectangle(10, v, 0)
		_, e3 := outline.Obround(v, 10)
		_, e4 := outline.Circle(v)
		_, e5 := outline.Dee(10, v, 0)
		_, e6 := outline.Taper(10, v, 10, 0)
		_, e7 := outline.Taper(10, 10, v, 0)
		for i, err := range []error{e1, e2, e3, e4, e5, e6, e7} {
			var d *outline.DimensionError
			if !errors.As(err, &d) {
				t.Errorf("shape %d with %g: %v", i, v, err)
			}
		}
	}
	var d *outline.DimensionError
	if _, err := outline.Rectangle(10, 10, -1); !errors.As(err, &d) || d.Name != "radius" {
		t.Errorf("radius -1: %v", err)
	}
	o := must(t)(outline.Circle(10))
	if _, err := o.Offset(math.NaN()); !errors.As(err, &d) || d.Name != "offset" {
		t.Errorf("offset NaN: %v", err)
	}
	if _, err := o.Scale(-1); !errors.As(err, &d) || d.Name != "scale" {
		t.Errorf("scale -1: %v", err)
	}
	if !o.Translate(math.NaN(), 0).IsZero() || !o.Rotate(math.Inf(1)).IsZero() {
		t.Error("a move that is no number gave an outline")
	}
}

func TestCornersOnALineAreDropped(t *testing.T) {
	o := must(t)(outline.New([]outline.Corner{c(5, 0, 0), c(10, 0, 0), c(10, 4, 7), c(10, 10, 2), c(0, 10, 0), c(0, 0, 0)}))
	want := must(t)(outline.New([]outline.Corner{c(10, 0, 0), c(10, 10, 2), c(0, 10, 0), c(0, 0, 0)}))
	if !o.Equal(want) {
		t.Errorf("got %v, want %v", o, want)
	}
}

// Insets past the sharpening of corners, worked by hand.
func TestInsetsByHand(t *testing.T) {
	// A 45 degree right isosceles triangle stays similar: inradius r = s (1 - 1/sqrt 2).
	tri := must(t)(outline.New([]outline.Corner{c(0, 0, 0), c(100, 0, 0), c(0, 100, 0)}))
	r := 100 * (1 - math.Sqrt2/2)
	near(t, "inradius", tri.MaxInset(), r, 1e-13)
	in := must(t)(tri.Offset(-r / 4))
	near(t, "area", in.Area(), 5000*9./16, 1e-13)
	// A 100 square with one corner chamfered 10: the chamfer, 10 sqrt 2, loses
	// 2 tan(22.5) a mm; gone at 10 sqrt 2 / (2 (sqrt 2 - 1)).
	cham := must(t)(outline.New([]outline.Corner{c(0, 0, 0), c(100, 0, 0), c(100, 90, 0), c(90, 100, 0), c(0, 100, 0)}))
	gone := 10 * math.Sqrt2 / (2 * (math.Sqrt2 - 1))
	b := cham.Breaks()
	if len(b) != 2 || b[0] != 0 {
		t.Fatalf("breaks %v", b)
	}
	near(t, "chamfer gone", b[1], gone, 1e-13)
	in = must(t)(cham.Offset(-20))
	if n := len(in.Corners()); n != 4 {
		t.Errorf("%d corners left, want 4", n)
	}
	near(t, "square left", in.Area(), 3600, 1e-13)
	near(t, "sharp corner", in.Corners()[2].At.X, 80, 1e-13)
	// Radii 10 and 20 with no straight between: past 10 the arc of 20 would meet
	// the next edge at an angle.
	o := must(t)(outline.New([]outline.Corner{c(0, 0, 0), c(100, 0, 10), c(100, 30, 20), c(0, 30, 0)}))
	var k *outline.CollapseError
	if _, err := o.Offset(-11); !errors.As(err, &k) || k.Edge != 1 || math.Abs(k.Largest-10) > 1e-12 {
		t.Errorf("inset 11: %v", err)
	}
	must(t)(o.Offset(-9.999))
	// Half a corner radius left where the rectangle's others are sharp.
	o = must(t)(outline.New([]outline.Corner{c(0, 0, 20), c(100, 0, 0), c(100, 60, 0), c(0, 60, 0)}))
	in = must(t)(o.Offset(-10))
	near(t, "mixed area", in.Area(), 80*40-100*(1-math.Pi/4), 1e-13)
	near(t, "mixed radius", in.Corners()[0].Radius, 10, 0)
}

func TestZeroOutline(t *testing.T) {
	var o outline.Outline
	min, max := o.Bounds()
	p, u := o.At(3)
	if o.Perimeter() != 0 || o.Area() != 0 || o.Length() != 0 || min != max || o.MaxInset() != 0 || len(o.Segments()) != 0 ||
		len(o.Sample(1)) != 0 || o.Contains(p) || u != p || o.MinCornerRadius() != 0 || len(o.Breaks()) != 0 || !math.IsInf(o.Distance(p), 1) {
		t.Error("the zero outline measures something")
	}
	if _, err := o.PerimeterAt(0); err == nil {
		t.Error("the zero outline has a law")
	}
	if q, err := outline.Parse(o.String()); err != nil || !q.IsZero() {
		t.Errorf("%v, %v", q, err)
	}
}

func TestQuarterTurnsAreExact(t *testing.T) {
	o := must(t)(outline.Dee(300, 200, 12.7))
	q := o.Rotate(90).Rotate(90).Rotate(-180)
	if !q.Equal(o) || o.Rotate(90).Length() != 200 || o.Rotate(-270).Width() != 300 {
		t.Errorf("%v, %v", o, q)
	}
}

// Messages say what was asked for and what would do instead.
func TestMessages(t *testing.T) {
	small := must(t)(outline.Rectangle(100, 60, 10))
	for _, k := range []struct {
		run  func() error
		want []string
	}{
		{func() error { _, err := outline.Rectangle(100, 60, 31); return err }, []string{"31 mm", "30 mm"}},
		{func() error {
			_, err := outline.New([]outline.Corner{c(0, 0, 31), c(40, 0, 0), c(0, 30, 0)})
			return err
		}, []string{"31 mm", "corner 0", "30 mm"}},
		{func() error {
			_, err := outline.New([]outline.Corner{c(0, 0, 0), c(40, 0, 0), c(10, 10, 0), c(0, 40, 0)})
			return err
		}, []string{"corner 2", "(10, 10)", "convex"}},
		{func() error { _, err := small.Offset(-31); return err }, []string{"31 mm", "30 mm"}},
		{func() error {
			_, err := must(t)(outline.New([]outline.Corner{c(0, 0, 0), c(100, 0, 10), c(100, 30, 20), c(0, 30, 0)})).Offset(-12)
			return err
		}, []string{"12 mm", "edge 1", "10 mm"}},
		{func() error { _, err := outline.New(nil); return err }, []string{"three corners"}},
		{func() error { _, err := outline.Circle(-4); return err }, []string{"diameter -4"}},
		{func() error { _, err := outline.Dee(10, 60, 0); return err }, []string{"dee", "30 mm", "10 mm"}},
		{func() error { _, err := outline.Parse("outline(0 0 q)"); return err }, []string{"byte 12", `";"`}},
	} {
		err := k.run()
		if err == nil {
			t.Errorf("no error; want one with %q", k.want)
			continue
		}
		for _, w := range k.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%q does not say %q", err, w)
			}
		}
	}
}
