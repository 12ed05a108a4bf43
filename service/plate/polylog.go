package plate

import (
	"math"
	"math/cmplx"
)

// Polylogarithms of e^-z for Re z >= 0, z != 0:
//
//	L_s(z) = sum over m = 1, 2, ... of e^(-mz)/m^s
//	L_1 = -ln(1 - e^-z),  L_0 = 1/(e^z - 1),  L_-1 = e^z/(e^z - 1)²
//
// They follow from one another: dL_s/dz = -L_(s-1).

const (
	// directFrom is the real part from which L_2 and L_3 are summed term by term; below it the expansion about
	// z = 0 is used, whose radius is 2 pi.
	directFrom = 1.0
	// directTerms of the direct sum leave less than e^-38 < 1e-16.
	directTerms = 38
	// expansionTerms leave ((1 + pi²)^0.5/(2 pi))^(2×30) < 1e-16.
	expansionTerms = 30
	// nearZero is the |z| below which the differences from the poles are taken from their own series, because
	// the closed forms cancel there.
	nearZero = 0.6
	zeta3    = 1.2020569031595942854 // Apéry's constant
)

// expansion holds (-1)^k 2 zeta(2k)/((2 pi)^(2k) 2k) for k = 1, 2, ..., which is zeta(1-2k)/(2k-1)! × 1/(2k)... up
// to the factors that differ between L_2 and L_3.
var expansion = func() (c [expansionTerms]float64) {
	for i := range c {
		k := float64(2 * (i + 1))
		zeta := 0.0
		for n := 40.0; n >= 1; n-- {
			zeta += math.Pow(n, -k)
		}
		switch i {
		case 0:
			zeta = math.Pi * math.Pi / 6
		case 1:
			zeta = math.Pow(math.Pi, 4) / 90
		case 2:
			zeta = math.Pow(math.Pi, 6) / 945
		}
		sign := 1.0
		if i%2 == 0 {
			sign = -1
		}
		c[i] = sign * 2 * zeta / (math.Pow(2*math.Pi, k) * k)
	}
	return c
}()

// reduce brings the imaginary part of z, of which the functions have period 2 pi, into [-pi, pi].
func reduce(z complex128) complex128 {
	return complex(real(z), math.Remainder(imag(z), 2*math.Pi))
}

// polylog23 returns L_2(z) and L_3(z); z is reduced.
//
//	L_2 = zeta(2) + mu (1 - ln z) - mu²/4 + sum c_k mu^(2k+1)/(2k+1)
//	L_3 = zeta(3) + zeta(2) mu + mu²/2 (3/2 - ln z) - mu³/12 + sum c_k mu^(2k+2)/((2k+1)(2k+2)),  mu = -z
func polylog23(z complex128) (l2, l3 complex128) {
	if real(z) >= directFrom {
		q := cmplx.Exp(-z)
		p := q
		limit := int(directTerms/real(z)) + 1
		for m := 1; m <= limit; m++ {
			fm := float64(m)
			t := p * complex(1/(fm*fm), 0)
			l2 += t
			l3 += t * complex(1/fm, 0)
			p *= q
		}
		return l2, l3
	}
	const zeta2 = math.Pi * math.Pi / 6
	if z == 0 {
		return zeta2, zeta3
	}
	mu := -z
	ln := cmplx.Log(z)
	mu2 := mu * mu
	l2 = zeta2 + mu*(1-ln) - mu2/4
	l3 = zeta3 + zeta2*mu + mu2/2*(1.5-ln) - mu2*mu/12
	p := mu2 * mu
	for i, c := range expansion {
		k := float64(2*i + 3) // 2k+1
		t := p * complex(c/k, 0)
		l2 += t
		l3 += t * mu * complex(1/(k+1), 0)
		if i > 3 && math.Abs(real(t))+math.Abs(imag(t)) < 1e-18 {
			break
		}
		p *= mu2
	}
	return l2, l3
}

// polylogs returns L_1, L_0 and L_-1; z is reduced and not 0.
func polylogs(z complex128) (l1, l0, lm complex128) {
	q := expm1(z)
	l0 = 1 / q
	lm = l0 * (1 + l0)
	// 1 - e^-z = (e^z - 1)/e^z
	l1 = complex(real(z)-math.Log(cmplx.Abs(q)), 0)
	return l1, l0, lm
}

// regular returns L_1 + ln z, L_0 - 1/z and L_-1 - 1/z²; z is reduced and may be 0. Only the real part of the
// first is meaningful.
func regular(z complex128) (l1, l0, lm complex128) {
	if cmplx.Abs(z) >= nearZero {
		l1, l0, lm = polylogs(z)
		return l1 + complex(math.Log(cmplx.Abs(z)), 0), l0 - 1/z, lm - 1/(z*z)
	}
	z2 := z * z
	// 1/(e^z-1) = 1/z - 1/2 + z/12 - z³/720 + z⁵/30240 - z⁷/1209600 + z⁹/47900160 - 691 z¹¹/1307674368000
	l0 = -0.5 + z*(1.0/12-z2*(1.0/720-z2*(1.0/30240-z2*(1.0/1209600-z2*(1.0/47900160-z2*(691.0/1307674368000))))))
	lm = -(1.0/12 - z2*(3.0/720-z2*(5.0/30240-z2*(7.0/1209600-z2*(9.0/47900160-z2*(11*691.0/1307674368000))))))
	l1 = z/2 - z2*(1.0/24-z2*(1.0/2880-z2*(1.0/181440-z2*(1.0/9676800-z2*(1.0/479001600-z2*(691.0/15692092416000))))))
	return complex(real(l1), 0), l0, lm
}

// expm1 is e^z - 1 without cancellation near z = 0.
//
//	e^(x+iy) - 1 = (expm1(x) cos y - 2 sin²(y/2)) + i e^x sin y
func expm1(z complex128) complex128 {
	s, c := math.Sincos(imag(z))
	h := math.Sin(imag(z) / 2)
	e := math.Expm1(real(z))
	return complex(e*c-2*h*h, (e+1)*s)
}
