package tooling

import (
	"testing"

	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// laid are thicknesses of an ordinary laminate, mm.
var laid = part.Thicknesses{Receiver: 3.6, Skirt: 3.2, Panel: 15.2}

// limits are wide enough not to speak.
var limits = part.Sizes{LargestSide: 3000, SmallestSide: 100,
	CoamingHeight: map[string]float64{part.Splash: 50, part.Immersion: 75}, BoltPitch: map[string]float64{part.Splash: 100, part.Immersion: 75}}

// hatchOf completes a rectangle of a pattern from the example shop.
func hatchOf(d shop.Documents, pattern part.Pattern, length, width, radius float64, change ...func(*part.Configuration)) part.Configuration {
	r := part.Request{Given: map[string]bool{}}
	for _, p := range []string{"/pattern", "/outline/shape", "/outline/length", "/outline/width", "/outline/corner_radius", "/receiver/draft_deg", "/receiver/trunk_draft_deg", "/lid/draft_deg"} {
		r.Given[p] = true
	}
	r.Pattern = pattern
	r.Outline = part.Plan{Shape: part.Rectangle, Length: length, Width: width, CornerRadius: radius}
	c := part.Complete(r, part.Shop{Defaults: d.Profile.Defaults, Core: d.Profile.Standard.Core})
	c.Seal.Tightness = part.Splash
	switch pattern {
	case part.FlushGutter:
		c.Gutter = part.Gutter{Width: 30, Depth: 25, UpstandWidth: 32, SkirtClearance: 10, DrainCount: 2, DrainDiameter: 15, RainIntensity: 119.38, Catchment: 100}
		c.Receiver.RootRadius, c.Receiver.LipRadius = 6, 6
	case part.RaisedCoaming:
		c.Coaming = part.Coaming{Height: 60, TopWidth: 34, Overlap: 28}
	case part.BoltedPlate:
		c.Plate = part.Plate{Overlap: 40, BoltDiameter: 6, EdgeDistance: 18}
		c.Receiver.FlangeWidth, c.Lid.EdgeRadius = 10, 6
	}
	for _, f := range change {
		f(&c)
	}
	return c
}

// stand resolves a configuration that must stand.
func stand(t testing.TB, c *part.Configuration) part.Geometry {
	t.Helper()
	g, list := part.Resolve(c, laid, limits)
	if g.Stage != part.StageWhole {
		for _, f := range list {
			if f.Severity == finding.Error {
				t.Log(f.Code, f.Pointer, f.Message(c.Units))
			}
		}
		t.Fatalf("the hatch stops at stage %d", g.Stage)
	}
	if err := g.Measure(c); err != nil {
		t.Fatal(err)
	}
	return g
}

func BenchmarkBuild(b *testing.B) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	for _, p := range part.Patterns {
		c := hatchOf(d, p, 620, 480, 90)
		g := stand(b, &c)
		b.Run(string(p), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				w, err := Build(&c, g, d, s, crib)
				if err != nil || len(w.Steps) == 0 {
					b.Fatal(err)
				}
			}
		})
	}
}
