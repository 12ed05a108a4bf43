package register_test

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/derivation"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
	"hatchwright/service/register"
	"hatchwright/service/shop"
)

func rectangle(l, w, r float64) outline.Outline {
	o, err := outline.Rectangle(l, w, r)
	if err != nil {
		panic(err)
	}
	return o
}

// face is a receiver's face of three outlines about one another.
func face(l, w, r float64) register.Face {
	return register.Face{Part: "receiver", Kind: "plug", Pattern: "flush-ledge",
		Outlines: []register.Curve{{Name: "recess", Outline: rectangle(l, w, r)}, {Name: "flange", Outline: rectangle(l+100, w+100, r+50)}, {Name: "trunk", Outline: rectangle(l-64, w-64, max(10, r-32))}},
		Section: []profile.Vertex{
			{At: profile.Point{N: 50}}, {At: profile.Point{}, Radius: 9.5, Name: "edge"}, {At: profile.Point{N: -0.4, Z: 22}, Radius: 6, Name: "root"},
			{At: profile.Point{N: -32.4, Z: 22}, Radius: 6, Name: "lip"}, {At: profile.Point{N: -33, Z: 62}},
		}}
}

// moved lays the face's outlines elsewhere.
func moved(f register.Face, turns int, dx, dy float64) register.Face {
	g := f
	g.Outlines = nil
	for _, c := range f.Outlines {
		g.Outlines = append(g.Outlines, register.Curve{Name: c.Name, Outline: c.Outline.Rotate(float64(90*turns)).Translate(dx, dy)})
	}
	return g
}

func anyFace(t *rapid.T) register.Face {
	step := func(name string, lo, hi int) float64 { return float64(rapid.IntRange(lo, hi).Draw(t, name)) / 4 }
	w := step("width", 800, 2400)
	return face(w+step("longer", 0, 1600), w, step("radius", 140, 380))
}

func TestFingerprintProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFace(t)
		at := f.Fingerprint()
		g := moved(f, rapid.IntRange(0, 3).Draw(t, "turns"), rapid.Float64Range(-900, 900).Draw(t, "dx"), rapid.Float64Range(-900, 900).Draw(t, "dy"))
		if g.Fingerprint() != at {
			t.Fatalf("moved and turned it is another: %v", g)
		}
		if off, list, ok := register.Off(f, g); !ok || off > 1e-6 || len(list) > 0 {
			t.Fatalf("moved and turned it is off by %v: %v", off, list)
		}
		h := f
		h.Section = append([]profile.Vertex(nil), f.Section...)
		i, by := rapid.IntRange(0, len(h.Section)-1).Draw(t, "corner"), float64(rapid.IntRange(1, 400).Draw(t, "by"))/20
		switch rapid.IntRange(0, 2).Draw(t, "figure") {
		case 0:
			h.Section[i].At.N += by
		case 1:
			h.Section[i].At.Z += by
		default:
			h.Section[i].Radius += by
		}
		if h.Fingerprint() == at {
			t.Fatalf("corner %d off by %v has the same fingerprint", i, by)
		}
		if off, list, ok := register.Off(f, h); !ok || math.Abs(off-by) > 1e-9 || len(list) != 1 || math.Abs(list[0].By-by) > 1e-9 {
			t.Fatalf("corner %d off by %v: off %v, %v", i, by, off, list)
		}
	})
}

func TestFingerprintTells(t *testing.T) {
	f := face(520, 380, 60)
	seen := map[string]string{f.Fingerprint(): "itself"}
	for name, g := range map[string]register.Face{
		"longer": face(520.05, 380, 60), "wider": face(520, 380.05, 60), "sharper": face(520, 380, 59.95), "wider than long": face(380, 520, 60),
		"lid": {Part: "lid", Kind: "cavity", Pattern: f.Pattern, Outlines: f.Outlines[:1], Section: f.Section},
	} {
		got := g.Fingerprint()
		if name == "wider than long" {
			if got != f.Fingerprint() {
				t.Error("turned by a right angle it is another")
			}
			continue
		}
		if other, taken := seen[got]; taken {
			t.Errorf("%s has the fingerprint of %s", name, other)
		}
		seen[got] = name
	}
	var none register.Face
	if none.Fingerprint() == f.Fingerprint() {
		t.Error("no face has a fingerprint of one")
	}
	// A dee is not its mirror image, nor a taper turned end for end by mirroring.
	slant, err := outline.New([]outline.Corner{{At: outline.Point{X: 0, Y: 0}, Radius: 20}, {At: outline.Point{X: 400, Y: 0}, Radius: 30}, {At: outline.Point{X: 340, Y: 250}, Radius: 20}, {At: outline.Point{X: 30, Y: 200}, Radius: 20}})
	if err != nil {
		t.Fatal(err)
	}
	one := register.Face{Outlines: []register.Curve{{Name: "recess", Outline: slant}}}
	two := register.Face{Outlines: []register.Curve{{Name: "recess", Outline: slant.Mirror()}}}
	if one.Fingerprint() == two.Fingerprint() {
		t.Error("a mirrored outline has the same fingerprint")
	}
}

// The same hatch asked for in inches has the same molds; gelcoat and laminate do
// not change them, the recess does.
func TestFacesOfDerivations(t *testing.T) {
	e, err := derivation.New(shop.Example())
	if err != nil {
		t.Fatal(err)
	}
	faces := func(change func(*part.Request)) []register.Face {
		r := part.Request{Given: map[string]bool{"/outline/shape": true, "/outline/length": true, "/outline/width": true, "/outline/corner_radius": true}}
		r.Pattern = part.FlushLedge
		r.Outline = part.Plan{Shape: part.Rectangle, Length: 520, Width: 380, CornerRadius: 60}
		change(&r)
		d, err := e.Derive(r, time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC))
		if err != nil || !d.Makeable() {
			t.Fatal(err, d.Findings)
		}
		return register.Faces(&d.Configuration, d.Geometry, d.Molds)
	}
	asked := faces(func(*part.Request) {})
	if len(asked) != 2 || asked[0].Part != "receiver" || asked[1].Part != "lid" {
		t.Fatalf("faces of %v", asked)
	}
	same := faces(func(r *part.Request) {
		r.Given["/gelcoat/color"], r.Gelcoat.Color = true, "slate"
		r.Units = quantity.Inch
		r.Outline.Length = 520.0 / 25.4 * 25.4
	})
	deeper := faces(func(r *part.Request) { r.Given["/receiver/ledge_width"], r.Receiver.LedgeWidth = true, 34 })
	if register.Set(asked) != register.Set(same) {
		t.Error("another color and unit make other molds")
	}
	if register.Set(asked) == register.Set(deeper) || asked[0].Fingerprint() == deeper[0].Fingerprint() {
		t.Error("a wider ledge makes the same receiver mold")
	}
	if asked[1].Fingerprint() != deeper[1].Fingerprint() {
		t.Error("a wider ledge makes another lid mold")
	}
	if off, _, ok := register.Off(asked[0], deeper[0]); !ok || math.Abs(off-4) > 1e-9 {
		// The trunk's outline goes in by 2 mm on each side, which makes its size
		// 4 mm less.
		t.Errorf("a ledge 2 mm wider is off by %v, %v", off, ok)
	}
	if _, _, ok := register.Off(asked[0], asked[1]); ok {
		t.Error("a lid was compared with a receiver")
	}
	for i, f := range asked {
		b, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		var back register.Face
		if err := json.Unmarshal(b, &back); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(f, back) || back.Fingerprint() != f.Fingerprint() {
			t.Errorf("face %d came back as another", i)
		}
	}
}

// Worked by hand: rectangles middle on middle are apart by what half a side
// differs, unless a corner is: its arc, of radius r about a middle r in from both
// sides, reaches r (1 - sqrt 2) less on the diagonal than the sharp corner.
func TestDistanceByHand(t *testing.T) {
	square := func(side, r float64) outline.Outline { return rectangle(side, side, r) }
	for _, c := range []struct {
		name string
		a, b outline.Outline
		want float64
	}{
		{"same", square(100, 10), square(100, 10), 0},
		{"grown", square(100, 10), square(106, 13), 3},
		{"longer", rectangle(120, 80, 10), rectangle(125, 80, 10), 2.5},
		{"rounder", square(100, 0), square(100, 20), 20 * (math.Sqrt2 - 1)},
		{"moved", square(100, 10), square(100, 10).Translate(3, 4), 5},
		{"circle in square", square(100, 0), mustCircle(100), 50 * (math.Sqrt2 - 1)},
	} {
		for _, got := range []float64{register.Distance(c.a, c.b), register.Distance(c.b, c.a)} {
			if math.Abs(got-c.want) > 1e-9 {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
			}
		}
	}
	if !math.IsInf(register.Distance(square(1, 0), outline.Outline{}), 1) || register.Distance(outline.Outline{}, outline.Outline{}) != 0 {
		t.Error("distance from nothing")
	}
}

func mustCircle(d float64) outline.Outline {
	o, err := outline.Circle(d)
	if err != nil {
		panic(err)
	}
	return o
}

// Against sampled points of each curve and Outline.Distance, which knows nothing
// of support functions: the largest distance found is never more, and not less by
// more than the samples are apart.
func TestDistanceAgainstSamples(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shape := func(name string) outline.Outline {
			w := rapid.Float64Range(60, 300).Draw(t, name+" width")
			l := w * rapid.Float64Range(1, 2).Draw(t, name+" ratio")
			r := rapid.Float64Range(0, w/4).Draw(t, name+" radius")
			var o outline.Outline
			var err error
			switch rapid.IntRange(0, 2).Draw(t, name+" shape") {
			case 0:
				o, err = outline.Rectangle(l, w, r)
			case 1:
				o, err = outline.Taper(l, w, w*0.8, r/2)
			default:
				o, err = outline.Obround(l+1, w)
			}
			if err != nil {
				t.Skip(err)
			}
			return o.Rotate(rapid.Float64Range(0, 360).Draw(t, name+" turn")).Translate(rapid.Float64Range(-40, 40).Draw(t, name+" x"), 0)
		}
		a, b := shape("a"), shape("b")
		const step = 2e-3
		sampled := 0.0
		for _, pair := range [][2]outline.Outline{{a, b}, {b, a}} {
			n := 4000
			for i := range n {
				p, _ := pair[0].At(pair[0].Perimeter() * float64(i) / float64(n))
				if !pair[1].Contains(p) {
					sampled = math.Max(sampled, math.Abs(pair[1].Distance(p)))
				}
			}
		}
		got := register.Distance(a, b)
		// For convex bodies the distance of the bodies equals that of the curves; one
		// inside the other counts from the outer one's points.
		apart := math.Max(a.Perimeter(), b.Perimeter()) / 4000
		if sampled > got+step || sampled < got-apart-step {
			t.Fatalf("support functions say %v, samples %v", got, sampled)
		}
	})
}

// What Off calls near lies within the bounds that the register is searched in.
func TestNearBoundsProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFace(t)
		l, w := f.Size()
		g := moved(face(l+rapid.Float64Range(-9, 9).Draw(t, "dl"), w+rapid.Float64Range(-9, 9).Draw(t, "dw"), 35), rapid.IntRange(0, 3).Draw(t, "turns"), 7, -3)
		off, _, ok := register.Off(f, g)
		if !ok {
			t.Fatal("not compared")
		}
		b := f.Near(off)
		long, short := g.Size()
		if off <= register.LargestTolerance && (long < b.LongLeast || long > b.LongMost || short < b.ShortLeast || short > b.ShortMost) {
			t.Fatalf("off by %v, and outside %+v: %v by %v", off, b, long, short)
		}
		inside := false
		for _, s := range b.Strips() {
			inside = inside || s == register.Strip(long)
		}
		if off <= register.LargestTolerance && !inside {
			t.Fatalf("strip %d is not among %v", register.Strip(long), b.Strips())
		}
		if back, _, _ := register.Off(g, f); math.Abs(back-off) > 1e-6 {
			t.Fatalf("off by %v one way and %v the other", off, back)
		}
	})
}

func TestTolerance(t *testing.T) {
	for _, c := range [][2]float64{{5, 5}, {0, 0}, {-1, 0}, {math.NaN(), 0}, {1e9, register.LargestTolerance}} {
		if got := register.Within(c[0]); got != c[1] {
			t.Errorf("tolerance %v counts as %v, want %v", c[0], got, c[1])
		}
	}
}

func BenchmarkOff(b *testing.B) {
	f, g := face(520, 380, 60), moved(face(523, 382, 58), 1, 5, 5)
	sum := 0.0
	for b.Loop() {
		off, _, _ := register.Off(f, g)
		sum += off
	}
	if sum == 0 {
		b.Fatal("nothing was compared")
	}
}

func BenchmarkFingerprint(b *testing.B) {
	f := face(520, 380, 60)
	n := 0
	for b.Loop() {
		n += len(f.Fingerprint())
	}
	if n == 0 {
		b.Fatal("nothing was digested")
	}
}

func ExampleOff() {
	off, list, _ := register.Off(face(520, 380, 60), face(523, 380, 60))
	fmt.Printf("%.3f mm\n", off)
	for _, d := range list {
		fmt.Printf("%s %.3f\n", d.What, d.By)
	}
	// Output:
	// 3.000 mm
	// outline recess 3.000
	// outline flange 3.000
	// outline trunk 3.000
}
