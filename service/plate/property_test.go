package plate_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"hatchwright/service/plate"
)

func drawPlate(t *rapid.T) (plate.Rectangle, float64) {
	return plate.Rectangle{A: rapid.Float64Range(100, 2000).Draw(t, "a"), B: rapid.Float64Range(100, 2000).Draw(t, "b")},
		rapid.Float64Range(plate.MinPeakPoisson, 0.45).Draw(t, "nu")
}

func drawDisc(t *rapid.T, r plate.Rectangle, radius float64) plate.Disc {
	return plate.Disc{
		X:      rapid.Float64Range(radius, r.A-radius).Draw(t, "disc x"),
		Y:      rapid.Float64Range(radius, r.B-radius).Draw(t, "disc y"),
		Radius: radius,
	}
}

func drawRadius(t *rapid.T, r plate.Rectangle) float64 {
	return rapid.Float64Range(0.02, 0.49).Draw(t, "radius share") * math.Min(r.A, r.B)
}

func drawPoint(t *rapid.T, r plate.Rectangle) (x, y float64) {
	return rapid.Float64Range(0, r.A).Draw(t, "x"), rapid.Float64Range(0, r.B).Draw(t, "y")
}

func alike(t *rapid.T, what string, got, want, scale float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-8*math.Abs(scale)) {
		t.Fatalf("%s: %.12g and %.12g", what, got, want)
	}
}

// A plate turned by a quarter or mirrored answers the same, turned or mirrored.
func TestSymmetry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, nu := drawPlate(t)
		d := drawDisc(t, r, drawRadius(t, r))
		x, y := drawPoint(t, r)
		f, err := r.Disc(nu, d, x, y)
		if err != nil {
			t.Fatal(err)
		}
		g, err := plate.Rectangle{A: r.B, B: r.A}.Disc(nu, plate.Disc{X: d.Y, Y: d.X, Radius: d.Radius}, y, x)
		if err != nil {
			t.Fatal(err)
		}
		s := r.A * r.A
		alike(t, "turned w", f.Deflection, g.Deflection, s)
		if r.A != r.B {
			alike(t, "turned Mx", f.MX, g.MY, 1)
			alike(t, "turned Mxy", f.MXY, g.MXY, 1)
		}
		m, err := r.Disc(nu, plate.Disc{X: r.A - d.X, Y: d.Y, Radius: d.Radius}, r.A-x, y)
		if errors.Is(err, plate.ErrGeometry) {
			t.Skip("rounded off the plate")
		}
		alike(t, "mirrored w", f.Deflection, m.Deflection, s)
		alike(t, "mirrored Mxy", f.MXY, -m.MXY, 1)
		alike(t, "mirrored Qx", f.QX*r.A, -m.QX*r.A, 10)
	})
}

// The work of one load on the deflection of another is mutual (Maxwell and Betti): with small equal discs the
// deflection at one under a load at the other is the same both ways.
func TestReciprocity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, nu := drawPlate(t)
		radius := 1e-3 * math.Min(r.A, r.B)
		a, b := drawDisc(t, r, radius), drawDisc(t, r, radius)
		ab, err := r.Disc(nu, a, b.X, b.Y)
		if err != nil {
			t.Fatal(err)
		}
		ba, err := r.Disc(nu, b, a.X, a.Y)
		if err != nil {
			t.Fatal(err)
		}
		alike(t, "w", ab.Deflection, ba.Deflection, math.Min(r.A, r.B)*math.Min(r.A, r.B))
	})
}

// A disc k times as large on a plate k times as large: moments stay, shear falls with k, deflection grows with k².
// Under a pressure they grow with k², k and k⁴.
func TestScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, nu := drawPlate(t)
		radius := drawRadius(t, r)
		k := rapid.Float64Range(0.1, 10).Draw(t, "k")
		big := plate.Rectangle{A: k * r.A, B: k * r.B}
		p, err := r.DiscPeak(nu, radius)
		if err != nil {
			t.Fatal(err)
		}
		q, err := big.DiscPeak(nu, k*radius)
		if err != nil {
			t.Fatal(err)
		}
		alike(t, "w", q.Deflection, k*k*p.Deflection, q.Deflection)
		alike(t, "sagging", q.Sagging, p.Sagging, p.Sagging)
		alike(t, "hogging", q.Hogging, p.Hogging, p.Hogging)
		alike(t, "shear", q.Shear, p.Shear/k, q.Shear)
		u, err := r.UniformPeak(nu)
		if err != nil {
			t.Fatal(err)
		}
		v, err := big.UniformPeak(nu)
		if err != nil {
			t.Fatal(err)
		}
		alike(t, "uniform w", v.Deflection, k*k*k*k*u.Deflection, v.Deflection)
		alike(t, "uniform sagging", v.Sagging, k*k*u.Sagging, v.Sagging)
		alike(t, "uniform shear", v.Shear, k*u.Shear, v.Shear)
	})
}

// The field is continuous across the rim of the disc, where two forms of it meet.
func TestRim(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, nu := drawPlate(t)
		d := drawDisc(t, r, drawRadius(t, r))
		phi := rapid.Float64Range(0, 2*math.Pi).Draw(t, "phi")
		at := func(k float64) (plate.Field, error) {
			return r.Disc(nu, d, d.X+k*d.Radius*math.Cos(phi), d.Y+k*d.Radius*math.Sin(phi))
		}
		in, err1 := at(1 - 1e-10)
		out, err2 := at(1 + 1e-10)
		if err1 != nil || err2 != nil {
			t.Skip("the rim touches the edge")
		}
		alike(t, "w", in.Deflection, out.Deflection, r.A*r.A)
		alike(t, "Mx", in.MX, out.MX, 1)
		alike(t, "My", in.MY, out.MY, 1)
		alike(t, "Mxy", in.MXY, out.MXY, 1)
		alike(t, "Qx", in.QX*d.Radius, out.QX*d.Radius, 1)
		alike(t, "Qy", in.QY*d.Radius, out.QY*d.Radius, 1)
	})
}

// On the edges the plate neither sinks nor bends across, and what the edges carry, with the corners, is the load.
func TestEdges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, nu := drawPlate(t)
		d := drawDisc(t, r, drawRadius(t, r))
		x, y := drawPoint(t, r)
		for _, p := range []plate.Point{{X: 0, Y: y}, {X: x, Y: 0}} {
			f, err := r.Disc(nu, d, p.X, p.Y)
			if err != nil {
				t.Fatal(err)
			}
			alike(t, "w", f.Deflection, 0, r.A*r.A)
			alike(t, "Mx + My", f.MX+f.MY, 0, 1)
		}
		f, err := r.Uniform(nu, 0, y)
		if err != nil {
			t.Fatal(err)
		}
		alike(t, "uniform w", f.Deflection, 0, r.A*r.A*r.A*r.A)
	})
}

// Shear forces around the edges add up to the load: the disc's by Simpson's rule.
func TestEquilibrium(t *testing.T) {
	r := plate.Rectangle{A: 500, B: 700}
	for _, d := range []plate.Disc{{X: 250, Y: 350, Radius: 75}, {X: 150, Y: 500, Radius: 75}, {X: 120, Y: 130, Radius: 60}} {
		const n = 400
		total := 0.0
		for i := 0; i <= n; i++ {
			w := 2.0 + 2*float64(i%2)
			if i == 0 || i == n {
				w = 1
			}
			s := float64(i) / n
			for _, e := range []struct{ x, y, nx, ny, len float64 }{
				{0, s * r.B, 1, 0, r.B}, {r.A, s * r.B, -1, 0, r.B}, {s * r.A, 0, 0, 1, r.A}, {s * r.A, r.B, 0, -1, r.A},
			} {
				f, err := r.Disc(nu, d, e.x, e.y)
				if err != nil {
					t.Fatal(err)
				}
				total += w / 3 * e.len / n * (f.QX*e.nx + f.QY*e.ny)
			}
		}
		if math.Abs(total-1) > 1e-6 {
			t.Errorf("%+v: the edges carry %.8f of the load", d, total)
		}
	}
}

// No place of the disc and no point of the plate exceeds the peak.
func TestPeaksAreThePeaks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, nu := drawPlate(t)
		radius := drawRadius(t, r)
		p, err := r.DiscPeak(nu, radius)
		if err != nil {
			t.Fatal(err)
		}
		u, err := r.UniformPeak(nu)
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; i < 10; i++ {
			d := drawDisc(t, r, radius)
			x, y := drawPoint(t, r)
			for _, pt := range []plate.Point{{X: x, Y: y}, {X: d.X, Y: d.Y}, {}, {X: r.A}, {X: r.A / 2, Y: r.B / 2}, {X: 0, Y: d.Y}, {X: d.X}} {
				f, err := r.Disc(nu, d, pt.X, pt.Y)
				if err != nil {
					t.Fatal(err)
				}
				large, small := f.Principal()
				const round = 1 + 1e-9
				if f.Deflection > p.Deflection*round || large > p.Sagging*round || f.Shear() > p.Shear*round {
					t.Fatalf("disc %+v at %+v: %+v exceeds %+v", d, pt, f, p)
				}
				if -small > p.Hogging*(1+2e-3) { // the search of the hogging moment ends at a step of 2 %
					t.Fatalf("disc %+v at %+v: hogging %g exceeds %g", d, pt, -small, p.Hogging)
				}
			}
			f, err := r.Uniform(nu, x, y)
			if err != nil {
				t.Fatal(err)
			}
			large, small := f.Principal()
			if f.Deflection > u.Deflection*(1+1e-9) || large > u.Sagging*(1+1e-6) || -small > u.Hogging*(1+1e-6)+1e-6*u.Sagging {
				t.Fatalf("uniform at %g, %g: %+v exceeds %+v", x, y, f, u)
			}
		}
	})
}

func FuzzRefusals(f *testing.F) {
	f.Add(500.0, 700.0, 0.3, 250.0, 350.0, 75.0)
	f.Add(1.0, 1.0, 0.0, 0.5, 0.5, 0.5)
	f.Add(math.NaN(), 1e308, -1.0, math.Inf(1), 0.0, 0.0)
	f.Add(36.0, 11.0, 0.3, 41.0, 56.0, 1e-302) // found: the square of the radius underflowed
	f.Add(1e-300, 1e-300, 0.3, 5e-301, 5e-301, 1e-301)
	f.Fuzz(func(t *testing.T, a, b, nu, x, y, radius float64) {
		r := plate.Rectangle{A: a, B: b}
		if p, err := r.DiscPeak(nu, radius); err == nil && (math.IsNaN(p.Sagging) || p.Sagging <= 0) {
			t.Errorf("peak %+v without an error", p)
		}
		if v, err := r.Disc(nu, plate.Disc{X: x, Y: y, Radius: radius}, x, y); err == nil && math.IsNaN(v.MX) {
			t.Errorf("field %+v without an error", v)
		}
		if v, err := r.Uniform(nu, x, y); err == nil && (math.IsNaN(v.MX) || math.IsNaN(v.Deflection)) {
			t.Errorf("field %+v without an error", v)
		}
		c := plate.Circle{Radius: a}
		if p, err := c.DiscPeak(nu, radius); err == nil && math.IsNaN(p.Sagging) {
			t.Errorf("peak %+v without an error", p)
		}
		if v, err := c.Disc(nu, plate.Disc{X: x, Y: y, Radius: radius}, x, y); err == nil && (math.IsNaN(v.MX) || math.IsNaN(v.Deflection)) {
			t.Errorf("field %+v without an error", v)
		}
	})
}
