package plate

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Disc returns the field at (x, y), measured from the middle of the plate, of a unit force spread evenly over d.
//
// With lengths in radii of the plate, z = x + i y turned so that the middle of the disc lies at b >= 0 on the real
// axis, A = 1 - |z|², B = 1 - b², rho = |z - b|, l = ln(1 - b z), k0 = 1/(2 (1 + nu)) and
//
//	S(u) = sum over n >= 1 of u^n/(2 n + 1 + nu),   u = b z
//
// a point force bends the plate by
//
//	w D = rho²/(8 pi) (ln rho - Re l) + A B/(16 pi) + A B/(4 pi) (k0 + Re S)
//
// The first two terms are J. H. Michell's clamped plate (Proc. London Math. Soc. 34, 1902); the last is the one
// biharmonic function A h, h harmonic, that takes its edge moment away: term by term in angle,
//
//	h_n ((2 n + 1 + nu) 2) = edge moment_n = B b^n/(4 pi) (n = 0), B b^n/(2 pi) (n > 0)
//
// A. Clebsch's series (Timoshenko and Woinowsky-Krieger, article 64) is this with the angle written out. The spread
// over the disc of radius c is the mean of a biharmonic function of the place of the force, 1 + c²/8 laplacian,
// which ends after two terms:
//
//	w D = P - rho²/(8 pi) Re l + A B/(16 pi) + A (k0 + Re S) (B/(4 pi) - c² (1-nu)/(16 pi)) - c²/(16 pi) (1 + Re l)
//	P   = rho² ln rho/(8 pi) + c² (ln rho + 1)/(16 pi)                                        outside the disc
//	P   = c²/(16 pi) (ln c - 1/4) + rho²/(16 pi) (2 ln c + 1) + rho⁴/(64 pi c²)               within
//
// Moments and shear forces are its derivatives, taken in closed form.
//
// Errors: ErrGeometry.
func (c Circle) Disc(nu float64, d Disc, x, y float64) (Field, error) {
	if err := c.Validate(); err != nil {
		return Field{}, err
	}
	if err := checkNu(nu); err != nil {
		return Field{}, err
	}
	if !c.contains(d) {
		return Field{}, fmt.Errorf("%w: disc of radius %g at (%g, %g) does not lie on the round plate of radius %g, or is smaller than a point load allows", ErrGeometry, d.Radius, d.X, d.Y, c.Radius)
	}
	if !(math.Hypot(x, y) <= c.Radius*(1+insideTolerance)) {
		return Field{}, fmt.Errorf("%w: point (%g, %g) is not on the round plate of radius %g", ErrGeometry, x, y, c.Radius)
	}
	turn := complex(1, 0)
	b := math.Hypot(d.X, d.Y)
	if b > 0 {
		turn = complex(d.X/b, d.Y/b)
	}
	f := eccentric{nu: nu, b: math.Min(b/c.Radius, 1), c: math.Min(d.Radius/c.Radius, 1), digamma: digamma((1 + nu) / 2)}.
		at(complex(x, y) / complex(c.Radius, 0) * cmplx.Conj(turn))
	return f.turned(turn).scaled(c.Radius), nil
}

func (c Circle) contains(d Disc) bool {
	return d.Radius >= minDisc*c.Radius && math.Hypot(d.X, d.Y)+d.Radius <= c.Radius*(1+insideTolerance)
}

// turned is the field with its axes turned back by the angle of t, |t| = 1.
func (f Field) turned(t complex128) Field {
	mean, half := (f.MX+f.MY)/2, (f.MX-f.MY)/2
	m := complex(half, f.MXY) * t * t
	q := complex(f.QX, f.QY) * t
	f.MX, f.MY, f.MXY = mean+real(m), mean-real(m), imag(m)
	f.QX, f.QY = real(q), imag(q)
	return f
}

// scaled turns the field of a plate of radius 1 into that of radius r.
func (f Field) scaled(r float64) Field {
	f.Deflection *= r * r
	f.QX /= r
	f.QY /= r
	return f
}

// eccentric is a disc of radius c at b on the real axis of a plate of radius 1.
type eccentric struct {
	nu, b, c float64
	digamma  float64 // of (1 + nu)/2
}

// at gives the field at z. With w = Re(conj(z) phi + chi),
//
//	laplacian w = 4 Re phi',   w_xx - w_yy = 2 Re e,   w_xy = -Im e,   e = conj(z) phi'' + chi''
func (p eccentric) at(z complex128) Field {
	b := complex(p.b, 0)
	c2 := p.c * p.c
	big := 1 - p.b*p.b
	spread := big/(4*math.Pi) - c2*(1-p.nu)/(16*math.Pi)
	k0 := 1 / (2 * (1 + p.nu))
	u := b * z
	gap := 1 - u
	if cmplx.Abs(gap) < tiny {
		// disc and point at one place of the rim: only a disc of no radius gets there
		gap = tiny
	}
	s, s1, s2 := p.sums(u, gap)
	s1, s2 = b*s1, b*b*s2 // by z
	l, l1 := cmplx.Log(gap), -b/gap
	l2 := -l1 * l1
	r := z - b
	rho2 := real(r)*real(r) + imag(r)*imag(r)
	rho := math.Sqrt(rho2)
	area := 1 - (real(z)*real(z) + imag(z)*imag(z))

	w := -rho2*real(l)/(8*math.Pi) + area*big/(16*math.Pi) + area*(k0+real(s))*spread - c2/(16*math.Pi)*(1+real(l))
	conj := cmplx.Conj(z)
	phi1 := -(l+r*l1)/(8*math.Pi) - complex(big/(16*math.Pi), 0) - complex(spread, 0)*(complex(k0, 0)+s+z*s1)
	phi2 := -(2*l1+r*l2)/(8*math.Pi) - complex(spread, 0)*(2*s1+z*s2)
	e := -(conj-b)*(2*l1+r*l2)/(8*math.Pi) + complex(spread, 0)*(complex(area, 0)*s2-2*conj*s1) - complex(c2/(16*math.Pi), 0)*l2

	// P and its derivatives
	laplacian := 4 * real(phi1)
	steep := 4 * phi2 // the gradient of the laplacian is its conjugate
	if rho < p.c {
		lc := math.Log(p.c)
		w += c2/(16*math.Pi)*(lc-0.25) + rho2/(16*math.Pi)*(2*lc+1) + rho2*rho2/(64*math.Pi*c2)
		laplacian += lc/(2*math.Pi) + 1/(4*math.Pi) + rho2/(4*math.Pi*c2)
		e += cmplx.Conj(r*r) / complex(16*math.Pi*c2, 0)
		steep += cmplx.Conj(r) / complex(2*math.Pi*c2, 0)
	} else {
		lr := math.Log(rho)
		w += rho2*lr/(8*math.Pi) + c2*(lr+1)/(16*math.Pi)
		laplacian += (lr + 1) / (2 * math.Pi)
		e += cmplx.Conj(r)/r/(8*math.Pi) - complex(c2/(16*math.Pi), 0)/(r*r)
		steep += 1 / (2 * math.Pi * r)
	}
	xx, yy, xy := laplacian/2+real(e), laplacian/2-real(e), -imag(e)
	return Field{
		Deflection: w,
		MX:         -(xx + p.nu*yy),
		MY:         -(yy + p.nu*xx),
		MXY:        -(1 - p.nu) * xy,
		QX:         -real(steep),
		QY:         imag(steep),
	}
}

const (
	// tiny keeps a disc of no radius at the rim from dividing by 0; no disc of minDisc comes nearer.
	tiny = 1e-12
	// seriesCut ends the series of S: the first term left out, against the largest value they add to (order 1).
	seriesCut = 1e-17
	// nearPole is the distance from u = 1 within which S is summed about that point; its terms fall as nearPole^n.
	nearPole = 0.8
	// headTerms are summed as they stand farther off; the tail behind them then falls as n! headTerms!/(n + headTerms)!
	// times at most nearPole^-n: below 1e-18 after 30 terms.
	headTerms = 40
	tailTerms = 60
	// smallArgument is the |u| below which the derivatives are summed too, as their closed form divides by u.
	smallArgument = 0.5
)

// sums gives S, its first and its second derivative; gap = 1 - u.
//
//	u S'  = (u/(1-u) - (1 + nu) S)/2
//	u S'' = (1/(1-u)² - (3 + nu) S')/2
//
// With s = (1 + nu)/2, near u = 1,
//
//	2 S = sum over n >= 0 of (s)_n/n! [psi(n+1) - psi(s+n) - ln(1-u)] (1-u)^n - 1/s
//
// and behind the first N terms, from Pfaff's transformation,
//
//	sum over n >= N of u^n/(n+s) = u^N/((1-u) (N+s)) 2F1(1, 1; N+s+1; u/(u-1))
//
// Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions, 15.3.10 and 15.3.4 (from memory; the
// tests hold them against the plain sum).
func (p eccentric) sums(u, gap complex128) (s, s1, s2 complex128) {
	half := (1 + p.nu) / 2
	a := cmplx.Abs(u)
	if a < smallArgument {
		power, n := complex(1, 0), 1.0 // u^(n-1)
		for size := 1.0; n <= 2 || size*n*n > seriesCut; n++ {
			k := complex(1/(2*n+1+p.nu), 0)
			s += power * u * k
			s1 += power * complex(n, 0) * k
			if n > 1 {
				s2 += power / u * complex(n*(n-1), 0) * k
			}
			if n == 1 && u == 0 {
				return 0, k, complex(2/(5+p.nu), 0)
			}
			power *= u
			size *= a
		}
		return s, s1, s2
	}
	if g := cmplx.Abs(gap); g < nearPole {
		psi := -eulerGamma - p.digamma
		l := cmplx.Log(gap)
		weight, power, sum, size := 1.0, complex(1, 0), complex(0, 0), 1.0
		for n := 0.0; size > seriesCut; n++ {
			sum += complex(weight, 0) * power * (complex(psi, 0) - l)
			psi += 1/(n+1) - 1/(half+n)
			weight *= (half + n) / (n + 1)
			power *= gap
			size *= g
		}
		s = (sum - complex(1/half, 0)) / 2
	} else {
		power, sum := u, complex(0, 0)
		for n := 1.0; n < headTerms; n++ {
			sum += power / complex(n+half, 0)
			power *= u
		}
		// power is now u^headTerms
		term := power / gap / complex(headTerms+half, 0)
		step := -u / gap
		for k := 0.0; k < tailTerms && cmplx.Abs(term) > seriesCut; k++ {
			sum += term
			term *= step * complex((k+1)/(headTerms+half+k+1), 0)
		}
		s = sum / 2
	}
	s1 = (u/gap - complex(1+p.nu, 0)*s) / (2 * u)
	s2 = (1/(gap*gap) - complex(3+p.nu, 0)*s1) / (2 * u)
	return s, s1, s2
}

const eulerGamma = 0.57721566490153286

// digamma is psi(x) for x > 0: raised to 10 or more by psi(x) = psi(x + 1) - 1/x, then the asymptotic series, whose
// first term left out is 2e-14 at 10.
func digamma(x float64) float64 {
	shift := 0.0
	for ; x < 10; x++ {
		shift -= 1 / x
	}
	i := 1 / (x * x)
	return shift + math.Log(x) - 1/(2*x) - i*(1.0/12-i*(1.0/120-i*(1.0/252-i*(1.0/240-i*(1.0/132-i*691.0/32760)))))
}
