package schedule_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/schedule"
)

func near(t *testing.T, name string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v within %v", name, got, want, tolerance)
	}
}

// Worked by calculation from the formulas of the distribution, to the digits
// printed; half a unit of the last digit is the tolerance.
func TestLognormal(t *testing.T) {
	l, err := schedule.LognormalOf(10, 0.3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "sigma", l.Sigma, 0.29356, 5e-6)
	for p, want := range map[float64]float64{0.5: 9.578, 0.8: 12.263, 0.9: 13.953, 0.95: 15.524} {
		near(t, "quantile of 10, 0.3", l.Quantile(p), want, 5e-4)
	}
	near(t, "mean", l.Mean(), 10, 1e-12)
	near(t, "deviation", math.Sqrt(l.Variance()), 3, 1e-12)
	near(t, "median", l.Median(), l.Quantile(0.5), 1e-12)
	if l, err = schedule.LognormalOf(8, 0.5); err != nil {
		t.Fatal(err)
	}
	for p, want := range map[float64]float64{0.5: 7.155, 0.8: 10.649, 0.9: 13.108, 0.95: 15.563} {
		near(t, "quantile of 8, 0.5", l.Quantile(p), want, 5e-4)
	}
	for _, bad := range [][2]float64{{0, 1}, {-1, 1}, {1, -1}, {math.NaN(), 1}, {1, math.NaN()}, {math.Inf(1), 1}, {1, 1e200}} {
		if _, err := schedule.LognormalOf(bad[0], bad[1]); !errors.Is(err, schedule.ErrDistribution) {
			t.Errorf("lognormal of %v: %v", bad, err)
		}
	}
	// Standard normal table: P(Z <= 1) = 0.8413, z_0.95 = 1.6449.
	near(t, "P(Z<=1)", schedule.NormalProbability(1), 0.8413, 5e-5)
	near(t, "z 0.95", schedule.NormalQuantile(0.95), 1.6449, 5e-5)
}

// Tasks of mean 4, 6, 10, 8, 3, all of variation 0.3: by calculation the sum
// has mean 31, deviation 4.500 independent, P90 36.915, correlated P90 from
// the lognormal of mean 31 and variation 0.3, 43.255.
func TestChainSum(t *testing.T) {
	var tasks []schedule.Lognormal
	for _, m := range []float64{4, 6, 10, 8, 3} {
		l, err := schedule.LognormalOf(m, 0.3)
		if err != nil {
			t.Fatal(err)
		}
		tasks = append(tasks, l)
	}
	i, c := schedule.IndependentSum(tasks), schedule.CorrelatedSum(tasks)
	near(t, "mean", i.Mean, 31, 1e-12)
	near(t, "deviation", i.Deviation, 4.500, 5e-4)
	fit, err := i.Lognormal()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "P90 independent", fit.Quantile(0.9), 36.915, 5e-4)
	near(t, "correlated deviation", c.Deviation, 9.3, 1e-12)
	if fit, err = c.Lognormal(); err != nil {
		t.Fatal(err)
	}
	near(t, "P90 correlated", fit.Quantile(0.9), 43.255, 5e-4)
	near(t, "normal P90", i.Quantile(0.9), 31+4.5*1.2816, 1e-3)
}

// Definition 7 by hand: 1..10 at 0.8 is h = 7.2, so 8 + 0.2 (9 - 8).
func TestPercentile(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}
	for p, want := range map[float64]float64{0: 1, 0.5: 5.5, 0.8: 8.2, 0.95: 9.55, 1: 10, -1: 1, 2: 10} {
		near(t, "percentile", schedule.Percentile(x, p), want, 1e-12)
	}
	near(t, "one", schedule.Percentile(x[:1], 0.8), 1, 0)
	if !math.IsNaN(schedule.Percentile(nil, 0.5)) || !math.IsNaN(schedule.PercentileError(nil, 0.5)) {
		t.Error("an empty sample has a percentile")
	}
}

// The standard error against the scatter of the percentile over 2,000 samples
// of 256 standard normals; the exact asymptote is sqrt(p(1-p)/n)/phi(z_p) =
// 0.0893 at p = 0.8.
func TestPercentileError(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const samples = 2000
	var sum, square, estimate float64
	for range samples {
		x := make([]float64, 256)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		slices.Sort(x)
		q := schedule.Percentile(x, 0.8)
		sum, square, estimate = sum+q, square+q*q, estimate+schedule.PercentileError(x, 0.8)
	}
	scatter := math.Sqrt(square/samples - sum*sum/samples/samples)
	near(t, "scatter of p80", scatter, 0.0893, 0.005)
	near(t, "mean estimate", estimate/samples, scatter, 0.01)
}

// The prior says what it was given, one observation at a time is the batch
// formula, and the truth is found in the end.
func TestCalibration(t *testing.T) {
	prior := schedule.Spread{Factor: 1.2, Sigma: 0.4, WaitSigma: 0.1}
	c, err := schedule.NewCalibration(prior, 8)
	if err != nil {
		t.Fatal(err)
	}
	got := c.Spread(0.1)
	near(t, "prior factor", got.Factor, 1.2, 1e-12)
	near(t, "prior sigma", got.Sigma, 0.4, 1e-12)

	// By hand: prior location 0, weight 1, sigma 0.5: shape 1.5, scale
	// 0.25*0.5*0.5 = 0.0625. Observed e^0.2 times: location 0.1, weight 2,
	// shape 2, scale 0.0625 + 0.04/4 = 0.0725, sigma^2 = 0.0725*3/2.
	if c, err = schedule.NewCalibration(schedule.Spread{Factor: 1, Sigma: 0.5}, 1); err != nil {
		t.Fatal(err)
	}
	if c, err = c.Observe(1e15, time.Duration(math.Round(1e15*math.Exp(0.2)))); err != nil {
		t.Fatal(err)
	}
	near(t, "location", c.Location, 0.1, 1e-12)
	near(t, "scale", c.Scale, 0.0725, 1e-12)
	near(t, "sigma", c.Spread(0).Sigma, math.Sqrt(0.10875), 1e-12)
	near(t, "factor", c.Spread(0).Factor, math.Exp(0.1), 1e-12)

	rng := rand.New(rand.NewPCG(7, 8))
	if c, err = schedule.NewCalibration(schedule.Spread{Factor: 1, Sigma: 0.5}, 4); err != nil {
		t.Fatal(err)
	}
	const n = 4000
	for range n {
		if c, err = c.Observe(1e12, time.Duration(1e12*1.3*math.Exp(0.25*rng.NormFloat64()))); err != nil {
			t.Fatal(err)
		}
	}
	// Standard errors: 0.25/sqrt(n) of ln factor, 0.25/sqrt(2n) of sigma; four of them.
	near(t, "learned ln factor", math.Log(c.Spread(0).Factor), math.Log(1.3), 4*0.25/math.Sqrt(n))
	near(t, "learned sigma", c.Spread(0).Sigma, 0.25, 4*0.25/math.Sqrt(2*n)+1e-3)
	if c.Observations != n {
		t.Errorf("%d observations", c.Observations)
	}
	before := c
	for _, k := range [][2]time.Duration{{0, 1}, {1, 0}, {-1, 1}, {1, -1}, {time.Hour, 51 * time.Hour}, {51 * time.Hour, time.Hour}} {
		if c, err = c.Observe(k[0], k[1]); !errors.Is(err, schedule.ErrRecord) || c != before {
			t.Errorf("%v: %v, %+v", k, err, c)
		}
	}
	for _, w := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := schedule.NewCalibration(prior, w); !errors.Is(err, schedule.ErrDistribution) {
			t.Errorf("weight %v: %v", w, err)
		}
	}
}

// The batch form of the same update, from all observations at once:
//
//	m' = (k m + n xbar)/(k + n), b' = b + SS/2 + k n (xbar - m)^2 / (2 (k+n))
func TestCalibrationBatch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-2, 2), 1, 20).Draw(t, "x")
		c, err := schedule.NewCalibration(schedule.Spread{Factor: rapid.Float64Range(0.5, 2).Draw(t, "factor"), Sigma: 0.3}, rapid.Float64Range(0.5, 20).Draw(t, "weight"))
		if err != nil {
			t.Fatal(err)
		}
		p := c
		sum := 0.0
		for i := range x {
			actual := time.Duration(1e15 * math.Exp(x[i]))
			x[i] = math.Log(float64(actual) / 1e15)
			sum += x[i]
			if c, err = c.Observe(1e15, actual); err != nil {
				t.Fatal(err)
			}
		}
		n := float64(len(x))
		mean, ss := sum/n, 0.0
		for _, v := range x {
			ss += (v - mean) * (v - mean)
		}
		location := (p.Weight*p.Location + n*mean) / (p.Weight + n)
		scale := p.Scale + ss/2 + p.Weight*n*(mean-p.Location)*(mean-p.Location)/(2*(p.Weight+n))
		if math.Abs(c.Location-location) > 1e-9 || math.Abs(c.Scale-scale) > 1e-9 || math.Abs(c.Weight-p.Weight-n) > 1e-9 || math.Abs(c.Shape-p.Shape-n/2) > 1e-9 {
			t.Fatalf("one by one %+v, batch location %v scale %v", c, location, scale)
		}
	})
}

func TestCoverage(t *testing.T) {
	at := func(h int) time.Time { return time.Unix(int64(h)*3600, 0) }
	given := schedule.Percentiles{P50: at(50), P80: at(80), P95: at(95)}
	var c schedule.Coverage
	if _, _, _, ok := c.Shares(); ok {
		t.Error("shares of none")
	}
	for _, h := range []int{40, 50, 70, 90, 100} {
		c = c.Observe(given, at(h))
	}
	if want := (schedule.Coverage{Finished: 5, ByP50: 2, ByP80: 3, ByP95: 4}); c != want {
		t.Errorf("%+v, want %+v", c, want)
	}
	a, b, d, ok := c.Shares()
	if !ok || a != 0.4 || b != 0.6 || d != 0.8 {
		t.Errorf("shares %v %v %v", a, b, d)
	}
}

// By hand: not begun, the estimate. At the median, F = 1/2, so the 3/4 quantile
// less the median: e^(0.3*0.6745) - 1 = 0.2243 of it. Far out, still finite.
func TestRemaining(t *testing.T) {
	s := schedule.Spread{Factor: 2, Sigma: 0.3}
	if got := s.Remaining(time.Hour, 0); got != time.Hour {
		t.Errorf("not begun %v", got)
	}
	near(t, "at the median", s.Remaining(time.Hour, 2*time.Hour).Hours(), 0.2243, 5e-5)
	for _, w := range []time.Duration{10 * time.Hour, 1000 * time.Hour, 1e6 * time.Hour} {
		if got := s.Remaining(time.Hour, w); got < time.Minute || got > w {
			t.Errorf("after %v: %v", w, got)
		}
	}
	s.Sigma = 0
	if got := s.Remaining(time.Hour, 90*time.Minute); got != 15*time.Minute {
		t.Errorf("certain: %v", got)
	}
	if got := s.Remaining(time.Hour, 3*time.Hour); got != time.Minute {
		t.Errorf("overdue: %v", got)
	}
}
