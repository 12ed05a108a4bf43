package derivation

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
	"hatchwright/service/tooling"
)

// TestOddsAgainstBuilds builds each hatch 10,000 times on paper: every contributor is drawn from its own distribution,
// the gap is worked out from the plain figures at 60 depths of each side, and the builds with less than the least gap
// anywhere are counted. The odds that the answer states must be theirs, within four deviations of the count and 0.005
// for the sums of uniform errors that are taken as normal.
func TestOddsAgainstBuilds(t *testing.T) {
	const builds, seed = 10_000, 20_261_130
	d := shop.Example()
	d.Profile.Fit = shop.Fit{OddsCaution: 1, OddsError: 1} // all are worked out
	e, err := New(d)
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range []struct {
		name    string
		figures map[string]any
		low     float64 // the odds lie between these, so that the count means something
		high    float64
	}{
		{"a ledge at 2.603", with(rectangle(560, 410, 70), "/lid/gap", 2.603), 0.5, 1},
		{"a ledge at 2.9", with(rectangle(560, 410, 70), "/lid/gap", 2.9), 0.02, 0.5},
		{"a ledge at 3.0", with(rectangle(560, 410, 70), "/lid/gap", 3.0), 0.002, 0.3},
		{"a gutter at 3.5", with(rectangle(560, 410, 70), "/pattern", part.FlushGutter, "/lid/gap", 3.5), 0.02, 0.5},
		{"a large gutter at 3.3", with(rectangle(900, 600, 80), "/pattern", part.FlushGutter, "/lid/gap", 3.3), 0.3, 1},
		{"a coaming at 2", with(rectangle(560, 410, 70), "/pattern", part.RaisedCoaming, "/lid/gap", 2.0), 0.01, 0.9},
		{"a round ledge beside a large root", map[string]any{"/outline/shape": part.Circle, "/outline/diameter": 500.0, "/receiver/root_radius": 8.0, "/lid/gap": 3.2, "/receiver/draft_deg": 0.0}, 0.001, 0.9},
	} {
		t.Run(c.name, func(t *testing.T) {
			out, err := e.Derive(ask(t, c.figures), monday)
			if err != nil || !out.Makeable() {
				t.Fatal(err, out.Findings)
			}
			k := out.Tolerance
			if p := k.ProbabilityBelow; !(p > c.low && p < c.high) {
				t.Fatalf("odds %v, want between %v and %v", p, c.low, c.high)
			}
			rng := rand.New(rand.NewPCG(seed, uint64(i)))
			drawn := drawnGaps(&out.Configuration)
			bad := 0
			for range builds {
				common := 0.0
				for _, x := range k.Contributors {
					if !x.Local {
						common += sampled(rng, x)
					}
				}
				short := false
				for range k.Sides {
					off := common + k.Shift
					for _, x := range k.Contributors {
						if x.Local {
							off += sampled(rng, x)
						}
					}
					for _, gap := range drawn {
						short = short || gap+off < out.Configuration.Lid.LeastGap
					}
				}
				if short {
					bad++
				}
			}
			p := k.ProbabilityBelow
			share, slack := float64(bad)/builds, 4*math.Sqrt(p*(1-p)/builds)+0.005
			t.Logf("stated %.4f, counted %.4f", p, share)
			if math.Abs(share-p) > slack {
				t.Errorf("%d of %d builds jam, %.4f; %.4f is stated, want within %.4f", bad, builds, share, p, slack)
			}
		})
	}
}

// sampled draws a contributor's error: the sum of its own. A normal one's half width is three deviations.
func sampled(rng *rand.Rand, c tooling.Contributor) float64 {
	sum := 0.0
	for range c.Count {
		switch c.Distribution {
		case tooling.Normal:
			sum += c.Size / 3 * rng.NormFloat64()
		case tooling.Uniform:
			sum += c.Size * (2*rng.Float64() - 1)
		case tooling.Triangular:
			sum += c.Size * (rng.Float64() - rng.Float64())
		}
	}
	return sum
}

// drawnGaps are the gaps as drawn at 60 depths of the lid's wall, from the figures alone: straight walls, and beside
// the root the circle that touches wall and floor.
func drawnGaps(c *part.Configuration) []float64 {
	tan := func(deg float64) float64 { return math.Tan(deg * math.Pi / 180) }
	fr, fl := tan(c.Receiver.Draft), tan(c.Lid.Draft)
	var out []float64
	const depths = 60
	if c.Pattern == part.RaisedCoaming {
		// The rounding of the coaming's top only makes room: from below it on.
		top := c.Receiver.LipRadius
		for i := range depths {
			z := top + (c.Coaming.Overlap-top)*float64(i)/(depths-1)
			out = append(out, c.Lid.Gap+z*(fl-fr))
		}
		return out
	}
	floor := c.Receiver.RecessDepth
	h := floor - c.Seal.Thickness*(1-c.Seal.Compression)
	if c.Pattern == part.FlushGutter {
		floor += c.Gutter.Depth
		h = floor - c.Gutter.SkirtClearance
	}
	for i := range depths {
		z := h * float64(i) / (depths - 1)
		gap := c.Lid.Gap - z*(fr+fl)
		// The lid's top edge and the flange's are rounded, which makes room; left out: the gap is widest there.
		if u := floor - z; u < c.Receiver.RootRadius {
			gap -= roundedOff(c.Receiver.RootRadius, c.Receiver.Draft, u)
		}
		out = append(out, gap)
	}
	return out
}

// roundedOff is how far a circle of radius r that touches the floor and a wall leaning back by draft deg stands off the
// wall's line, u above the floor. With the corner at (0, 0) the wall's line is n = -u tan f, and the circle's center
// (n0, r) is r from it:
//
//	n0 = r/cos f - r tan f
func roundedOff(r, draft, u float64) float64 {
	sin, cos := math.Sincos(draft * math.Pi / 180)
	if u >= r*(1+sin) { // where circle and wall touch
		return 0
	}
	return r/cos - r*sin/cos - math.Sqrt(r*r-(r-u)*(r-u)) + u*sin/cos
}

func with(figures map[string]any, pairs ...any) map[string]any {
	for i := 0; i < len(pairs); i += 2 {
		figures[pairs[i].(string)] = pairs[i+1]
	}
	return figures
}

// defaults are hatches of three keys: units, pattern and outline.
func defaultHatches() map[string]part.Request {
	out := map[string]part.Request{}
	polygon := func(s float64) []outline.Corner {
		at := func(x, y, r float64) outline.Corner {
			return outline.Corner{At: outline.Point{X: x * s, Y: y * s}, Radius: r}
		}
		return []outline.Corner{at(-0.5, -0.35, 60), at(0.4, -0.4, 60), at(0.55, 0.05, 80), at(0.3, 0.4, 60), at(-0.5, 0.3, 60)}
	}
	for _, units := range []quantity.System{quantity.Metric, quantity.Inch} {
		for _, pattern := range part.Patterns {
			for _, size := range []float64{320, 450, 600, 800, 1000, 1250, 1500, 1750} {
				for shape, plan := range map[string]part.Plan{
					part.Rectangle: {Length: size, Width: 0.72 * size, CornerRadius: 60},
					part.Obround:   {Length: size, Width: 0.8 * size},
					part.Circle:    {Diameter: size},
					part.Dee:       {Length: size, Width: 0.8 * size, CornerRadius: 60},
					part.Taper:     {Length: size, WidthAft: 0.8 * size, WidthFwd: 0.7 * size, CornerRadius: 60},
					part.Polygon:   {Corners: polygon(size)},
				} {
					r := part.Request{Given: map[string]bool{"/units": true, "/pattern": true, "/outline": true, "/outline/shape": true}}
					r.Units, r.Pattern, r.Outline = units, pattern, plan
					r.Outline.Shape = shape
					for i := range part.Parameters {
						if p := &part.Parameters[i]; len(p.Pointer) > 9 && p.Pointer[:9] == "/outline/" && p.Used(&r.Configuration) {
							r.Given[p.Pointer] = true
						}
					}
					out[fmt.Sprint(units, " ", pattern, " ", shape, " ", size)] = r
				}
			}
		}
	}
	return out
}

// TestDefaultHatchesGoTogether: whatever the pattern, the shape, the size and the units, a hatch with nothing asked for
// beyond them jams in fewer than 2 of 100, and nothing is said of its fit. So it is by any size basis.
func TestDefaultHatchesGoTogether(t *testing.T) {
	e := engine(t)
	worst, at, n := 0.0, "", 0
	one := func(name string, r part.Request) {
		c := e.Complete(r)
		s := e.rule(&c)
		if s.geometry.Stage < part.StageWhole {
			t.Errorf("%s does not stand: %+v", name, s.findings)
			return
		}
		for _, f := range s.findings {
			if len(f.Code) > 4 && f.Code[:4] == "fit." {
				t.Errorf("%s: %s: %s", name, f.Code, f.Message(c.Units))
			}
		}
		w, err := tooling.Build(&s.config, measured(t, &s), e.docs, e.stacker, e.crib)
		if err != nil {
			t.Fatal(name, err)
		}
		n++
		if p := w.Tolerance.ProbabilityBelow; p > worst {
			worst, at = p, name
		}
		if p := w.Tolerance.ProbabilityBelow; !(p < 0.02) {
			t.Errorf("%s: with a gap of %v its odds to jam are %v, want under 0.02", name, c.Lid.Gap, p)
		}
		if c.Lid.Gap > 5.1 {
			t.Errorf("%s: a gap of %v unasked, want 5 at most", name, c.Lid.Gap)
		}
	}
	for name, r := range defaultHatches() {
		one(name, r)
	}
	for _, basis := range []string{part.BasisLid, part.BasisClearOpening, part.BasisDeckCutout} {
		for _, pattern := range part.Patterns {
			for _, size := range []float64{450, 900, 1500} {
				one(fmt.Sprint(pattern, " by its ", basis, " ", size), ask(t, with(rectangle(size, 0.7*size, 60), "/pattern", pattern, "/size_basis", basis)))
			}
		}
	}
	t.Logf("%d hatches; the worst odds are %.4f, of %s", n, worst, at)
}

func measured(t *testing.T, s *state) part.Geometry {
	t.Helper()
	g := s.geometry
	if err := g.Measure(&s.config); err != nil {
		t.Fatal(err)
	}
	return g
}

// TestMayJam: odds over the shop's figures are a caution or an error, what is offered against them brings them under the
// caution, the derivation states the same odds, and of a plate nothing is said.
func TestMayJam(t *testing.T) {
	e := engine(t)
	for _, c := range []struct {
		name     string
		figures  map[string]any
		severity finding.Severity // Note: no finding
	}{
		{"a gap that just closes", with(rectangle(560, 410, 70), "/lid/gap", 2.603, "/lid/land_width", 16.0), finding.Error},
		{"a gap in between", with(rectangle(560, 410, 70), "/lid/gap", 2.95, "/lid/land_width", 16.0), finding.Caution},
		{"a wide gap", with(rectangle(560, 410, 70), "/lid/gap", 3.3, "/lid/land_width", 16.0), finding.Note},
		{"a gutter with the ledge's gap", with(rectangle(560, 410, 70), "/pattern", part.FlushGutter, "/lid/gap", 3.5), finding.Error},
		{"a coaming", with(rectangle(560, 410, 70), "/pattern", part.RaisedCoaming, "/lid/gap", 1.8), finding.Error},
		{"by the clear opening", with(rectangle(560, 410, 70), "/size_basis", part.BasisClearOpening, "/lid/gap", 2.603), finding.Error},
		{"by the lid", with(rectangle(560, 410, 70), "/size_basis", part.BasisLid, "/lid/gap", 2.603), finding.Error},
		{"a plate, whose gap there is none of", with(rectangle(560, 410, 70), "/pattern", part.BoltedPlate), finding.Note},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := ask(t, c.figures)
			ruling := e.Check(r)
			f := find(ruling.Findings, tooling.MayJam)
			if c.severity == finding.Note {
				if f != nil {
					t.Errorf("%s", f.Message(0))
				}
				return
			}
			if f == nil || f.Severity != c.severity {
				t.Fatalf("%+v, want severity %v", f, c.severity)
			}
			limit := map[finding.Severity]float64{finding.Caution: 0.02, finding.Error: 0.1}[c.severity]
			if f.Limit.Magnitude != limit || !(f.Measured.Magnitude > limit) {
				t.Errorf("%v of %v, want over %v", f.Measured, f.Limit, limit)
			}
			if f.Pointer != "/lid/gap" || len(f.Mends) == 0 {
				t.Fatalf("at %s with mends %+v, want some, at the gap", f.Pointer, f.Mends)
			}
			for _, m := range f.Mends {
				again := r.With(m.Pointer)
				again.Configuration = again.Configuration.Clone()
				if err := again.SetNumber(m.Pointer, m.Value.Magnitude); err != nil {
					t.Fatal(err)
				}
				out, err := e.Derive(again, monday)
				if err != nil || !out.Makeable() {
					t.Errorf("%s at %v: %v %v", m.Pointer, m.Value.Magnitude, out.Verdict, err)
				}
				if p := out.Tolerance.ProbabilityBelow; !(p <= 0.02) {
					t.Errorf("%s at %v leaves odds of %v, want 0.02 at most", m.Pointer, m.Value.Magnitude, p)
				}
			}
			t.Logf("%.4f; %s", f.Measured.Magnitude, f.Message(0))
		})
	}
}

// TestOddsAreTheDerivations: what the rule measures is what the derivation states of hatches of all kinds, and where it
// says nothing the derivation's odds are under the caution.
func TestOddsAreTheDerivations(t *testing.T) {
	d := shop.Example()
	d.Profile.Fit = shop.Fit{OddsCaution: 0.001, OddsError: 1}
	for _, scaled := range []bool{false, true} {
		d.Profile.Tooling.ScaleMolds = scaled
		e, err := New(d)
		if err != nil {
			t.Fatal(err)
		}
		rng := rand.New(rand.NewPCG(7, 17))
		told, quiet := 0, 0
		for range 120 {
			pattern := []part.Pattern{part.FlushLedge, part.FlushGutter, part.RaisedCoaming}[rng.IntN(3)]
			length := 260 + 700*rng.Float64()
			figures := with(rectangle(length, length*(0.7+0.3*rng.Float64()), 25+35*rng.Float64()), "/pattern", pattern, "/lid/gap", 1.6+3*rng.Float64(),
				"/receiver/root_radius", 3+5*rng.Float64(), "/duty/kind", part.NoStep)
			c := e.Complete(ask(t, figures))
			s := e.rule(&c)
			if s.geometry.Stage < part.StageWhole || find(s.findings, "fit.gap_closes") != nil {
				continue
			}
			w, err := tooling.Build(&s.config, measured(t, &s), e.docs, e.stacker, e.crib)
			if err != nil {
				continue // told otherwise
			}
			f := find(s.findings, tooling.MayJam)
			switch {
			case f == nil:
				quiet++
				if p := w.Tolerance.ProbabilityBelow; p > 0.001 {
					t.Errorf("%v: nothing is said of odds of %v", figures, p)
				}
			default:
				told++
				if got, want := f.Measured.Magnitude, w.Tolerance.ProbabilityBelow; math.Abs(got-want) > 1e-12 {
					t.Errorf("%v: the rule measures %v, the derivation states %v", figures, got, want)
				}
			}
		}
		t.Logf("scaled %v: %d told, %d quiet", scaled, told, quiet)
		if told < 20 || quiet < 20 {
			t.Errorf("%d told and %d quiet, want 20 of each", told, quiet)
		}
	}
}

// TestLimitsKnowTheOdds: the least gap that the limits allow is built, and one step under it the odds are over the
// shop's error. They need not be just at it: where a bit makes the offset exactly they leap.
func TestLimitsKnowTheOdds(t *testing.T) {
	e := engine(t)
	for _, pattern := range []part.Pattern{part.FlushLedge, part.FlushGutter, part.RaisedCoaming} {
		t.Run(string(pattern), func(t *testing.T) {
			r := ask(t, with(rectangle(560, 410, 70), "/pattern", pattern))
			for _, n := range e.Limits(r).Numbers {
				if n.Pointer != "/lid/gap" {
					continue
				}
				if n.MinBound.Finding.Code != tooling.MayJam {
					t.Errorf("the least gap is bound by %+v, want %s", n.MinBound, tooling.MayJam)
				}
				again := r.With(n.Pointer)
				for _, c := range []struct {
					gap   float64
					built bool
				}{{n.Min.Magnitude, true}, {n.Min.Magnitude - 0.001, false}} {
					again.Lid.Gap = c.gap
					ruling := e.Check(again)
					f := find(ruling.Findings, tooling.MayJam)
					jams := f != nil && f.Severity == finding.Error && f.Measured.Magnitude > 0.1
					if jams == c.built || (ruling.Verdict != finding.NotMakeable) != c.built {
						t.Errorf("at a gap of %v: %v, %+v, want built: %v", c.gap, ruling.Verdict, f, c.built)
					}
				}
				return
			}
			t.Error("no limits of the gap")
		})
	}
}

// TestLedgeUnderLidEdge: the caution's figure is that of a strip worked out by hand.
func TestLedgeUnderLidEdge(t *testing.T) {
	e := engine(t)
	r := ask(t, with(rectangle(560, 410, 70), "/lid/gap", 3.5, "/lid/land_width", 16.0))
	out, err := e.Derive(r, monday)
	if err != nil {
		t.Fatal(err)
	}
	f := find(out.Findings, "receiver.ledge_under_lid_edge")
	if f == nil || f.Severity != finding.Caution {
		t.Fatalf("no caution: %+v", out.Findings)
	}
	// By hand. A foot of 1962 N on a disc of radius 75 mm stands against the edge's middle: the plate's shear force
	// there is 7.92 N/mm (1/(pi c) of it, 8.33, beside an edge without end), times 1.35; the seal adds its 0.25 N/mm.
	// Half a ledge of 32 mm from the wall it bends a strip of mats of 225, 450 and 450 g/m2 at a glass share of 0.30:
	// w/3.072 (2.56/0.30 - 1.36) thick by ISO 12215-5:2008 annex C, of one modulus, so that the stress is 6 M/t^2. What
	// it may bear is read from the strip that the rigid lid loads.
	strip := out.Receiver.Strips[0]
	edge := 0.0
	for _, k := range out.Lid.Checks {
		if k.Case.Force == 1962 {
			edge = k.EdgeForce
		}
	}
	near(t, "edge force of the plate", edge/1.35, 7.92, 0.005)
	load := 1.35*7.9216 + 0.25
	thickness := (0.225 + 0.450 + 0.450) / 3.072 * (2.56/0.30 - 1.36)
	stress := 6 * load * 16 / (thickness * thickness)
	near(t, "edge load", strip.EdgeLoad, load, 0.005)
	near(t, "utilization", f.Measured.Magnitude, stress/strip.Allowable, 0.005)
	near(t, "the strip's own figure", strip.EdgeUtilization, f.Measured.Magnitude, 1e-12)
	t.Logf("%.3f: %s", f.Measured.Magnitude, f.Message(0))
}

// TestLeastGapUnderTheShops: less clearance than the shop's is told, so that it does
// not silence the odds; the shop's own figure is not, in either system of units.
func TestLeastGapUnderTheShops(t *testing.T) {
	e := engine(t)
	base := with(rectangle(560, 410, 70), "/lid/gap", 2.8, "/lid/land_width", 16.0)
	for _, c := range []struct {
		name  string
		least any
		told  bool
	}{{"none", 0.0, true}, {"a little less", 1.49, true}, {"the shop's", 1.5, false}, {"more", 1.6, false}} {
		t.Run(c.name, func(t *testing.T) {
			f := find(e.Check(ask(t, with(base, "/lid/least_gap", c.least))).Findings, "fit.least_gap_low")
			if (f != nil) != c.told {
				t.Fatalf("got %+v, want one: %t", f, c.told)
			}
			if f != nil && f.Severity != finding.Caution {
				t.Errorf("severity %v, want a caution", f.Severity)
			}
		})
	}
	t.Run("default in inches", func(t *testing.T) {
		r := ask(t, rectangle(560, 410, 70))
		r.Configuration.Units = quantity.Inch
		if f := find(e.Check(r).Findings, "fit.least_gap_low"); f != nil {
			t.Errorf("got %+v, want none", f)
		}
	})
}
