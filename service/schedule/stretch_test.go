package schedule

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The plain formula is the source: every duration is the same second.
func TestStretchAgainstPlain(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	check := func(s, x float64) {
		t.Helper()
		if got, want := stretch(s, x), ceiling(s*math.Exp(x)); got != want {
			t.Fatalf("stretch(%v, %v) = %d, plain %d", s, x, got, want)
		}
	}
	for range 300_000 {
		x := rng.NormFloat64() * 2
		check(1+math.Floor(rng.Float64()*100_000), x)
		check(rng.ExpFloat64()*1e5, 10*x)
		// On a whole second but for the last places.
		whole := math.Floor(rng.Float64()*1e6) + 1
		at := whole / math.Exp(x)
		for range 3 {
			check(at, x)
			at = math.Nextafter(at, math.Inf(1))
		}
		check(whole/math.Exp(x)*(1-1e-13), x)
		check(whole/math.Exp(x)*(1+1e-13), x)
	}
	for _, x := range []float64{0, -0.0, 20, -20, 19.999, -19.999, 800, -800, math.Inf(1), math.Inf(-1)} {
		for _, s := range []float64{1e-300, 0.5, 1, 3600, maxSeconds - 1, maxSeconds, 2 * maxSeconds} {
			check(s, x)
		}
	}
}
