package part_test

import (
	"math"
	"testing"

	"hatchwright/service/finding"
	"hatchwright/service/part"
)

// byPattern changes the sound hatch into a sound one of another pattern.
func byPattern(pattern part.Pattern) part.Configuration {
	c := hatch()
	c.Pattern = pattern
	c.Seal.Tightness = part.Splash
	switch pattern {
	case part.FlushGutter:
		c.Gutter = part.Gutter{Width: 30, Depth: 24, UpstandWidth: 32, SkirtClearance: 10, DrainCount: 2, DrainDiameter: 15, RainIntensity: 119.38, Catchment: 100}
		c.Receiver.RecessDepth = thicknesses.Panel + c.Seal.Compressed()
		c.Receiver.RootRadius = 5
		c.Outline.CornerRadius = 90
	case part.RaisedCoaming:
		c.Coaming = part.Coaming{Height: 60, TopWidth: 34, Overlap: 28}
		c.Lid.Draft = 2
	case part.BoltedPlate:
		c.Plate = part.Plate{Overlap: 40, BoltDiameter: 6, EdgeDistance: 18}
		c.Receiver.FlangeWidth = 10
		c.Lid.EdgeRadius = 6
	}
	return c
}

var limits = part.Sizes{LargestSide: 2000, SmallestSide: 100,
	CoamingHeight: map[string]float64{part.Splash: 50, part.Immersion: 75}, BoltPitch: map[string]float64{part.Splash: 100, part.Immersion: 75}}

// TestEveryPatternStands resolves a sound hatch of each pattern: no finding but
// drafts under the guide, every outline there, both surfaces positive.
func TestEveryPatternStands(t *testing.T) {
	for _, pattern := range part.Patterns {
		c := byPattern(pattern)
		g, list := part.Resolve(&c, thicknesses, limits)
		for _, f := range list {
			if f.Severity == finding.Error || f.Code != "mold.draft_low" {
				t.Errorf("%s: %s at %s: %s", pattern, f.Code, f.Pointer, f.Message(c.Units))
			}
		}
		if g.Stage != part.StageWhole {
			t.Fatalf("%s stops at stage %d", pattern, g.Stage)
		}
		if err := g.Measure(&c); err != nil {
			t.Fatalf("%s: %v", pattern, err)
		}
		if !(g.Receiver.Area > 0 && g.Lid.Area > 0 && g.Lid.EnclosedVolume > 0) {
			t.Errorf("%s: receiver %v mm2, lid %v mm2, %v mm3", pattern, g.Receiver.Area, g.Lid.Area, g.Lid.EnclosedVolume)
		}
	}
}

// TestSurfacesOfPatternsByHand holds swept areas of round hatches without draft or
// radii against sums of annuli and cylinders worked by hand.
func TestSurfacesOfPatternsByHand(t *testing.T) {
	const d = 600.0
	annulus := func(outer, inner float64) float64 { return math.Pi * (outer*outer - inner*inner) }
	cylinder := func(r, h float64) float64 { return 2 * math.Pi * r * h }
	for _, pattern := range []part.Pattern{part.FlushGutter, part.RaisedCoaming, part.BoltedPlate} {
		c := byPattern(pattern)
		c.Outline = part.Plan{Shape: part.Circle, Diameter: d}
		c.Receiver.EdgeRadius, c.Receiver.RootRadius, c.Receiver.LipRadius, c.Receiver.Draft, c.Receiver.TrunkDraft = 0, 0, 0, 0, 0
		g, _ := part.Resolve(&c, thicknesses, limits)
		if err := g.Measure(&c); err != nil {
			t.Fatal(err)
		}
		r := c.Receiver
		want := 0.0
		switch pattern {
		case part.FlushGutter:
			k := c.Gutter
			want = annulus(d/2+r.FlangeWidth, d/2) + cylinder(d/2, r.RecessDepth+k.Depth) + annulus(d/2, d/2-k.Width) +
				cylinder(d/2-k.Width, k.Depth) + annulus(d/2-k.Width, d/2-k.Width-k.UpstandWidth) + cylinder(d/2-k.Width-k.UpstandWidth, r.TrunkHeight)
		case part.RaisedCoaming:
			k := c.Coaming
			want = annulus(d/2+r.FlangeWidth, d/2) + cylinder(d/2, k.Height) + annulus(d/2, d/2-k.TopWidth) + cylinder(d/2-k.TopWidth, k.Height+r.TrunkHeight)
		case part.BoltedPlate:
			want = annulus(d/2+r.FlangeWidth, d/2-c.Plate.Overlap)
		}
		if math.Abs(g.Receiver.Area-want) > 1e-9*want {
			t.Errorf("%s: %v mm2, by hand %v", pattern, g.Receiver.Area, want)
		}
	}
}

// TestOrificeAndEmptying holds the drains against worked figures: flows of a
// sharp-edged orifice with Cd 0.61 (standard orifice equation; calculated
// independently with g 9.81 m/s2, the standard 9.80665 taken here), and 0.05 m2 of gutter emptied from 25 mm through
// one bore of 25.4 mm.
func TestOrificeAndEmptying(t *testing.T) {
	for _, c := range []struct{ bore, head, want float64 }{
		{12.7, 15, 2.515}, {12.7, 25, 3.247}, {12.7, 40, 4.107}, {19.05, 15, 5.659}, {19.05, 25, 7.306}, {19.05, 40, 9.241},
		{25.4, 15, 10.061}, {25.4, 25, 12.988}, {25.4, 40, 16.429}, {38, 15, 22.518}, {38, 25, 29.071}, {38, 40, 36.772},
	} {
		if got := part.OrificeFlow(c.bore, c.head) * math.Sqrt(9.81/9.80665); math.Abs(got-c.want) > 0.0006 {
			t.Errorf("bore %v under %v: %.4f L/min, want %v", c.bore, c.head, got, c.want)
		}
	}
	if got := part.EmptyingTime(0.05e6, math.Pi*25.4*25.4/4, 25); math.Abs(got-11.55) > 0.005 {
		t.Errorf("emptying %.4f s, want 11.55", got)
	}
	// Rain of 4.7 in/h (Miami, 100-year 1-hour, IPC 2018 Appendix B) brings 1.98967
	// L/min on a square meter.
	c := byPattern(part.FlushGutter)
	c.Gutter.RainIntensity = 4.7 * 25.4
	g, _ := part.Resolve(&c, thicknesses, limits)
	catch, err := g.Outlines.Recess.Offset(c.Gutter.Catchment)
	if err != nil {
		t.Fatal(err)
	}
	if got := g.Drain.Inflow / (catch.Area() * 1e-6); math.Abs(got-1.98967) > 1e-5 {
		t.Errorf("rain %.6f L/min per m2, want 1.98967", got)
	}
}

// TestBoltsStandInLine: every bolt of a plate lies the edge distance inside its
// outline, evenly spaced, no further apart than asked.
func TestBoltsStandInLine(t *testing.T) {
	for _, shape := range []part.Plan{{Shape: part.Rectangle, Length: 610, Width: 430, CornerRadius: 70}, {Shape: part.Circle, Diameter: 400}, {Shape: part.Taper, Length: 500, WidthAft: 420, WidthFwd: 300, CornerRadius: 40}} {
		c := byPattern(part.BoltedPlate)
		c.Outline = shape
		g, _ := part.Resolve(&c, thicknesses, limits)
		if len(g.Bolts) < 4 || g.BoltPitch > limits.BoltPitch[part.Splash]+1e-9 {
			t.Fatalf("%d bolts %v apart", len(g.Bolts), g.BoltPitch)
		}
		for _, b := range g.Bolts {
			if got := -g.Outlines.Recess.Distance(b); math.Abs(got-c.Plate.EdgeDistance) > 1e-9 {
				t.Errorf("bolt %v stands %v inside the edge, want %v", b, got, c.Plate.EdgeDistance)
			}
		}
	}
}

// TestCoamingGap: a skirt with more draft than the coaming opens on the way down,
// one with less closes; the closed form is in the fit.
func TestCoamingGap(t *testing.T) {
	c := byPattern(part.RaisedCoaming)
	c.Receiver.LipRadius = 0 // no radius: the clearance is that of the straight walls
	for _, draft := range []float64{0, 1, 3} {
		c.Lid.Draft = draft
		g, _ := part.Resolve(&c, thicknesses, limits)
		tan := func(deg float64) float64 { return math.Tan(deg * math.Pi / 180) }
		foot := c.Lid.Gap + c.Coaming.Overlap*(tan(draft)-tan(c.Receiver.Draft))
		if want := math.Min(c.Lid.Gap, foot); math.Abs(g.Fit.LeastClearance-want) > 1e-9 || math.Abs(g.Fit.GapAtFoot-foot) > 1e-9 {
			t.Errorf("draft %v: least %v, foot %v; want %v and %v", draft, g.Fit.LeastClearance, g.Fit.GapAtFoot, want, foot)
		}
	}
}

// Drawings have a word for every leg, every rounded corner and every plan curve of each
// pattern.
func TestEveryPatternIsNamed(t *testing.T) {
	for _, pattern := range part.Patterns {
		t.Run(string(pattern), func(t *testing.T) {
			c := byPattern(pattern)
			g, _ := part.Resolve(&c, thicknesses, limits)
			named := map[string]bool{} // figures, by the first of the corners that they round
			for i, v := range g.ReceiverProfile.Vertices() {
				if i > 0 && part.LegName(v.Leg) == "" {
					t.Errorf("leg %d has no name", v.Leg)
				}
				if v.Name != "" && !named[v.Name] && part.CornerName(v.Corner) == "" {
					t.Errorf("corner %d, rounded by %s, has no name", v.Corner, v.Name)
				}
				named[v.Name] = true
			}
			if n := c.Captions(); n.Recess == "" || n.Lid == "" || n.ClearOpening == "" || (n.Trunk == "") == c.HasTrunk() {
				t.Errorf("a plan curve has no name: %+v", n)
			}
		})
	}
}
