package plate_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"hatchwright/service/plate"
)

// roundMode solves one Fourier mode cos(n theta) of a simply supported round plate of radius 1 by finite differences
// along the radius: v = -laplacian(w), both from tridiagonal systems, with the edge condition v = -(1-nu) w' met by
// adding the harmonic r^n. It shares no formula with the package. q is the mode's pressure at each node; node i
// stands at (i + 1/2) h, so that none is at the middle.
type roundMode struct{ w, wr, wrr []float64 }

func poissonMode(n int, h float64, f []float64) []float64 {
	// u'' + u'/r - n²/r² u = -f, u = 0 at r = 1, which lies half a step behind the last node
	m := len(f)
	a, b, c, d := make([]float64, m), make([]float64, m), make([]float64, m), make([]float64, m)
	for i := range f {
		r := (float64(i) + 0.5) * h
		in, out := (r-h/2)/(r*h*h), (r+h/2)/(r*h*h)
		a[i], c[i] = in, out
		b[i] = -(in + out) - float64(n*n)/(r*r)
		d[i] = -f[i]
		if i == m-1 {
			b[i] -= out // u behind the rim is -u, so that it is 0 on the rim
		}
	}
	for i := 1; i < m; i++ {
		k := a[i] / b[i-1]
		b[i] -= k * c[i-1]
		d[i] -= k * d[i-1]
	}
	d[m-1] /= b[m-1]
	for i := m - 2; i >= 0; i-- {
		d[i] = (d[i] - c[i]*d[i+1]) / b[i]
	}
	return d
}

// slope at the rim of a u that is 0 there: through the last two nodes and the rim.
func slope(u []float64, h float64) float64 {
	m := len(u)
	return (-u[m-1]*9 + u[m-2]) / (3 * h)
}

func solveRound(n int, h float64, q []float64) []float64 {
	m := len(q)
	v := poissonMode(n, h, q)
	harmonic := make([]float64, m)
	for i := range harmonic {
		harmonic[i] = math.Pow((float64(i)+0.5)*h, float64(n))
	}
	w, wh := poissonMode(n, h, v), poissonMode(n, h, harmonic)
	// v(1) + k = -(1-nu) (w'(1) + k wh'(1))
	k := -(1 - nu) * slope(w, h) / (1 + (1-nu)*slope(wh, h))
	for i := range w {
		w[i] += k * wh[i]
	}
	return w
}

// roundSample is the field at theta = 0 and node i.
type roundSample struct{ w, mr, mt float64 }

func roundDifference(d plate.Disc, nodes, at, modes int) roundSample {
	h := 1 / float64(nodes)
	var s roundSample
	const fine = 40 // points within each step at which the pressure's half angle is taken
	half := make([]float64, nodes*fine)
	for i := range half {
		r := (float64(i) + 0.5) * h / fine
		cos := (r*r + d.X*d.X - d.Radius*d.Radius) / (2 * r * d.X)
		half[i] = math.Acos(math.Max(-1, math.Min(1, cos)))
	}
	q := make([]float64, nodes)
	r := (float64(at) + 0.5) * h
	for n := 0; n <= modes; n++ {
		for i := range q {
			sum, weight := 0.0, 0.0
			for k := 0; k < fine; k++ {
				rr := (float64(i*fine+k) + 0.5) * h / fine
				value := half[i*fine+k] / math.Pi
				if n > 0 {
					value = 2 / math.Pi * math.Sin(float64(n)*half[i*fine+k]) / float64(n)
				}
				sum += rr * value
				weight += rr
			}
			q[i] = sum / weight / (math.Pi * d.Radius * d.Radius)
		}
		w := solveRound(n, h, q)
		wr, wrr := (w[at+1]-w[at-1])/(2*h), (w[at+1]-2*w[at]+w[at-1])/(h*h)
		across := wr/r - float64(n*n)/(r*r)*w[at]
		s.w += w[at]
		s.mr -= wrr + nu*across
		s.mt -= across + nu*wrr
	}
	return s
}

// TestRoundAgainstFiniteDifferences compares a disc of random size and place on a round plate with an independent
// numerical solution, Fourier modes in the angle and finite differences along the radius, at the disc's middle and at
// another point of the same radius line, in deflection and both moments, on 25 plates.
func TestRoundAgainstFiniteDifferences(t *testing.T) {
	plates := 25
	if testing.Short() {
		plates = 5
	}
	const (
		nodes     = 150  // times 3 so that a node of the coarse grid is one of the fine
		modes     = 90   // the moments of those left out fall with the third power
		tolerance = 1e-3 // 0.1 % of the value, of the larger moment for the smaller one
	)
	rng := rand.New(rand.NewPCG(1902, 34))
	worst := 0.0
	for k := 0; k < plates; k++ {
		radius := 0.1 + 0.35*rng.Float64()
		most := int((1 - radius) * nodes)
		i := 20 + rng.IntN(most-20)
		at := func(i int) float64 { return (float64(i) + 0.5) / nodes }
		d := plate.Disc{X: at(i), Radius: radius}
		if d.X+radius > 1 {
			d.X, i = at(i-1), i-1
		}
		for _, j := range []int{i, 20 + rng.IntN(nodes-40)} {
			f, err := plate.Circle{Radius: 1}.Disc(nu, d, at(j), 0)
			if err != nil {
				t.Fatal(err)
			}
			a, b := roundDifference(d, nodes, j, modes), roundDifference(d, 3*nodes, 3*j+1, modes)
			better := func(c, f float64) float64 { return f + (f-c)/8 } // errors go with h²
			w, mr, mt := better(a.w, b.w), better(a.mr, b.mr), better(a.mt, b.mt)
			scale := math.Max(math.Abs(mr), math.Abs(mt))
			for _, c := range []struct {
				name             string
				got, want, scale float64
			}{{"w", f.Deflection, w, w}, {"Mr", f.MX, mr, scale}, {"Mt", f.MY, mt, scale}} {
				e := math.Abs(c.got-c.want) / c.scale
				worst = math.Max(worst, e)
				if e > tolerance {
					t.Errorf("plate %d, %+v at %.3f: %s %.7g, numerical %.7g", k, d, at(j), c.name, c.got, c.want)
				}
			}
		}
	}
	t.Logf("largest difference on %d plates: %.2g", plates, worst)
}

// The deflection at the middle of a round plate under a force at r is that at r under a force in the middle (Maxwell),
// which is Timoshenko and Woinowsky-Krieger's article 19 (from memory):
//
//	w D = P R²/(16 pi) [ (3+nu)/(1+nu) (1 - r²/R²) + 2 r²/R² ln(r/R) ]
func TestRoundMiddleUnderEccentricForce(t *testing.T) {
	c := plate.Circle{Radius: 250}
	for _, r := range []float64{0.1, 0.35, 0.6, 0.9, 0.99} {
		f, err := c.Disc(nu, plate.Disc{Y: r * 250, Radius: 250e-6}, 0, 0)
		if err != nil {
			t.Fatal(err)
		}
		want := 250 * 250 / (16 * math.Pi) * ((3+nu)/(1+nu)*(1-r*r) + 2*r*r*math.Log(r))
		if math.Abs(f.Deflection-want) > 1e-9*want {
			t.Errorf("r %g: %.12g, want %.12g", r, f.Deflection, want)
		}
	}
}

func drawRoundDisc(t *rapid.T, radius, share float64) plate.Disc {
	out := rapid.Float64Range(0, 1).Draw(t, "out") * (1 - share) * radius
	phi := rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "phi")
	return plate.Disc{X: out * math.Cos(phi) * (1 - 1e-12), Y: out * math.Sin(phi) * (1 - 1e-12), Radius: share * radius}
}

// On the rim nothing sinks and no moment bends across it; the field is continuous across the rim of the disc and turns
// with the plate; two small discs act on each other alike.
func TestRoundProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nu := rapid.Float64Range(0, 0.45).Draw(t, "nu")
		radius := rapid.Float64Range(50, 2000).Draw(t, "radius")
		c := plate.Circle{Radius: radius}
		d := drawRoundDisc(t, radius, rapid.Float64Range(0.02, 1).Draw(t, "share"))
		get := func(d plate.Disc, x, y float64) plate.Field {
			f, err := c.Disc(nu, d, x, y)
			if err != nil {
				t.Fatal(err)
			}
			return f
		}
		theta := rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "theta")
		cos, sin := math.Cos(theta), math.Sin(theta)
		e := get(d, radius*cos, radius*sin)
		if away := math.Hypot(radius*cos-d.X, radius*sin-d.Y)/d.Radius - 1; away > 1e-3 {
			alike(t, "w on the rim", e.Deflection, 0, radius*radius)
			alike(t, "moment across the rim", e.MX*cos*cos+e.MY*sin*sin+2*e.MXY*sin*cos, 0, 1)
		}
		// across the rim of the disc
		in, err1 := c.Disc(nu, d, d.X+(1-1e-10)*d.Radius*cos, d.Y+(1-1e-10)*d.Radius*sin)
		out, err2 := c.Disc(nu, d, d.X+(1+1e-10)*d.Radius*cos, d.Y+(1+1e-10)*d.Radius*sin)
		if gap := radius - math.Hypot(d.X+d.Radius*cos, d.Y+d.Radius*sin); err1 == nil && err2 == nil && gap > 1e-3*radius {
			alike(t, "w", in.Deflection, out.Deflection, radius*radius)
			for _, m := range [3][2]float64{{in.MX, out.MX}, {in.MY, out.MY}, {in.MXY, out.MXY}} {
				alike(t, "moment", m[0], m[1], 1)
			}
			alike(t, "shear", in.QX*d.Radius, out.QX*d.Radius, 1)
			alike(t, "shear", in.QY*d.Radius, out.QY*d.Radius, 1)
		}
		// mirrored at the line y = x
		r := rapid.Float64Range(0, 0.999).Draw(t, "r") * radius
		f, g := get(d, r*cos, r*sin), get(plate.Disc{X: d.Y, Y: d.X, Radius: d.Radius}, r*sin, r*cos)
		alike(t, "mirrored w", f.Deflection, g.Deflection, radius*radius)
		alike(t, "mirrored Mx", f.MX, g.MY, 1)
		alike(t, "mirrored Mxy", f.MXY, g.MXY, 1)
		alike(t, "mirrored Qx", f.QX*d.Radius, g.QY*d.Radius, 1)
		// Maxwell
		a, b := drawRoundDisc(t, radius, 1e-4), drawRoundDisc(t, radius, 1e-4)
		alike(t, "mutual w", get(a, b.X, b.Y).Deflection, get(b, a.X, a.Y).Deflection, radius*radius)
	})
}

// Moments and shear forces are the derivatives of the deflection: by differences of fourth order. And what the rim
// carries is the load.
func TestRoundDerivatives(t *testing.T) {
	c := plate.Circle{Radius: 1}
	rng := rand.New(rand.NewPCG(64, 3))
	get := func(d plate.Disc, x, y float64) plate.Field {
		f, err := c.Disc(nu, d, x, y)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	for k := 0; k < 200; k++ {
		share := 0.05 + 0.9*rng.Float64()
		out, phi := (1-share)*rng.Float64(), 2*math.Pi*rng.Float64()
		d := plate.Disc{X: out * math.Cos(phi), Y: out * math.Sin(phi), Radius: share}
		r, theta := 0.97*math.Sqrt(rng.Float64()), 2*math.Pi*rng.Float64()
		x, y := r*math.Cos(theta), r*math.Sin(theta)
		const h = 2e-3
		if math.Abs(math.Hypot(x-d.X, y-d.Y)-d.Radius) < 4*h {
			continue // the curvature has a kink there
		}
		w := func(i, j int) float64 { return get(d, x+float64(i)*h, y+float64(j)*h).Deflection }
		second := func(a, b, c, d, e float64) float64 { return (-a + 16*b - 30*c + 16*d - e) / (12 * h * h) }
		xx := second(w(-2, 0), w(-1, 0), w(0, 0), w(1, 0), w(2, 0))
		yy := second(w(0, -2), w(0, -1), w(0, 0), w(0, 1), w(0, 2))
		xy := (w(1, 1) - w(1, -1) - w(-1, 1) + w(-1, -1)) / (4 * h * h)
		f := get(d, x, y)
		near := func(what string, got, want, tol float64) {
			t.Helper()
			if math.Abs(got-want) > tol {
				t.Errorf("%+v at (%.4f, %.4f): %s %.8g, by differences %.8g", d, x, y, what, got, want)
			}
		}
		near("Mx", f.MX, -(xx + nu*yy), 2e-6)
		near("My", f.MY, -(yy + nu*xx), 2e-6)
		near("Mxy", f.MXY, -(1-nu)*xy, 2e-4)
		sum := func(i, j int) float64 { return get(d, x+float64(i)*h, y+float64(j)*h).MomentSum(nu) }
		near("Qx", f.QX, (sum(1, 0)-sum(-1, 0))/(2*h), 1e-3)
		near("Qy", f.QY, (sum(0, 1)-sum(0, -1))/(2*h), 1e-3)
	}
	d := plate.Disc{X: 0.4, Y: -0.3, Radius: 0.3}
	const n = 720
	total := 0.0
	for i := 0; i < n; i++ {
		a := 2 * math.Pi * float64(i) / n
		f := get(d, math.Cos(a), math.Sin(a))
		total -= (f.QX*math.Cos(a) + f.QY*math.Sin(a)) * 2 * math.Pi / n
	}
	if math.Abs(total-1) > 1e-9 {
		t.Errorf("the rim carries %.10f of the load", total)
	}
}

// The peaks are those of the disc's field in the middle and at the rim, and no place of the disc and no point of the
// plate exceeds them.
func TestRoundPeaks(t *testing.T) {
	for _, nu := range []float64{plate.MinPeakPoisson, 0.3, 0.45} {
		for _, share := range []float64{1e-3, 0.02, 0.1, 0.3, 0.5, 0.7, 0.95} {
			c := plate.Circle{Radius: 400}
			p, err := c.DiscPeak(nu, share*400)
			if err != nil {
				t.Fatal(err)
			}
			get := func(out, x, y float64) plate.Field {
				f, err := c.Disc(nu, plate.Disc{X: out * 400, Radius: share * 400}, x*400, y*400)
				if err != nil {
					t.Fatal(err)
				}
				return f
			}
			mid, rim := get(0, 0, 0), get(1-share, 1, 0)
			for _, v := range []struct {
				name      string
				got, want float64
			}{{"deflection", p.Deflection, mid.Deflection}, {"sagging", p.Sagging, mid.MX}, {"shear", p.Shear, rim.Shear()}} {
				if math.Abs(v.got-v.want) > 1e-9*v.want {
					t.Errorf("nu %g disc %g: %s %.10g, field %.10g", nu, share, v.name, v.got, v.want)
				}
			}
			hog := 0.0
			for i := 0; i <= 25; i++ {
				// places close to the rim, where the twist is, and all over
				for _, out := range []float64{(1 - share) * float64(i) / 25, 1 - share - math.Min(1-share, 4*share)*float64(i)/25} {
					for j := 0; j <= 120; j++ {
						for _, q := range [][2]float64{
							{1, math.Pi * float64(j) / 120}, {1, math.Min(math.Pi, 8*share) * float64(j) / 120},
							{float64(j) / 120, 0}, {float64(j) / 120, 0.4}, {float64(j) / 120, 2}, {1 - math.Min(1, 2*share)*float64(j)/120, 2 * share},
						} {
							f := get(out, q[0]*math.Cos(q[1]), q[0]*math.Sin(q[1]))
							large, small := f.Principal()
							hog = math.Max(hog, -small)
							const round = 1 + 1e-9
							if f.Deflection > p.Deflection*round || large > p.Sagging*round || f.Shear() > p.Shear*round {
								t.Fatalf("nu %g disc %g at %g, point %v: %+v exceeds %+v", nu, share, out, q, f, p)
							}
						}
					}
				}
			}
			// the search ends at steps of 1 %; the scan's steps are coarser, so it may stay below by a little more
			if hog > p.Hogging*(1+5e-4)+1e-12 || hog < p.Hogging*(1-2e-2) {
				t.Errorf("nu %g disc %g: hogging %.7g, by a scan %.7g", nu, share, p.Hogging, hog)
			}
		}
	}
}

// Where the forms of the series meet, and near its pole, the sum is that of its plain terms.
func TestRoundSeries(t *testing.T) {
	// At a point z under a force at b the part that the series gives is continuous in both; across the borders of its
	// forms a step would show in the deflection's fourth differences along a line.
	c := plate.Circle{Radius: 1}
	for _, line := range []struct{ b, angle float64 }{{0.98, 0.2}, {0.98, 0.9}, {0.98, 1.1}, {0.98, math.Pi}, {0.6, 0}, {0.3, 0.5}} {
		const h = 1e-3
		last := math.NaN()
		for r := 0.01; r < 0.985; r += h {
			v := 0.0
			for i, k := range []float64{1, -4, 6, -4, 1} {
				s := r + (float64(i)-2)*h
				f, err := c.Disc(nu, plate.Disc{X: line.b, Radius: 0.02}, s*math.Cos(line.angle), s*math.Sin(line.angle))
				if err != nil {
					t.Fatal(err)
				}
				v += k * (f.MX + f.MY)
			}
			if d := math.Hypot(r*math.Cos(line.angle)-line.b, r*math.Sin(line.angle)); d > 0.1 && math.Abs(v) > 2e-7 {
				t.Errorf("%+v: fourth difference %.3g at %.3f after %.3g", line, v, r, last)
			}
			last = v
		}
	}
}
