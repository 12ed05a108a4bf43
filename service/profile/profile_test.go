package profile_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"hatchwright/service/outline"
	"hatchwright/service/profile"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Max(1, math.Abs(want))) {
		t.Errorf("%s = %.15g, want %.15g", what, got, want)
	}
}

func mustOutline(t testing.TB) func(outline.Outline, error) outline.Outline {
	return func(o outline.Outline, err error) outline.Outline {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
}

func mustProfile(t testing.TB, v ...profile.Vertex) profile.Profile {
	t.Helper()
	p, err := profile.New(v)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func v(n, z, r float64, name string) profile.Vertex {
	return profile.Vertex{At: profile.Point{N: n, Z: z}, Radius: r, Name: name}
}

// Closed forms of elementary solids and surfaces of revolution (Pappus and
// Guldin), worked by hand for a circle of diameter 100.
func TestSolidsOfRevolution(t *testing.T) {
	const r = 50.0
	circle := mustOutline(t)(outline.Circle(2 * r))
	for _, c := range []struct {
		name         string
		p            profile.Profile
		area, volume float64
	}{
		{"cylinder", mustProfile(t, v(0, 0, 0, ""), v(0, 30, 0, "")), 2 * math.Pi * r * 30, math.Pi * r * r * 30},
		// Frustum 50 to 20 over 40: slant 50 (3-4-5).
		{"frustum", mustProfile(t, v(0, 0, 0, ""), v(-30, 40, 0, "")), math.Pi * 70 * 50, math.Pi / 3 * 40 * (2500 + 1000 + 400)},
		// Cone to its tip: slant 130 (5-12-13).
		{"cone", mustProfile(t, v(0, 0, 0, ""), v(-50, 120, 0, "")), math.Pi * 50 * 130, math.Pi / 3 * 2500 * 120},
		// Disc with a hole: level, so no volume.
		{"ring", mustProfile(t, v(10, 5, 0, ""), v(-10, 5, 0, "")), math.Pi * (3600 - 1600), 0},
		// Hemisphere of 50: a square corner rounded by the whole radius.
		{"hemisphere", mustProfile(t, v(0, 0, 0, ""), v(0, 50, 50, "dome"), v(-50, 50, 0, "")), 2 * math.Pi * r * r, 2. / 3 * math.Pi * r * r * r},
		// Quarter torus, tube 10, centre line 40: outer quarter. Its centroid is
		// 2/pi of the tube radius beyond the centre line (arc).
		{"quarter torus", mustProfile(t, v(0, 0, 0, ""), v(0, 10, 10, ""), v(-10, 10, 0, "")),
			math.Pi / 2 * 10 * 2 * math.Pi * (40 + 20/math.Pi),
			// Cylinder of 40 by 10, and the quarter disc about the axis: area
			// 25 pi, centroid 4 r/(3 pi) beyond 40.
			math.Pi*1600*10 + 25*math.Pi*2*math.Pi*(40+40/(3*math.Pi))},
	} {
		area, err := profile.SweptArea(circle, c.p)
		if err != nil {
			t.Fatal(c.name, err)
		}
		near(t, c.name+" area", area, c.area, 1e-13)
		volume, err := profile.EnclosedVolume(circle, c.p)
		if err != nil {
			t.Fatal(c.name, err)
		}
		near(t, c.name+" volume", volume, c.volume, 1e-13)
	}
}

// Pyramids, worked by hand: corners are sharp from the start, and of the 3 to 2
// rectangle the short edges are dropped at the ridge.
func TestPyramidAndHip(t *testing.T) {
	square := mustOutline(t)(outline.Rectangle(100, 100, 0))
	p := mustProfile(t, v(0, 0, 0, ""), v(-50, 120, 0, ""))
	area, err := profile.SweptArea(square, p)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "pyramid area", area, 4*100*130/2, 1e-13)
	volume, err := profile.EnclosedVolume(square, p)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "pyramid volume", volume, 100*100*120/3., 1e-13)

	// Hip roof 300 by 200, 45 degrees: ridge 100. Prismoid: h/6 (A0 + 4 Am + A1).
	hip := mustOutline(t)(outline.Rectangle(300, 200, 0))
	p = mustProfile(t, v(0, 0, 0, ""), v(-100, 100, 0, ""))
	if volume, err = profile.EnclosedVolume(hip, p); err != nil {
		t.Fatal(err)
	}
	near(t, "hip roof volume", volume, 100./6*(300*200+4*200*100), 1e-13)
	if area, err = profile.SweptArea(hip, p); err != nil {
		t.Fatal(err)
	}
	near(t, "hip roof area", area, 300*200*math.Sqrt2, 1e-13)

	var c *outline.CollapseError
	p = mustProfile(t, v(0, 0, 0, ""), v(-101, 100, 0, ""))
	if _, err = profile.EnclosedVolume(hip, p); !errors.As(err, &c) || math.Abs(c.Largest-100) > 1e-9 {
		t.Errorf("sweep past the ridge: %v", err)
	}
}

// A recess 19.05 deep with a root radius of 6.35 and a lid 3.175 smaller each
// side: the foot of the lid can not pass the root radius until it is held
// 6.35 - sqrt(6.35^2 - 3.175^2) up.
func TestClearanceAtRootRadius(t *testing.T) {
	receiver := mustProfile(t, v(20, 0, 0, ""), v(0, 0, 3, "edge"), v(0, 19.05, 6.35, "root"),
		v(-25, 19.05, 5, "lip"), v(-27, 60, 0, "trunk"))
	for _, c := range []struct{ foot, want, rel, at float64 }{
		{19.05, 3.175 - 6.35, 1e-12, 19.05},
		{19.05 - (6.35 - math.Sqrt(6.35*6.35-3.175*3.175)), 0, 1e-12, 19.05 - 0.850738},
		{12, 3.175, 1e-12, 3}, // above the radius
	} {
		lid := mustProfile(t, v(-3.175, 0, 0, ""), v(-3.175, c.foot, 0, "foot"))
		clear, at, err := profile.LeastHorizontalClearance(receiver, lid, 0, c.foot)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "clearance", clear, c.want, c.rel)
		near(t, "depth", at, c.at, 1e-6)
	}
}

// The least between a wall and a bulge is where they run parallel, worked by
// hand: circle of 50 about (-60, 40) against the wall n = 0 and against one
// that leans 3 in 4.
func TestClearanceInsideRange(t *testing.T) {
	bulge := mustProfile(t, v(-60, -10, 0, ""), v(-10, -10, 50, ""), v(-10, 90, 50, ""), v(-60, 90, 0, ""))
	clear, at, err := profile.LeastHorizontalClearance(mustProfile(t, v(0, 0, 0, ""), v(0, 80, 0, "")), bulge, 5, 75)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "wall", clear, 10, 1e-13)
	near(t, "wall depth", at, 40, 1e-13)
	// Line n = 30 - 0.75 (z - 40): the distance along n is (90 - 50*1.25) at
	// tan a = 0.75, where z = 40 + 50*0.6.
	lean := mustProfile(t, v(60, 0, 0, ""), v(0, 80, 0, ""))
	if clear, at, err = profile.LeastHorizontalClearance(lean, bulge, 5, 75); err != nil {
		t.Fatal(err)
	}
	near(t, "lean", clear, 90-50*1.25, 1e-13)
	near(t, "lean depth", at, 70, 1e-13)
}

func TestFilletClosedForms(t *testing.T) {
	area, from := profile.FilletSection(6.35, 90)
	near(t, "area", area, 6.35*6.35*(1-math.Pi/4), 1e-14)
	near(t, "centroid", from, 6.35*(5./6-math.Pi/4)/(1-math.Pi/4), 1e-14)
	near(t, "centroid of 1", from/6.35, 0.223368, 5e-7)
	// Equilateral corner, 60 degrees: kite sqrt(3) r^2, sector pi r^2/3.
	area, _ = profile.FilletSection(1, 60)
	near(t, "60 degrees", area, math.Sqrt(3)-math.Pi/3, 1e-14)
	for _, bad := range [][2]float64{{0, 90}, {-1, 90}, {1, 0}, {1, 180}, {1, -20}, {math.NaN(), 90}, {1, math.NaN()}, {math.Inf(1), 90}} {
		if a, f := profile.FilletSection(bad[0], bad[1]); a != 0 || f != 0 {
			t.Errorf("fillet of %v: %g, %g", bad, a, f)
		}
	}
	// Outside a block of 300 by 200 with corners of 40 standing on a board.
	o := mustOutline(t)(outline.Rectangle(300, 200, 40))
	p := mustProfile(t, v(50, 0, 0, ""), v(0, 0, 5, "edge"), v(0, 30, 0, ""))
	got, err := profile.FilletVolume(o, p, 1)
	if err != nil {
		t.Fatal(err)
	}
	a := 25 * (1 - math.Pi/4)
	c := 5 * (5./6 - math.Pi/4) / (1 - math.Pi/4)
	near(t, "volume", got, a*(o.Perimeter()+2*math.Pi*c), 1e-13)
	f, ok := p.Fillet(1)
	if !ok {
		t.Fatal("no fillet")
	}
	near(t, "centroid n", f.Centroid.N, c, 1e-13)
	near(t, "centroid z", f.Centroid.Z, c, 1e-13)
}

func TestRefusals(t *testing.T) {
	var r *profile.RadiusTooLargeError
	_, err := profile.New([]profile.Vertex{v(0, 0, 0, "top"), v(0, 19, 15, "root"), v(-20, 19, 6, "lip"), v(-20, 60, 0, "")})
	if !errors.As(err, &r) || r.Name != "root" || r.Vertex != 1 || math.Abs(r.Largest-14) > 1e-12 {
		t.Errorf("root 15, lip 6 on a ledge of 20: %v", err)
	}
	for _, c := range []struct {
		reason profile.Reason
		v      []profile.Vertex
	}{
		{profile.TooFewVertices, []profile.Vertex{v(0, 0, 0, "")}},
		{profile.RepeatedVertex, []profile.Vertex{v(0, 0, 0, ""), v(0, 0, 0, "")}},
		{profile.TurnsBack, []profile.Vertex{v(0, 0, 0, ""), v(0, 9, 0, ""), v(0, 1, 0, "")}},
		{profile.RoundedEnd, []profile.Vertex{v(0, 0, 1, ""), v(0, 9, 0, "")}},
		{profile.NegativeRadius, []profile.Vertex{v(0, 0, 0, ""), v(0, 9, -1, ""), v(1, 9, 0, "")}},
		{profile.NotFinite, []profile.Vertex{v(0, 0, 0, ""), v(0, math.NaN(), 0, "")}},
		{profile.TooLarge, []profile.Vertex{v(0, 0, 0, ""), v(0, 1e10, 0, "")}},
	} {
		var d *profile.DegenerateError
		if _, err := profile.New(c.v); !errors.As(err, &d) || d.Reason != c.reason {
			t.Errorf("want %q, got %v", c.reason, err)
		}
	}
	wall := mustProfile(t, v(0, 0, 0, ""), v(0, 20, 0, ""))
	hook := mustProfile(t, v(-5, 0, 0, ""), v(-5, 20, 0, ""), v(-9, 20, 0, ""), v(-9, 10, 0, ""))
	var over *profile.OverhangError
	if _, _, err := profile.LeastHorizontalClearance(wall, hook, 0, 20); !errors.As(err, &over) || over.Role != profile.Inner {
		t.Errorf("hook: %v", err)
	}
	var rng *profile.RangeError
	if _, _, err := profile.LeastHorizontalClearance(wall, wall, 0, 21); !errors.As(err, &rng) || rng.High != 20 {
		t.Errorf("too deep: %v", err)
	}
	if _, _, err := profile.LeastHorizontalClearance(wall, wall, 5, 5); !errors.As(err, &rng) {
		t.Errorf("empty range: %v", err)
	}
}

func TestNAt(t *testing.T) {
	p := mustProfile(t, v(20, 0, 0, ""), v(0, 0, 0, ""), v(0, 20, 6, "root"), v(-20, 20, 0, ""), v(-30, 40, 0, ""))
	for _, c := range []struct {
		z    float64
		want []float64
	}{
		{-1, nil}, {0, []float64{20, 0}}, {10, []float64{0}},
		{20 - 6 + 6*0.6, []float64{-6 + 6*0.8}}, // 3-4-5 on the arc
		{20, []float64{-6, -20}}, {30, []float64{-25}}, {41, nil},
	} {
		got := p.NAt(c.z)
		if len(got) != len(c.want) {
			t.Errorf("at %g: %v, want %v", c.z, got, c.want)
			continue
		}
		for i := range got {
			near(t, "n", got[i], c.want[i], 1e-13)
		}
	}
}

// Steps within the range count with the offset on either side of them, and which
// way a path runs does not matter.
func TestClearancePastSteps(t *testing.T) {
	stepped := mustProfile(t, v(0, 0, 0, ""), v(0, 10, 0, ""), v(-6, 10, 0, ""), v(-6, 30, 0, ""))
	upward := mustProfile(t, v(-6, 30, 0, ""), v(-6, 10, 0, ""), v(0, 10, 0, ""), v(0, 0, 0, ""))
	inner := mustProfile(t, v(-8, 0, 0, ""), v(-4, 10, 0, ""), v(-20, 10, 0, ""), v(-20, 30, 0, ""))
	for _, outer := range []profile.Profile{stepped, upward} {
		// Down to the step: 0 - (-4). Past it the step itself is no wall, and just
		// below it there are 14.
		clear, at, err := profile.LeastHorizontalClearance(outer, inner, 0, 30)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "clear", clear, 4, 1e-14)
		near(t, "at", at, 10, 1e-14)
		if clear, at, err = profile.LeastHorizontalClearance(outer, inner, 10, 30); err != nil {
			t.Fatal(err)
		}
		near(t, "below the step", clear, 14, 1e-14)
		near(t, "at", at, 10, 1e-14)
	}
}

func TestTranslate(t *testing.T) {
	p, err := recess().Translate(5, -2)
	if err != nil {
		t.Fatal(err)
	}
	a, b := p.NAt(10), recess().NAt(12)
	if len(a) != 1 || len(b) != 1 || a[0] != b[0]+5 {
		t.Errorf("%v and %v", a, b)
	}
	near(t, "length", p.Length(), recess().Length(), 1e-14)
	if _, err := p.Translate(math.NaN(), 0); !errors.As(err, new(*profile.DegenerateError)) {
		t.Errorf("moved by NaN: %v", err)
	}
}

// Chords of the samples keep their distance from the path.
func TestSample(t *testing.T) {
	o := mustOutline(t)(outline.Rectangle(300, 200, 60))
	p := recess()
	want, err := profile.SweptArea(o, p)
	if err != nil {
		t.Fatal(err)
	}
	pts := p.Sample(1e-4)
	got := 0.0
	for i := 1; i < len(pts); i++ {
		a, b := pts[i-1], pts[i]
		l, err := o.PerimeterAt((a.N + b.N) / 2)
		if err != nil {
			t.Fatal(err)
		}
		got += l * math.Hypot(a.N-b.N, a.Z-b.Z)
	}
	// Chords are shorter than arcs by about 8 e/(3 r) of them.
	near(t, "area of the sampled strip", got, want, 1e-4)
	if n := len(pts); n < 100 || n > 500 {
		t.Errorf("%d points", n)
	}
}

// Messages say which vertex, what was asked for and what would do instead.
func TestMessages(t *testing.T) {
	wall := mustProfile(t, v(0, 0, 0, ""), v(0, 20, 0, ""))
	hook := mustProfile(t, v(-5, 0, 0, ""), v(-5, 20, 0, ""), v(-9, 20, 0, ""), v(-9, 10, 0, ""))
	_, tooLarge := profile.New([]profile.Vertex{v(0, 0, 0, ""), v(0, 19, 15, "root"), v(-14, 19, 0, "")})
	_, back := profile.New([]profile.Vertex{v(0, 0, 0, ""), v(0, 9, 0, "foot"), v(0, 1, 0, "")})
	_, _, short := profile.LeastHorizontalClearance(wall, wall, 0, 21)
	_, _, over := profile.LeastHorizontalClearance(wall, hook, 0, 20)
	for _, k := range []struct {
		err  error
		want []string
	}{
		{tooLarge, []string{`"root"`, "15 mm", "14 mm"}},
		{back, []string{`"foot"`, "back"}},
		{short, []string{"outer", "0 to 20", "0 to 21"}},
		{over, []string{"inner", "10 mm"}},
	} {
		for _, w := range k.want {
			if k.err == nil || !strings.Contains(k.err.Error(), w) {
				t.Errorf("%v does not say %q", k.err, w)
			}
		}
	}
}
