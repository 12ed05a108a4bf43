package drawing

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestSpread: pieces never lie over each other nor below the low end; they keep
// below the high end when they fit at all, and stand where they want when nothing
// is in the way.
func TestSpread(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const low, high, gap, slack = 10.0, 200.0, 1.5, 1e-9
		n := rapid.IntRange(1, 9).Draw(t, "n")
		sizes, wish := make([]float64, n), make([]float64, n)
		total, free := -gap, true
		for i := range n {
			sizes[i], wish[i] = rapid.Float64Range(1, 40).Draw(t, "size"), rapid.Float64Range(low, high).Draw(t, "wish")
			total += sizes[i] + gap
			free = free && wish[i]-sizes[i]/2 >= low && wish[i]+sizes[i]/2 <= high && (i == 0 || wish[i]-sizes[i]/2 >= wish[i-1]+sizes[i-1]/2+gap)
		}
		at := spread(sizes, func(i int) float64 { return wish[i] }, gap, low, high)
		for i := range n {
			if at[i] < low-slack || i > 0 && at[i] < at[i-1]+sizes[i-1]+gap-slack || total <= high-low && at[i]+sizes[i] > high+slack {
				t.Fatalf("piece %d of %v wanted at %v stands at %v", i, sizes, wish, at)
			}
			if free && math.Abs(at[i]+sizes[i]/2-wish[i]) > slack {
				t.Fatalf("nothing is in the way of %v, and piece %d of %v stands at %v", wish, i, sizes, at[i])
			}
		}
	})
}
