package schedule

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

var lawSigmas = []float64{0, 0.05, 0.1, 0.3, 0.5, 1, MaxSigma}

// Between its exact values a law goes straight; the quantile function is gonum's.
func TestLawAgainstQuantiles(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, sigma := range lawSigmas {
		l := newLaw(sigma)
		plain := func(float64) float64 { return 1 }
		if sigma > 0 {
			plain = distuv.LogNormal{Mu: 0, Sigma: sigma}.Quantile
		}
		near := func(p uint32, tolerance float64) {
			t.Helper()
			got, want := l.at(p), plain((float64(p)+0.5)/(1<<32))
			if !(math.Abs(got-want) <= tolerance*want) {
				t.Errorf("sigma %v, p %v: %v, exactly %v", sigma, float64(p)/(1<<32), got, want)
			}
		}
		for i := range uint32(lawSteps) {
			near(i*lawUnits, 1e-6)
			near(i*lawUnits+lawUnits/2, 4e-3*sigma+1e-6)
		}
		// The outermost are exact, to the last unit.
		for range 10_000 {
			p := rng.Uint32N(lawTail * lawUnits)
			near(p, 1e-9)
			near(math.MaxUint32-p, 1e-9)
		}
		near(0, 1e-9)
		near(math.MaxUint32, 1e-9)
		last := 0.0
		for p := uint64(0); p < 1<<32; p += lawUnits / 8 {
			v := l.at(uint32(p))
			if v < last {
				t.Fatalf("sigma %v: falls at %d from %v to %v", sigma, p, last, v)
			}
			last = v
		}
	}
}

// Mean and variance of a law, by the parts it is made of, against the exact ones.
//
//	mean = exp(sigma^2/2)
//	E[x; z < a] = exp(sigma^2/2) P(z < a - sigma), of the square with 2 sigma for sigma
//
// Source: Johnson, Kotz, Balakrishnan, see Lognormal.
func TestLawMoments(t *testing.T) {
	for _, sigma := range lawSigmas {
		l := newLaw(sigma)
		mean, square := 0.0, 0.0
		for _, k := range l.steps[lawTail : lawSteps-lawTail] {
			a, b := k.value, k.value+k.slope*lawUnits
			mean += (a + b) / 2 / lawSteps
			square += (a*a + a*b + b*b) / 3 / lawSteps
		}
		below := NormalQuantile(float64(lawTail) / lawSteps) // and as far above
		for k, sum := range []*float64{&mean, &square} {
			s := float64(k+1) * sigma
			*sum += math.Exp(s*s/2) * (NormalProbability(below-s) + NormalProbability(below+s))
		}
		exact := Lognormal{Sigma: sigma}
		tolerance, scatter := 2e-5, 3e-4
		if sigma > 0.5 {
			tolerance, scatter = 6e-4, 6e-4
		}
		if math.Abs(mean-exact.Mean()) > tolerance*exact.Mean() {
			t.Errorf("sigma %v: mean %v, exactly %v", sigma, mean, exact.Mean())
		}
		if v := square - mean*mean; math.Abs(v-exact.Variance()) > scatter*exact.Variance()+1e-12 {
			t.Errorf("sigma %v: variance %v, exactly %v", sigma, v, exact.Variance())
		}
	}
}

// What is drawn is lognormal by the test of Kolmogorov and Smirnov: 1.95 / sqrt(n) is
// passed once in a thousand (Smirnov's table, from memory); the draws are always the
// same.
func TestLawIsLognormal(t *testing.T) {
	const n, sigma = 200_000, 0.3
	l, pcg := newLaw(sigma), rand.NewPCG(3, 5)
	var upper, lower []float64
	for range n {
		p := pcg.Uint64()
		upper, lower = append(upper, l.at(uint32(p>>32))), append(lower, l.at(uint32(p)))
	}
	together := 0.0
	for i := range upper {
		together += math.Log(upper[i]) * math.Log(lower[i]) / (sigma * sigma * n)
	}
	if math.Abs(together) > 4/math.Sqrt(n) {
		t.Errorf("labor and wait of one draw go together: %v", together)
	}
	for name, x := range map[string][]float64{"upper": upper, "lower": lower} {
		slices.Sort(x)
		worst := 0.0
		for i, v := range x {
			f := NormalProbability(math.Log(v) / sigma)
			worst = max(worst, f-float64(i)/n, float64(i+1)/n-f)
		}
		if worst > 1.95/math.Sqrt(n) {
			t.Errorf("%s half: farthest %v from lognormal", name, worst)
		}
	}
}
