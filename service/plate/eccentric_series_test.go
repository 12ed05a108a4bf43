package plate

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// The forms of S and of its derivatives are those of the plain sum, all over the disc |u| < 1: near the pole, far from
// it and near 0.
func TestSeriesIsThePlainSum(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 3))
	for k := 0; k < 400; k++ {
		nu := 0.49 * rng.Float64()
		p := eccentric{nu: nu, digamma: digamma((1 + nu) / 2)}
		u := cmplx.Rect(math.Min(1.05*math.Sqrt(rng.Float64()), 0.995), 2*math.Pi*rng.Float64())
		var s, s1, s2 complex128
		power := complex(1, 0) // u^n
		for n := 1.0; n < 12000; n++ {
			k := complex(1/(2*n+1+nu), 0)
			s1 += power * complex(n, 0) * k
			if n > 1 {
				s2 += power / u * complex(n*(n-1), 0) * k
			}
			power *= u
			s += power * k
		}
		g, g1, g2 := p.sums(u, 1-u)
		for i, v := range [3][2]complex128{{g, s}, {g1, s1}, {g2, s2}} {
			if cmplx.Abs(v[0]-v[1]) > 1e-12*(1+cmplx.Abs(v[1])) {
				t.Errorf("nu %.3f u %.4g: derivative %d is %.15g, plain sum %.15g", nu, u, i, v[0], v[1])
			}
		}
	}
}

// psi(1/2) = -gamma - 2 ln 2, psi(1) = -gamma.
func TestDigamma(t *testing.T) {
	for _, c := range []struct{ x, want float64 }{{0.5, -eulerGamma - 2*math.Ln2}, {1, -eulerGamma}, {3, 1.5 - eulerGamma}} {
		if got := digamma(c.x); math.Abs(got-c.want) > 1e-14 {
			t.Errorf("psi(%g) = %.16g, want %.16g", c.x, got, c.want)
		}
	}
}
