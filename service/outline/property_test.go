package outline_test

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"

	"hatchwright/service/outline"
)

// anyOutline draws a convex polygon on an ellipse with corner radii that fit.
func anyOutline(t *rapid.T) outline.Outline {
	n := rapid.IntRange(3, 14).Draw(t, "n")
	// Angles with gaps of no more than ten to one; any distinct points on an
	// ellipse are convex.
	angles := make([]float64, n)
	total := 0.0
	for i := range angles {
		angles[i] = total
		total += rapid.Float64Range(0.1, 1).Draw(t, "gap")
	}
	for i := range angles {
		angles[i] *= 2 * math.Pi / total
	}
	a := rapid.Float64Range(50, 1000).Draw(t, "a")
	b := rapid.Float64Range(50, 1000).Draw(t, "b")
	corners := make([]outline.Corner, n)
	for i, angle := range angles {
		s, c := math.Sincos(angle)
		corners[i].At = outline.Point{X: a * c, Y: b * s}
	}
	if _, err := outline.New(corners); err != nil {
		t.Fatalf("%v: %v", corners, err)
	}
	// Radii one by one: each takes a part of what fits.
	part := rapid.SampledFrom([]float64{0, 0.3, 0.9}).Draw(t, "part")
	for i := range corners {
		corners[i].Radius = 1e8
		_, err := outline.New(corners)
		var large *outline.RadiusTooLargeError
		if !errors.As(err, &large) || large.Corner != i {
			t.Fatalf("radius 1e8 at corner %d of %v: %v", i, corners, err)
		}
		corners[i].Radius = large.Largest * part * rapid.Float64Range(0, 1).Draw(t, "r")
	}
	o, err := outline.New(corners)
	if err != nil {
		t.Fatalf("radii said to fit do not: %v: %v", corners, err)
	}
	return o
}

func nearly(t *rapid.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Max(1, math.Abs(want))) {
		t.Fatalf("%s = %.15g, want %.15g", what, got, want)
	}
}

func same(t *rapid.T, what string, a, b outline.Outline, tol float64) {
	t.Helper()
	ca, cb := a.Corners(), b.Corners()
	if len(ca) != len(cb) {
		t.Fatalf("%s: %v and %v", what, a, b)
	}
	for i := range ca {
		if math.Hypot(ca[i].At.X-cb[i].At.X, ca[i].At.Y-cb[i].At.Y) > tol || math.Abs(ca[i].Radius-cb[i].Radius) > tol {
			t.Fatalf("%s: corner %d: %v and %v", what, i, ca[i], cb[i])
		}
	}
}

// The parallel-curve law (Steiner 1840), outward without limit and inward while
// no corner goes sharp, and the way back.
func TestParallelCurveLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := anyOutline(t)
		d := rapid.Float64Range(0.01, 300).Draw(t, "d")
		if in := rapid.Bool().Draw(t, "inward"); in && o.MinCornerRadius() > 1e-3 {
			d = -o.MinCornerRadius() * rapid.Float64Range(0.01, 0.99).Draw(t, "part")
		}
		p, err := o.Offset(d)
		if err != nil {
			t.Fatal(err)
		}
		l, a := o.Perimeter(), o.Area()
		nearly(t, "L(d)", p.Perimeter(), l+2*math.Pi*d, 1e-11)
		nearly(t, "A(d)", p.Area(), a+l*d+math.Pi*d*d, 1e-10)
		lo, hi := o.Bounds()
		plo, phi := p.Bounds()
		nearly(t, "min x", plo.X, lo.X-d, 1e-9)
		nearly(t, "max y", phi.Y, hi.Y+d, 1e-9)
		back, err := p.Offset(-d)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "there and back", o, back, 1e-8)
	})
}

// Two insets in turn are one inset, however many corners went sharp or edges
// were dropped on the way; areas shrink; the inset lies within, at its distance.
func TestInsetsCompose(t *testing.T) {
	dropped := 0
	rapid.Check(t, func(t *rapid.T) {
		o := anyOutline(t)
		most := o.MaxInset()
		e := most * rapid.Float64Range(0.02, 0.95).Draw(t, "e")
		part := rapid.Float64Range(0.05, 0.95).Draw(t, "part")
		once, err := o.Offset(-e)
		if err != nil {
			t.Fatalf("%v inset %g of %g: %v", o, e, most, err)
		}
		half, err := o.Offset(-e * part)
		if err != nil {
			t.Fatal(err)
		}
		twice, err := half.Offset(-(e - e*part))
		if err != nil {
			t.Fatal(err)
		}
		if len(once.Corners()) < len(o.Corners()) {
			dropped++
		}
		nearly(t, "perimeter", twice.Perimeter(), once.Perimeter(), 1e-9)
		nearly(t, "area", twice.Area(), once.Area(), 1e-9)
		nearly(t, "most", half.MaxInset(), most-e*part, 1e-9)
		if !(once.Area() < half.Area() && half.Area() < o.Area()) {
			t.Fatalf("areas %g, %g, %g", o.Area(), half.Area(), once.Area())
		}
		for _, p := range once.Sample(1) {
			if d := o.Distance(p); math.Abs(d+e) > 1e-8 {
				// A mitred corner is further in than e, never nearer.
				if d > -e {
					t.Fatalf("%v is %g from %v, inset %g", p, d, o, e)
				}
			}
			if d := once.Distance(p); math.Abs(d) > 1e-8 {
				t.Fatalf("%v, on the curve, is %g from it", p, d)
			}
		}
		l, err := o.PerimeterAt(-e)
		if err != nil {
			t.Fatal(err)
		}
		nearly(t, "law's perimeter", l, once.Perimeter(), 1e-9)
		if _, err := o.Offset(-most * 1.000001); !errors.As(err, new(*outline.CollapseError)) {
			t.Fatalf("inset past %g: %v", most, err)
		}
	})
	if dropped == 0 {
		t.Error("no inset dropped an edge")
	}
}

// The law is continuous, dA/dn = L, and L is linear between breaks.
func TestLawPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := anyOutline(t)
		law := o.Law()
		ps := law.Pieces()
		nearly(t, "end", ps[len(ps)-1].Low, -law.MaxInset(), 1e-12)
		for i := 1; i < len(ps); i++ {
			nearly(t, "L at break", ps[i].PerimeterAt(ps[i].High), ps[i-1].PerimeterAt(ps[i].High), 1e-10)
			nearly(t, "A at break", ps[i].AreaAt(ps[i].High), ps[i-1].AreaAt(ps[i].High), 1e-10)
			if ps[i].Slope < ps[i-1].Slope-1e-9 || ps[i].High != ps[i-1].Low {
				t.Fatalf("pieces %+v", ps)
			}
		}
		// Area by integrating the perimeter in from the outline, piece by piece.
		n := -law.MaxInset() * rapid.Float64Range(0, 1).Draw(t, "part")
		a := o.Area()
		for _, p := range ps {
			lo, hi := math.Max(p.Low, n), math.Min(p.High, 0)
			if lo < hi {
				a -= quad.Fixed(func(n float64) float64 { l, _ := law.PerimeterAt(n); return l }, lo, hi, 4, nil, 0)
			}
		}
		got, err := law.AreaAt(n)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(a-got) > 1e-10*o.Area() {
			t.Fatalf("area at %g: %g, by integration %g", n, got, a)
		}
	})
}

// Area by Green's theorem, A = 1/2 closed integral of x dy - y dx, and perimeter,
// by Gauss-Legendre quadrature (gonum) of the walk round the curve.
func TestGreen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := anyOutline(t)
		if rapid.Bool().Draw(t, "inset") {
			var err error
			if o, err = o.Offset(-o.MaxInset() * rapid.Float64Range(0.1, 0.9).Draw(t, "part")); err != nil {
				t.Fatal(err)
			}
		}
		s, area := 0.0, 0.0
		for _, g := range o.Segments() {
			l := g.Length()
			area += quad.Fixed(func(x float64) float64 {
				p, u := o.At(x)
				return (p.X*u.Y - p.Y*u.X) / 2
			}, s, s+l, 20, nil, 0)
			s += l
		}
		nearly(t, "perimeter", s, o.Perimeter(), 1e-9)
		nearly(t, "area", area, o.Area(), 1e-9)
	})
}

func TestMovesKeepMeasures(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := anyOutline(t)
		dx := rapid.Float64Range(-1e4, 1e4).Draw(t, "dx")
		deg := rapid.Float64Range(-720, 720).Draw(t, "deg")
		k := rapid.Float64Range(0.01, 50).Draw(t, "k")
		e := -o.MaxInset() * rapid.Float64Range(0.01, 0.9).Draw(t, "part")
		want, err := o.Offset(e)
		if err != nil {
			t.Fatal(err)
		}
		scaled, err := o.Scale(k)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			name string
			o    outline.Outline
			k    float64
		}{
			{"translate", o.Translate(dx, -dx/3), 1},
			{"rotate", o.Rotate(deg), 1},
			{"mirror", o.Mirror(), 1},
			{"scale", scaled, k},
		} {
			nearly(t, c.name+" perimeter", c.o.Perimeter(), o.Perimeter()*c.k, 1e-10)
			nearly(t, c.name+" area", c.o.Area(), o.Area()*c.k*c.k, 1e-10)
			nearly(t, c.name+" inset", c.o.MaxInset(), o.MaxInset()*c.k, 1e-9)
			got, err := c.o.Offset(e * c.k)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			nearly(t, c.name+" offset perimeter", got.Perimeter(), want.Perimeter()*c.k, 1e-8)
			nearly(t, c.name+" offset area", got.Area(), want.Area()*c.k*c.k, 1e-8)
		}
		same(t, "mirror twice", o.Mirror().Mirror(), o, 0)
		same(t, "rotate back", o.Rotate(deg).Rotate(-deg), o, 1e-9)
		p := outline.Point{X: rapid.Float64Range(-1500, 1500).Draw(t, "x"), Y: rapid.Float64Range(-1500, 1500).Draw(t, "y")}
		d := o.Distance(p)
		nearly(t, "mirror distance", o.Mirror().Distance(outline.Point{X: p.X, Y: -p.Y}), d, 1e-9)
		if o.Contains(p) != (d <= 0) {
			t.Fatalf("%v: contains %v at distance %g", p, o.Contains(p), d)
		}
		// The offset through p has p on it.
		if d > 0 {
			grown, err := o.Offset(d)
			if err != nil {
				t.Fatal(err)
			}
			nearly(t, "distance from the offset through it", grown.Distance(p), 0, 1e-7)
		}
	})
}

func TestWithMinRadiusGrowsToTheLargest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := anyOutline(t)
		_, err := o.WithMinRadius(1e7)
		var large *outline.RadiusTooLargeError
		if !errors.As(err, &large) {
			t.Fatal(err)
		}
		p, err := o.WithMinRadius(large.Largest * (1 - 1e-9))
		if err != nil {
			t.Fatalf("%v to %g: %v", o, large.Largest, err)
		}
		if _, err := o.WithMinRadius(large.Largest*(1+1e-5) + 1e-5); err == nil {
			t.Fatalf("%v took more than the largest %g", o, large.Largest)
		}
		fresh, err := outline.New(p.Corners())
		if err != nil {
			t.Fatal(err)
		}
		nearly(t, "area", fresh.Area(), p.Area(), 1e-10)
		if p.MinCornerRadius() < large.Largest*(1-1e-8) {
			t.Fatalf("least radius %g, asked %g", p.MinCornerRadius(), large.Largest)
		}
	})
}

func TestSampleKeepsItsChordError(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := anyOutline(t)
		e := rapid.SampledFrom([]float64{1e-3, 0.1, 5}).Draw(t, "chord error")
		pts := o.Sample(e)
		for i, p := range pts {
			q := pts[(i+1)%len(pts)]
			mid := outline.Point{X: (p.X + q.X) / 2, Y: (p.Y + q.Y) / 2}
			if d := o.Distance(mid); d < -e*(1+1e-6) || d > 1e-8 {
				t.Fatalf("chord %v %v is %g off", p, q, d)
			}
		}
	})
}

// The text form reads back to the same corners, also after an inset.
func TestTextRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := anyOutline(t)
		in, err := o.Offset(-o.MaxInset() * rapid.Float64Range(0.01, 0.999).Draw(t, "part"))
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range []outline.Outline{o, in} {
			p, err := outline.Parse(o.String())
			if err != nil || !p.Equal(o) {
				t.Fatalf("%v read back as %v: %v", o, p, err)
			}
			nearly(t, "area", p.Area(), o.Area(), 1e-10)
		}
	})
}
