package outline_test

import (
	"fmt"
	"math"
	"testing"

	"hatchwright/service/outline"
)

// ring returns n corners on an ellipse, unevenly enough spread that its edges
// do not all vanish at once.
func ring(n int) []outline.Corner {
	cs := make([]outline.Corner, n)
	for i := range cs {
		s, k := math.Sincos((float64(i) + 0.3*math.Sin(float64(7*i))) * 2 * math.Pi / float64(n))
		cs[i] = outline.Corner{At: outline.Point{X: 700 * k, Y: 500 * s}}
	}
	return cs
}

var sizes = []int{4, 100, 1000, 10000}

var (
	keptOutline outline.Outline
	keptNumber  float64
)

func BenchmarkNew(b *testing.B) {
	for _, n := range sizes {
		cs := ring(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				o, err := outline.New(cs)
				if err != nil {
					b.Fatal(err)
				}
				keptOutline = o
			}
		})
	}
}

func BenchmarkOffset(b *testing.B) {
	for _, d := range []float64{20, -200} {
		for _, n := range sizes {
			o := must(b)(outline.New(ring(n)))
			b.Run(fmt.Sprintf("%g/%d", d, n), func(b *testing.B) {
				for b.Loop() {
					p, err := o.Offset(d)
					if err != nil {
						b.Fatal(err)
					}
					keptOutline = p
				}
			})
		}
	}
}

func BenchmarkLaw(b *testing.B) {
	for _, n := range sizes {
		o := must(b)(outline.New(ring(n)))
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				keptNumber = o.Law().MaxInset()
			}
		})
	}
}

func BenchmarkDistance(b *testing.B) {
	for _, n := range sizes {
		o := must(b)(outline.New(ring(n)))
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				keptNumber = o.Distance(outline.Point{X: 100, Y: 250})
			}
		})
	}
}

// Ten thousand corners, inset through thousands of dropped edges: the law and
// the shape still agree, and the count of corners falls.
func TestTenThousandCorners(t *testing.T) {
	o := must(t)(outline.New(ring(10000)))
	if n := len(o.Corners()); n != 10000 {
		t.Fatalf("%d corners kept", n)
	}
	for _, d := range []float64{-1, -100, -300, -450, 250} {
		p := must(t)(o.Offset(d))
		l, _ := o.PerimeterAt(d)
		a, _ := o.AreaAt(d)
		near(t, "perimeter", p.Perimeter(), l, 1e-9)
		near(t, "area", p.Area(), a, 1e-9)
		t.Logf("offset %g: %d corners", d, len(p.Corners()))
	}
}
