package plate

import (
	"fmt"
	"math"
	"math/cmplx"
)

// imageCut is the exponent beyond which an image is left out: e^-36 = 2e-16 of the leading terms, which are of
// order 1. It is the convergence criterion of the disc load.
const imageCut = 36.0

// Disc returns the field at (x, y) of a unit force spread evenly over d.
//
// With a the shorter side (along x here), s = x -+ x0, t = y -+ y0 - 2 k b, z = pi (|t| + i s)/a, tau = Re z,
// c = pi Radius/a and L_s the polylogarithms of e^-z, each image adds, with its sign,
//
//	w D = a²/(4 pi³) [ Re L_3 + tau Re L_2 - c²/4 Re L_1 ]
//	Mx  = 1/(4 pi) [ (1+nu) Re L_1 + (1-nu) T ]     T = tau Re L_0 - c²/4 Re L_-1
//	My  = 1/(4 pi) [ (1+nu) Re L_1 - (1-nu) T ]
//	Mxy = ± (1-nu)/(4 pi) [ tau Im L_0 - c²/4 Im L_-1 ]
//	Qx  = 1/(2a) Im L_0,   Qy = -± 1/(2a) Re L_0
//
// The sums over m that stand behind the L_s are those of the infinite strip,
// (1 + alpha |t|) e^(-alpha |t|)/(4 alpha³) with alpha = m pi/a; the terms in c² are the spread over the disc: the
// mean of a biharmonic function over a disc is f + c²/8 laplacian(f), exactly. Within the disc the pole of the
// first image is replaced by the field of the disc on an unbounded plate.
//
// Errors: ErrGeometry.
func (r Rectangle) Disc(nu float64, d Disc, x, y float64) (Field, error) {
	if err := r.Validate(); err != nil {
		return Field{}, err
	}
	if err := checkNu(nu); err != nil {
		return Field{}, err
	}
	if !r.contains(d) {
		return Field{}, fmt.Errorf("%w: disc of radius %g at (%g, %g) does not lie on the plate %g by %g, or is smaller than a point load allows", ErrGeometry, d.Radius, d.X, d.Y, r.A, r.B)
	}
	if !(x >= 0 && y >= 0 && x <= r.A && y <= r.B) {
		return Field{}, fmt.Errorf("%w: point (%g, %g) is not on the plate %g by %g", ErrGeometry, x, y, r.A, r.B)
	}
	return r.disc(nu, d, x, y, true), nil
}

// disc sums the images; deflection is left 0 unless asked for, because it costs most.
func (r Rectangle) disc(nu float64, d Disc, x, y float64, deflection bool) Field {
	if r.A > r.B {
		return Rectangle{r.B, r.A}.disc(nu, Disc{d.Y, d.X, d.Radius}, y, x, deflection).swapped()
	}
	k := math.Pi / r.A
	c := k * d.Radius
	quarter := c * c / 4
	var sum, spread, twist, shearX, shearY, w float64

	image := func(sign, s, t float64, first bool) {
		tau := k * math.Abs(t)
		if tau > imageCut {
			return
		}
		up := 1.0
		if t < 0 {
			up = -1
		}
		z := reduce(complex(tau, k*s))
		theta := imag(z)
		rho := cmplx.Abs(z)
		var l1, l0, lm complex128
		if first && rho < c {
			// u = -ln c + (1 - rho²/c²)/2 takes the place of -ln rho, and with it
			// T: (tau² - theta²)/(4c²) + 1/2 takes the place of tau Re(1/z) - c²/4 Re(1/z²)
			r1, r0, rm := regular(z)
			u := -math.Log(c) + 0.5 - rho*rho/(2*c*c)
			sum += u + real(r1)
			spread += (tau*tau-theta*theta)/(4*c*c) + 0.5 + tau*real(r0) - quarter*real(rm)
			twist += up * (-tau*theta/(2*c*c) + tau*imag(r0) - quarter*imag(rm))
			shearX += imag(r0) - theta/(c*c)
			shearY -= up * (real(r0) + tau/(c*c))
			if deflection {
				l2, l3 := polylog23(z)
				free := 0.0
				if rho > 0 {
					free = rho * rho / 2 * (math.Log(rho) - 1)
				}
				lc := math.Log(c)
				in := (lc-0.5)*rho*rho/2 + rho*rho*rho*rho/(16*c*c) + c*c*lc/4 - 5*c*c/16
				w += real(l3) + tau*real(l2) - free + in - quarter*real(r1)
			}
			return
		}
		if z == 0 {
			// The edge point where the disc and its own image touch: both poles cancel in every sum but have
			// no value of their own; a disc of positive radius keeps |z| >= c for it, so this is never reached
			return
		}
		l1, l0, lm = polylogs(z)
		sum += sign * real(l1)
		spread += sign * (tau*real(l0) - quarter*real(lm))
		twist += sign * up * (tau*imag(l0) - quarter*imag(lm))
		shearX += sign * imag(l0)
		shearY -= sign * up * real(l0)
		if deflection {
			l2, l3 := polylog23(z)
			w += sign * (real(l3) + tau*real(l2) - quarter*real(l1))
		}
	}

	n := int(imageCut/(2*k*r.B)) + 1
	for j := -n; j <= n; j++ {
		shift := 2 * float64(j) * r.B
		for _, m := range [2]struct{ sign, t float64 }{{1, y - d.Y - shift}, {-1, y + d.Y - shift}} {
			image(m.sign, x-d.X, m.t, j == 0 && m.sign > 0)
			image(-m.sign, x+d.X, m.t, false)
		}
	}
	return Field{
		Deflection: r.A * r.A / (4 * math.Pi * math.Pi * math.Pi) * w,
		MX:         ((1+nu)*sum + (1-nu)*spread) / (4 * math.Pi),
		MY:         ((1+nu)*sum - (1-nu)*spread) / (4 * math.Pi),
		MXY:        (1 - nu) * twist / (4 * math.Pi),
		QX:         shearX / (2 * r.A),
		QY:         shearY / (2 * r.A),
	}
}
