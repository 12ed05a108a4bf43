package part_test

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"

	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

var thicknesses = part.Thicknesses{Receiver: 2.6, Skirt: 3, Panel: 14}
var sizes = part.Sizes{LargestSide: 2000, SmallestSide: 100}

// hatch is a sound configuration, for tests to change.
func hatch() part.Configuration {
	return part.Configuration{
		Units: quantity.Metric, Pattern: part.FlushLedge, SizeBasis: part.BasisRecess,
		Outline: part.Plan{Shape: part.Rectangle, Length: 610, Width: 430, CornerRadius: 70},
		Receiver: part.ReceiverFigures{RecessDepth: 22, LedgeWidth: 32, TrunkHeight: 40, FlangeWidth: 50, EdgeRadius: 9.5, RootRadius: 6, LipRadius: 6,
			Draft: 1, TrunkDraft: 2, FittingClearance: 3},
		Lid:      part.LidFigures{Gap: 3.5, LeastGap: 1.5, EdgeRadius: 9.5, Draft: 1, LandWidth: 15, Core: "none"},
		Seal:     part.Seal{Thickness: 6, Width: 14, Compression: 0.4},
		Deck:     part.Deck{Thickness: 25},
		Duty:     part.Duty{Kind: part.Step, WaterlineLength: 7000},
		Quantity: 1,
	}
}

// integrate sums f over each segment of p by Gauss-Legendre quadrature.
func integrate(p profile.Profile, f func(n float64) float64, z bool) float64 {
	const points = 40
	total := 0.0
	for _, s := range p.Segments() {
		length := s.Length()
		total += quad.Fixed(func(t float64) float64 {
			at := s.At(t)
			if !z {
				return f(at.N) * length
			}
			const dt = 1e-6
			return f(at.N) * (s.At(math.Min(1, t+dt)).Z - s.At(math.Max(0, t-dt)).Z) / (math.Min(1, t+dt) - math.Max(0, t-dt))
		}, 0, 1, points, nil, 0)
	}
	return total
}

// TestSurfacesAgainstQuadrature compares the closed forms of the two reported
// surfaces with Gauss-Legendre quadrature (gonum v0.17.0, integrate/quad) of the
// offsets themselves, on 1,000 random hatches of all shapes whose corners stay
// round: within 1e-9 of the area; the volume's integrand needs dz/dt, taken by
// finite difference here, so it is held to 1e-7.
func TestSurfacesAgainstQuadrature(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	shapes := []string{part.Rectangle, part.Obround, part.Circle, part.Dee, part.Taper}
	done, wanted := 0, 1000
	if testing.Short() {
		wanted = 100
	}
	for done < wanted {
		c := hatch()
		c.Outline = part.Plan{Shape: shapes[done%len(shapes)], Length: between(500, 1200), Width: between(300, 480), CornerRadius: between(70, 140),
			Diameter: between(300, 1000), WidthAft: between(350, 700), WidthFwd: between(350, 700)}
		c.Receiver.RecessDepth, c.Receiver.Draft = between(20, 45), between(0, 5)
		c.Receiver.TrunkHeight, c.Receiver.TrunkDraft = between(20, 90), between(0, 5)
		c.Lid.Draft, c.Lid.EdgeRadius = between(0, 5), between(3, 12)
		g, _ := part.Resolve(&c, thicknesses, sizes)
		if g.Stage < part.StageSections || g.TrunkRounded {
			continue
		}
		if err := g.Measure(&c); err != nil {
			t.Fatal(err)
		}
		done++
		r0 := g.Outlines.Recess
		perimeter := func(n float64) float64 {
			o, err := r0.Offset(n)
			if err != nil {
				t.Fatal(err)
			}
			return o.Perimeter()
		}
		area := func(n float64) float64 {
			o, err := r0.Offset(n)
			if err != nil {
				t.Fatal(err)
			}
			return o.Area()
		}
		check := func(name string, got, want, tolerance float64) {
			if math.Abs(got-want) > tolerance*math.Abs(want) {
				t.Errorf("%s of %+v: %.12g, quadrature %.12g", name, c.Outline, got, want)
			}
		}
		check("receiver area", g.Receiver.Area, integrate(g.ReceiverProfile, perimeter, false), 1e-9)
		check("well", g.Receiver.EnclosedVolume, integrate(g.ReceiverProfile, area, true), 1e-7)
		lid := g.Lid.Bands[0].Profile
		check("lid area", g.Lid.Area, integrate(lid, perimeter, false)+area(lid.Vertices()[0].At.N), 1e-9)
		check("lid volume", g.Lid.EnclosedVolume, integrate(lid, area, true), 1e-7)
		if t.Failed() {
			return
		}
	}
}

// TestRoundedTrunkJoinsItsBands: where the trunk's corners are sharp enough to be
// re-rounded the surface is made of two sweeps and a flat ring. With a least
// radius that the corners already have, both ways must give the same numbers.
func TestRoundedTrunkJoinsItsBands(t *testing.T) {
	c := hatch()
	g, _ := part.Resolve(&c, thicknesses, sizes)
	if err := g.Measure(&c); err != nil || g.TrunkRounded {
		t.Fatal(err, g.TrunkRounded)
	}
	again := g
	again.TrunkRounded = true
	if err := again.Measure(&c); err != nil {
		t.Fatal(err)
	}
	for name, pair := range map[string][2]float64{"area": {again.Receiver.Area, g.Receiver.Area}, "volume": {again.Receiver.EnclosedVolume, g.Receiver.EnclosedVolume}} {
		if math.Abs(pair[0]-pair[1]) > 1e-9*pair[1] {
			t.Errorf("%s by two bands %v, by one %v", name, pair[0], pair[1])
		}
	}
	// A corner that is re-rounded: the opening's corner has the least radius.
	c.Outline.CornerRadius = 20
	g, list := part.Resolve(&c, thicknesses, sizes)
	if !g.TrunkRounded || math.Abs(g.Outlines.ClearOpening.MinCornerRadius()-part.LeastTrunkRadius) > 1e-9 {
		t.Fatalf("opening's corner %v, rounded %v", g.Outlines.ClearOpening.MinCornerRadius(), g.TrunkRounded)
	}
	told := false
	for _, f := range list {
		told = told || f.Code == "receiver.trunk_rerounded"
	}
	if !told {
		t.Error("the re-rounding is not told")
	}
}

// TestDigestKnowsNoUnits: the same hatch in inches and in millimeters is one
// hatch, and every figure that matters changes the digest.
func TestDigestKnowsNoUnits(t *testing.T) {
	c := hatch()
	d := hatch()
	d.Units = quantity.Inch
	d.Outline.Length = 610 / 25.4 * 25.4
	if c.Digest() != d.Digest() {
		t.Error("units change the digest")
	}
	for i := range part.Parameters {
		p := &part.Parameters[i]
		d := hatch()
		if !p.Used(&d) {
			continue
		}
		if p.IsNumber() {
			*p.Number(&d) += 0.5
		} else {
			*p.Word(&d) += "x"
		}
		if d.Digest() == c.Digest() {
			t.Errorf("%s does not change the digest", p.Pointer)
		}
	}
}

// TestCanonicalIsSortedJSON: the canonical form is what encoding/json writes of
// the same document: valid, keys sorted, nothing between.
func TestCanonicalIsSortedJSON(t *testing.T) {
	for _, pattern := range part.Patterns {
		c := byPattern(pattern)
		c.Laminate.Schedule, c.Laminate.Lid, c.Laminate.Receiver = part.ScheduleListed, []string{"a", `b"<é`}, []string{"c"}
		c.Hardware = []part.Hardware{{Item: "latch", Edge: "fore", Count: 2}}
		c.Outline = part.Plan{Shape: part.Polygon, Corners: []outline.Corner{{At: outline.Point{X: -0.0000001, Y: 1.25}, Radius: 3}}}
		var tree any
		d := json.NewDecoder(bytes.NewReader(c.Canonical()))
		d.UseNumber()
		if err := d.Decode(&tree); err != nil {
			t.Fatalf("%s: %v\n%s", pattern, err, c.Canonical())
		}
		again, err := json.Marshal(tree)
		if err != nil || !bytes.Equal(again, c.Canonical()) {
			t.Errorf("%s: %v\n canonical %s\n encoded   %s", pattern, err, c.Canonical(), again)
		}
	}
}
