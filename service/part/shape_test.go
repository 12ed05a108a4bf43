package part

import (
	"slices"
	"strings"
	"testing"

	"hatchwright/service/outline"
)

// TestShapesAreWhole: each shape draws itself from its figures, of which each makes it
// larger, and says its size; each figure of an outline belongs to a shape.
func TestShapesAreWhole(t *testing.T) {
	plan := Plan{Length: 500, Width: 400, CornerRadius: 60, Diameter: 450, WidthAft: 420, WidthFwd: 300,
		Corners: []outline.Corner{{At: outline.Point{X: -250, Y: -200}}, {At: outline.Point{X: 250, Y: -200}}, {At: outline.Point{X: 0, Y: 220}}}}
	used := map[string]bool{"/outline/shape": true}
	for _, s := range shapes {
		t.Run(s.name, func(t *testing.T) {
			c := Configuration{Outline: plan}
			c.Outline.Shape = s.name
			o, findings := c.Outline.Curve()
			if len(findings) > 0 {
				t.Fatalf("it is not drawn: %v", findings)
			}
			if c.Outline.Size(func(float64) string { return "1" }) == "" {
				t.Error("it does not say its size")
			}
			for _, pointer := range s.sizes {
				used[pointer] = true
				larger := c
				*At(pointer).Number(&larger) += 10
				if !At(pointer).Used(&c) {
					t.Errorf("%s makes it larger and is not used by it", pointer)
				}
				if more, findings := larger.Outline.Curve(); len(findings) > 0 || more.Area() <= o.Area() {
					t.Errorf("10 mm more of %s make it %v mm2, from %v mm2 (%v)", pointer, more.Area(), o.Area(), findings)
				}
			}
			low, high := o.Bounds()
			even := true
			for i := range 40 {
				for k := range 40 {
					at := outline.Point{X: low.X + (high.X-low.X)*(float64(i)+0.37)/40, Y: low.Y + (high.Y-low.Y)*(float64(k)+0.29)/40}
					in := o.Contains(at)
					even = even && in == o.Contains(outline.Point{X: low.X + high.X - at.X, Y: at.Y}) && in == o.Contains(outline.Point{X: at.X, Y: low.Y + high.Y - at.Y})
				}
			}
			if even != s.even {
				t.Errorf("it is called even: %t; 1,600 points and their mirrors say %t", s.even, even)
			}
			if s.round {
				used["/outline/corner_radius"] = true
				sharper := c
				sharper.Outline.CornerRadius = 20
				if other, findings := sharper.Outline.Curve(); len(findings) > 0 || other.Area() <= o.Area() {
					t.Errorf("its corner radius does not round it: %v mm2 with 20 mm, %v mm2 with 60 mm (%v)", other.Area(), o.Area(), findings)
				}
			}
		})
	}
	for i := range Parameters {
		if p := Parameters[i].Pointer; strings.HasPrefix(p, "/outline/") && !used[p] {
			t.Errorf("no shape uses %s", p)
		}
	}
	if word := At("/outline/shape").Words; !slices.Equal(word, Shapes) {
		t.Errorf("the words of /outline/shape are %v, want %v", word, Shapes)
	}
	if _, findings := (Plan{Shape: "star"}).Curve(); len(findings) == 0 {
		t.Error("a shape that there is not is drawn")
	}
}
