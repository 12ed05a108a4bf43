package profile_test

import (
	"fmt"
	"math"
	"testing"

	"hatchwright/service/outline"
	"hatchwright/service/profile"
)

var keptNumber float64

func BenchmarkSweep(b *testing.B) {
	for _, n := range []int{4, 100, 1000, 10000} {
		cs := make([]outline.Corner, n)
		for i := range cs {
			s, c := math.Sincos((float64(i) + 0.3*math.Sin(float64(7*i))) * 2 * math.Pi / float64(n))
			cs[i].At = outline.Point{X: 700 * c, Y: 500 * s}
		}
		o := mustOutline(b)(outline.New(cs))
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				a, err := profile.SweptArea(o, recess())
				if err != nil {
					b.Fatal(err)
				}
				v, err := profile.EnclosedVolume(o, recess())
				if err != nil {
					b.Fatal(err)
				}
				keptNumber = a + v
			}
		})
	}
}
