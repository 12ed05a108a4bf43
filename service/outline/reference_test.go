package outline_test

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"testing"

	"hatchwright/service/outline"
)

type referenceCase struct {
	Shape           string
	Args            []float64
	Corners         [][3]float64
	Offset          float64
	Area, Perimeter float64
	Empty           bool
	OffsetArea      float64    `json:"offset_area"`
	OffsetPerimeter float64    `json:"offset_perimeter"`
	OffsetBounds    [4]float64 `json:"offset_bounds"`
}

func readReference(t testing.TB) []referenceCase {
	t.Helper()
	data, err := os.ReadFile("../../testdata/reference/polygons/offsets.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Cases []referenceCase }
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	return file.Cases
}

func (c referenceCase) outline(t testing.TB) outline.Outline {
	corners := make([]outline.Corner, len(c.Corners))
	for i, v := range c.Corners {
		corners[i] = outline.Corner{At: outline.Point{X: v[0], Y: v[1]}, Radius: v[2]}
	}
	o := must(t)(outline.New(corners))
	a := c.Args
	var shape outline.Outline
	switch c.Shape {
	case "rectangle":
		shape = must(t)(outline.Rectangle(a[0], a[1], a[2]))
	case "obround":
		shape = must(t)(outline.Obround(a[0], a[1]))
	case "circle":
		shape = must(t)(outline.Circle(a[0]))
	case "dee":
		shape = must(t)(outline.Dee(a[0], a[1], a[2]))
	case "taper":
		shape = must(t)(outline.Taper(a[0], a[1], a[2], a[3]))
	default:
		return o
	}
	if !shape.Equal(o) {
		t.Errorf("%s %v has corners %v, want %v", c.Shape, a, shape, o)
	}
	return o
}

// Areas, perimeters and bounds of random outlines and their offsets against
// Shapely 1.8.5 (GEOS); see make.py beside the data.
func TestAgainstShapely(t *testing.T) {
	// Arcs are there in chords or tangents, 400 to the quarter circle: a relative
	// error of at most 2.6e-6 in the area and half that in the perimeter.
	const rel = 1e-5
	compared, empty, usedUp, worst := 0, 0, 0, 0.0
	kinds := map[string]int{}
	for i, c := range readReference(t) {
		o := c.outline(t)
		check := func(what string, got, want, scale float64) {
			t.Helper()
			e := math.Abs(got-want) / scale
			worst = math.Max(worst, e)
			if !(e <= rel) {
				t.Errorf("case %d: %v offset %g: %s %.10g, want %.10g", i, o, c.Offset, what, got, want)
			}
		}
		check("area before", o.Area(), c.Area, c.Area)
		check("perimeter before", o.Perimeter(), c.Perimeter, c.Perimeter)
		got, err := o.Offset(c.Offset)
		var collapse *outline.CollapseError
		switch {
		case err == nil && c.Empty:
			t.Errorf("case %d: %v offset %g: got %v, want nothing left", i, o, c.Offset, got)
			continue
		case errors.As(err, &collapse):
			if collapse.Edge >= 0 {
				usedUp++
			} else if !c.Empty {
				t.Errorf("case %d: %v offset %g: %v", i, o, c.Offset, err)
			} else {
				empty++
			}
			if collapse.Largest > -c.Offset {
				t.Errorf("case %d: %v offset %g refused, but %g said to work", i, o, c.Offset, collapse.Largest)
			}
			continue
		case err != nil:
			t.Errorf("case %d: %v", i, err)
			continue
		}
		compared++
		kinds[c.Shape]++
		check("area", got.Area(), c.OffsetArea, c.OffsetArea)
		check("perimeter", got.Perimeter(), c.OffsetPerimeter, c.OffsetPerimeter)
		lo, hi := got.Bounds()
		size := math.Max(hi.X-lo.X, hi.Y-lo.Y)
		for k, v := range [4]float64{lo.X, lo.Y, hi.X, hi.Y} {
			check("bounds", v, c.OffsetBounds[k], size)
		}
		l, err1 := o.PerimeterAt(c.Offset)
		a, err2 := o.AreaAt(c.Offset)
		if err := errors.Join(err1, err2); err != nil {
			t.Errorf("case %d: law: %v", i, err)
		}
		// The law and the shape are two ways to the same number.
		near(t, "law's perimeter", l, got.Perimeter(), 1e-10)
		near(t, "law's area", a, got.Area(), 1e-10)
	}
	t.Logf("%d offsets compared %v, worst %.2g; %d empty, %d stopped at a used-up edge", compared, kinds, worst, empty, usedUp)
	if compared < 1000 || empty < 50 || usedUp < 20 || len(kinds) < 6 {
		t.Errorf("too few of a kind: %d compared (%v), %d empty, %d used up", compared, kinds, empty, usedUp)
	}
}
