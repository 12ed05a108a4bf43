package outline_test

import (
	"errors"
	"math"
	"testing"

	"hatchwright/service/outline"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Max(1, math.Abs(want))) {
		t.Errorf("%s = %.15g, want %.15g", what, got, want)
	}
}

func must(t testing.TB) func(outline.Outline, error) outline.Outline {
	return func(o outline.Outline, err error) outline.Outline {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
}

// Perimeters and areas worked by hand from the elementary formulas.
func TestShapes(t *testing.T) {
	for _, c := range []struct {
		name                           string
		o                              outline.Outline
		perimeter, area, length, width float64
		minRadius, maxInset            float64
		breaks                         int
		arcs, lines                    int
	}{
		{"square", must(t)(outline.Rectangle(100, 100, 0)), 400, 1e4, 100, 100, 0, 50, 1, 0, 4},
		{"rectangle", must(t)(outline.Rectangle(100, 60, 10)), 240 + 20*math.Pi, 6000 - 400 + 100*math.Pi, 100, 60, 10, 30, 1, 4, 4},
		{"obround", must(t)(outline.Obround(100, 60)), 80 + 60*math.Pi, 2400 + 900*math.Pi, 100, 60, 30, 30, 0, 4, 2},
		{"circle", must(t)(outline.Circle(50)), 50 * math.Pi, 625 * math.Pi, 50, 50, 25, 25, 0, 4, 0},
		{"dee", must(t)(outline.Dee(100, 60, 0)), 60 + 140 + 30*math.Pi, 70*60 + 450*math.Pi, 100, 60, 0, 30, 1, 2, 3},
		// 3-4-5: legs of 40 along and 30 across.
		{"taper", must(t)(outline.Taper(40, 100, 40, 0)), 140 + 100, 70 * 40, 40, 100, 0, 20, 1, 0, 4},
	} {
		near(t, c.name+" perimeter", c.o.Perimeter(), c.perimeter, 1e-14)
		near(t, c.name+" area", c.o.Area(), c.area, 1e-14)
		near(t, c.name+" length", c.o.Length(), c.length, 0)
		near(t, c.name+" width", c.o.Width(), c.width, 0)
		near(t, c.name+" least radius", c.o.MinCornerRadius(), c.minRadius, 0)
		near(t, c.name+" max inset", c.o.MaxInset(), c.maxInset, 1e-14)
		if b := c.o.Breaks(); len(b) != c.breaks {
			t.Errorf("%s breaks %v, want %d", c.name, b, c.breaks)
		}
		arcs, lines := 0, 0
		for _, s := range c.o.Segments() {
			if s.Kind == outline.Arc {
				arcs++
			} else {
				lines++
			}
		}
		if arcs != c.arcs || lines != c.lines {
			t.Errorf("%s has %d arcs and %d lines, want %d and %d", c.name, arcs, lines, c.arcs, c.lines)
		}
		back, err := outline.Parse(c.o.String())
		if err != nil || !back.Equal(c.o) {
			t.Errorf("%s read back: %v, %v", c.name, back, err)
		}
	}
}

func TestInsetToNearlyNothing(t *testing.T) {
	for _, o := range []outline.Outline{
		must(t)(outline.Circle(500)), must(t)(outline.Obround(700, 500)),
		must(t)(outline.Dee(700, 500, 250)), must(t)(outline.Rectangle(700, 500, 33)),
		must(t)(outline.Rectangle(700, 500, 0)),
	} {
		l, a := o.Perimeter(), o.Area()
		in := must(t)(o.Offset(-249.9999))
		want, err := o.AreaAt(-249.9999)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "area", in.Area(), want, 1e-8)
		if o.MinCornerRadius() >= 249.9999 {
			near(t, "area by the law", in.Area(), a-249.9999*l+math.Pi*249.9999*249.9999, 1e-8)
		}
		var c *outline.CollapseError
		if _, err := o.Offset(-250); !errors.As(err, &c) || math.Abs(c.Largest-250) > 1e-9 {
			t.Errorf("inset 250: %v", err)
		}
		if _, err := o.Offset(-400); !errors.As(err, &c) || math.Abs(c.Largest-250) > 1e-9 {
			t.Errorf("inset 400: %v", err)
		}
	}
}
