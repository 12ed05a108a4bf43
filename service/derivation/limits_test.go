package derivation

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/tooling"
)

// draws is for longer runs. At 1 TestLimitsEndWhereTheVerdictChanges meets every
// finding that 500 configurations meet, the rarest of them six times.
var draws = flag.Int("draws", 1, "the tests of limits draw this many times as many random configurations")

// varied makes a random request of any pattern; not all are makeable.
func varied(t testing.TB, rng *rand.Rand) part.Request {
	figures := random(rng)
	between := func(lo, hi float64) float64 { return math.Round((lo+(hi-lo)*rng.Float64())*1000) / 1000 }
	pattern := part.Patterns[rng.IntN(4)]
	figures["/pattern"] = pattern
	maybe := func(pointer string, lo, hi float64) {
		if rng.Float64() < 0.2 {
			figures[pointer] = between(lo, hi)
		}
	}
	switch pattern {
	case part.FlushGutter:
		maybe("/gutter/width", 20, 60)
		maybe("/gutter/depth", 15, 50)
		maybe("/gutter/upstand_width", 20, 60)
		maybe("/gutter/skirt_clearance", 4, 14)
		maybe("/gutter/drain_diameter", 10, 30)
		maybe("/gutter/catchment", 0, 500)
		if rng.Float64() < 0.3 {
			figures["/gutter/drain_count"] = float64(1 + rng.IntN(6))
		}
		delete(figures, "/receiver/recess_depth")
	case part.RaisedCoaming:
		maybe("/coaming/height", 30, 120)
		maybe("/coaming/top_width", 20, 60)
		maybe("/coaming/overlap", 10, 60)
	case part.BoltedPlate:
		maybe("/plate/overlap", 20, 80)
		maybe("/plate/bolt_diameter", 4, 12)
		maybe("/plate/edge_distance", 8, 40)
	}
	if pattern == part.RaisedCoaming || pattern == part.BoltedPlate {
		figures["/seal/tightness"] = []string{part.Drip, part.Splash, part.Immersion}[rng.IntN(3)]
	}
	figures["/duty/kind"] = []string{part.NoStep, part.Step, part.WorkingDeck, part.Custom}[rng.IntN(4)]
	r := ask(t, figures)
	if rng.Float64() < 0.3 {
		r.Units = quantity.Inch
	}
	c := r.Configuration
	for pointer := range r.Given {
		// What means nothing for the pattern would be refused before.
		if p := part.At(pointer); p != nil && !p.Used(&c) {
			delete(r.Given, pointer)
		}
	}
	return r
}

// outcome rules on a configuration with one number changed, from nothing.
func outcome(t testing.TB, e *Engine, c part.Configuration, pointer string, x float64) []finding.Finding {
	t.Helper()
	c = c.Clone()
	if err := c.SetNumber(pointer, x); err != nil {
		t.Fatal(err)
	}
	return faults(e.rule(&c).findings)
}

// step is the wire's step of a figure in its own unit inside, mm for lengths.
func step(n Interval, s quantity.System) float64 {
	switch {
	case n.Whole:
		return 1
	case n.Value.Unit.IsLength():
		return s.Millimeters(s.Step())
	}
	return 0.001
}

// onWire returns a magnitude as it comes back from the wire.
func onWire(x float64, n Interval, s quantity.System) float64 {
	if !n.Value.Unit.IsLength() {
		return quantity.Round(x, otherPlaces, quantity.Nearest)
	}
	return s.Millimeters(quantity.Round(s.Length(x), s.Places(), quantity.Nearest))
}

// TestLimitsEndWhereTheVerdictChanges holds the intervals of 150 random makeable
// configurations of all patterns, in both systems of units, against the rules asked
// anew: at every end the verdict is makeable; one step, 0.02 mm and 0.002 (of a
// degree, a ratio, …) beyond an end that is not the figure's range it is not, and
// the bound names what is said there; inside, at the present value and at random
// places, it is makeable unless other intervals are told of.
func TestLimitsEndWhereTheVerdictChanges(t *testing.T) {
	e := engine(t)
	rng := rand.New(rand.NewPCG(3, 5))
	trials := 150 * *draws
	if testing.Short() {
		trials = 40
	}
	ends, ranged, inner, holes := 0, 0, 0, 0
	bounds := map[string]int{}
	for done := 0; done < trials; {
		r := varied(t, rng)
		c := e.Complete(r)
		if s := e.rule(&c); finding.Judge(s.findings) == finding.NotMakeable {
			continue
		}
		done++
		l := e.Limits(r)
		if l.Verdict == finding.NotMakeable || l.Digest != l.Configuration.Digest() {
			t.Fatalf("verdict %s, digest %s", l.Verdict, l.Digest)
		}
		for _, n := range l.Numbers {
			about := fmt.Sprintf("%s %s, %s = %v %v in %v (%v): [%v %v]", l.Digest, l.Configuration.Pattern, n.Pointer, n.Value, n.Null, r.Units, n.Whole, n.Min, n.Max)
			if !n.Contains {
				t.Fatalf("%s: the present value works", about)
			}
			if !n.Feasible {
				if !n.Null {
					t.Fatalf("%s: not feasible", about)
				}
				continue
			}
			now := n.Value.Magnitude
			if !n.Null && !(n.Min.Magnitude <= now+1e-9 && now <= n.Max.Magnitude+1e-9) {
				t.Fatalf("%s: the present value lies outside", about)
			}
			for _, end := range []struct {
				at, dir float64
				bound   Bound
			}{{n.Min.Magnitude, -1, n.MinBound}, {n.Max.Magnitude, 1, n.MaxBound}} {
				ends++
				if list := outcome(t, e, l.Configuration, n.Pointer, end.at); len(list) > 0 {
					t.Fatalf("%s: at the end %v: %s", about, end.at, list[0].Message(r.Units))
				}
				if end.bound.Range {
					ranged++
					continue
				}
				bounds[end.bound.Finding.Code]++
				unit := step(n, r.Units)
				wide := 0.002
				if n.Value.Unit.IsLength() {
					wide = 0.02
				}
				if n.Whole {
					wide = 1
				}
				if end.bound.Finding.Code == tooling.MayJam {
					wide = unit // the odds leap from one plan of the router to the next
				}
				for _, d := range []float64{unit, wide} {
					list := outcome(t, e, l.Configuration, n.Pointer, onWire(end.at+end.dir*d, n, r.Units))
					if len(list) == 0 {
						t.Fatalf("%s: %v beyond the end %v it is still makeable (%s)", about, d, end.at, end.bound.Finding.Code)
					}
					named := false
					for _, f := range list {
						named = named || finding.Same(f, end.bound.Finding)
					}
					if d == unit && !named {
						t.Fatalf("%s: %s binds %v, but %v beyond it is %s", about, end.bound.Finding.Code, end.at, d, list[0].Code)
					}
				}
			}
			if !n.Whole && rng.Float64() < 0.1 {
				lo, hi := n.Min.Magnitude, math.Min(n.Max.Magnitude, 8*(math.Abs(now)+1))
				inner++
				if x := lo + (hi-lo)*rng.Float64(); hi > lo && len(outcome(t, e, l.Configuration, n.Pointer, x)) > 0 {
					holes++
					t.Logf("%s: a gap at %v: %s", about, x, outcome(t, e, l.Configuration, n.Pointer, x)[0].Code)
				}
			}
		}
	}
	t.Logf("%d ends, %d of them the figure's range; %d places inside, %d in gaps; bound by %v", ends, ranged, inner, holes, bounds)
	if holes > 0 {
		t.Errorf("%d of %d places inside are not makeable", holes, inner)
	}
	if len(bounds) < 20 {
		t.Errorf("only %d findings ever bound a limit", len(bounds))
	}
}

func BenchmarkLimits(b *testing.B) {
	for _, pattern := range part.Patterns {
		for _, schedule := range []string{part.ScheduleStandard, part.ScheduleAuto} {
			b.Run(string(pattern)+"/"+schedule, func(b *testing.B) {
				figures := rectangle(560, 410, 55)
				figures["/pattern"], figures["/laminate/schedule"] = pattern, schedule
				e, r := engine(b), ask(b, figures)
				b.ReportAllocs()
				n := 0
				for b.Loop() {
					n = len(e.Limits(r).Numbers)
				}
				b.ReportMetric(float64(n), "figures")
			})
		}
	}
}

// BenchmarkLimitsOfAnInfeasibleHatch asks where two errors stand: most figures mend
// neither alone.
func BenchmarkLimitsOfAnInfeasibleHatch(b *testing.B) {
	figures := rectangle(560, 410, 55)
	figures["/receiver/flange_width"], figures["/receiver/root_radius"] = 10.0, 12.0
	e, r := engine(b), ask(b, figures)
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		n = len(e.Limits(r).Numbers)
	}
	b.ReportMetric(float64(n), "figures")
}
