package plate_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"hatchwright/service/plate"
)

// difference solves a simply supported plate of sides 1 by ratio with finite differences: the five-point Laplacian
// twice, factored by the banded Cholesky of gonum. load is the mean pressure of each cell. It returns w and the
// moment sum on the inner nodes.
type difference struct {
	n, m int // steps along x and y
	h    float64
	chol mat.BandCholesky
}

func newDifference(t *testing.T, n int, ratio float64) *difference {
	t.Helper()
	d := &difference{n: n, m: int(math.Round(ratio * float64(n))), h: 1 / float64(n)}
	size, band := (d.n-1)*(d.m-1), d.n-1
	a := mat.NewSymBandDense(size, band, nil)
	for j := 0; j < d.m-1; j++ {
		for i := 0; i < d.n-1; i++ {
			k := j*(d.n-1) + i
			a.SetSymBand(k, k, 4)
			if i+1 < d.n-1 {
				a.SetSymBand(k, k+1, -1)
			}
			if j+1 < d.m-1 {
				a.SetSymBand(k, k+d.n-1, -1)
			}
		}
	}
	if !d.chol.Factorize(a) {
		t.Fatal("not positive definite")
	}
	return d
}

func (d *difference) poisson(t *testing.T, f []float64) []float64 {
	t.Helper()
	rhs := make([]float64, len(f))
	for i, v := range f {
		rhs[i] = v * d.h * d.h
	}
	var x mat.VecDense
	if err := d.chol.SolveVecTo(&x, mat.NewVecDense(len(rhs), rhs)); err != nil {
		t.Fatal(err)
	}
	return x.RawVector().Data
}

// sample is the answer at one node.
type sample struct{ w, mx, my, sum float64 }

func (d *difference) solve(t *testing.T, pressure func(x, y, h float64) float64, i, j int) sample {
	t.Helper()
	q := make([]float64, (d.n-1)*(d.m-1))
	for jj := 0; jj < d.m-1; jj++ {
		for ii := 0; ii < d.n-1; ii++ {
			q[jj*(d.n-1)+ii] = pressure(float64(ii+1)*d.h, float64(jj+1)*d.h, d.h)
		}
	}
	sum := d.poisson(t, q)
	w := d.poisson(t, sum)
	at := func(v []float64, i, j int) float64 {
		if i <= 0 || j <= 0 || i >= d.n || j >= d.m {
			return 0
		}
		return v[(j-1)*(d.n-1)+i-1]
	}
	xx := (at(w, i-1, j) - 2*at(w, i, j) + at(w, i+1, j)) / (d.h * d.h)
	yy := (at(w, i, j-1) - 2*at(w, i, j) + at(w, i, j+1)) / (d.h * d.h)
	return sample{at(w, i, j), -(xx + nu*yy), -(yy + nu*xx), at(sum, i, j)}
}

// richardson removes the error in h² from the answers with steps h and h/2.
func richardson(coarse, fine sample) sample {
	r := func(c, f float64) float64 { return f + (f-c)/3 }
	return sample{r(coarse.w, fine.w), r(coarse.mx, fine.mx), r(coarse.my, fine.my), r(coarse.sum, fine.sum)}
}

// covered is the share of the cell of side h about (x, y) that lies in the disc, by strips cut exactly.
func covered(d plate.Disc, x, y, h float64) float64 {
	if math.Hypot(x-d.X, y-d.Y) > d.Radius+h {
		return 0
	}
	const strips = 64
	total := 0.0
	for k := 0; k < strips; k++ {
		v := y - h/2 + h*(float64(k)+0.5)/strips - d.Y
		if math.Abs(v) >= d.Radius {
			continue
		}
		half := math.Sqrt(d.Radius*d.Radius - v*v)
		lo, hi := math.Max(x-h/2, d.X-half), math.Min(x+h/2, d.X+half)
		total += math.Max(0, hi-lo) / h / strips
	}
	return total
}

// TestAgainstFiniteDifferences compares the uniform load and a disc of random size and place with an independent
// numerical solution on 50 random plates, at the middle of the disc, in deflection, both moments and their sum.
func TestAgainstFiniteDifferences(t *testing.T) {
	plates := 50
	if testing.Short() {
		plates = 5
	}
	const (
		coarse    = 36
		tolerance = 1e-3 // 0.1 % of the value, of the larger moment for the smaller one
	)
	rng := rand.New(rand.NewPCG(1959, 30))
	worst := 0.0
	for k := 0; k < plates; k++ {
		ratio := float64(coarse+rng.IntN(coarse)) / coarse
		a, b := newDifference(t, coarse, ratio), newDifference(t, 2*coarse, ratio)
		radius := 0.10 + 0.25*rng.Float64()
		lo := int(math.Ceil(radius * coarse))
		i := lo + rng.IntN(coarse-2*lo+1)
		j := lo + rng.IntN(a.m-2*lo+1)
		x, y := float64(i)/coarse, float64(j)/coarse
		r := plate.Rectangle{A: 1, B: ratio}
		disc := plate.Disc{X: x, Y: y, Radius: radius}

		compare := func(what string, f plate.Field, want sample) {
			t.Helper()
			scale := math.Max(math.Abs(want.mx), math.Abs(want.my))
			for _, c := range []struct {
				name             string
				got, want, scale float64
			}{
				{"w", f.Deflection, want.w, want.w}, {"Mx", f.MX, want.mx, scale}, {"My", f.MY, want.my, scale},
				{"sum", f.MomentSum(nu), want.sum, want.sum},
			} {
				e := math.Abs(c.got-c.want) / c.scale
				worst = math.Max(worst, e)
				if e > tolerance {
					t.Errorf("plate %d ratio %.3f %s %+v: %s %.7g, numerical %.7g", k, ratio, what, disc, c.name, c.got, c.want)
				}
			}
		}
		one := func(_, _, _ float64) float64 { return 1 }
		fu, err := r.Uniform(nu, x, y)
		if err != nil {
			t.Fatal(err)
		}
		compare("uniform", fu, richardson(a.solve(t, one, i, j), b.solve(t, one, 2*i, 2*j)))

		part := func(x, y, h float64) float64 { return covered(disc, x, y, h) / (math.Pi * radius * radius) }
		fd, err := r.Disc(nu, disc, x, y)
		if err != nil {
			t.Fatal(err)
		}
		compare("disc", fd, richardson(a.solve(t, part, i, j), b.solve(t, part, 2*i, 2*j)))
	}
	t.Logf("largest difference on %d plates: %.2g", plates, worst)
}
