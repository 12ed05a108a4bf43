package plate

import (
	"fmt"
	"math"
)

const (
	// seriesTolerance ends the Lévy series: the first term left out, relative to the largest sum so far.
	seriesTolerance = 1e-12
	// seriesTerms is the most odd terms taken. Only points within about 1e-3 of the short side from a short
	// edge need that many; their moments there are known to 1/m² = 1e-8 of q a².
	seriesTerms = 5000
)

// Uniform returns the field at (x, y) of a unit pressure.
//
// With a the shorter side (along x here), t = y - b/2, alpha = m pi/a, u = alpha b/2, m odd:
//
//	w D = x⁴/24 - a x³/12 + a³ x/24 + 4 a⁴/pi⁵ sum 1/m⁵ [ -(1 + (u/2) tanh u) cosh(alpha t)/cosh u
//	      + (alpha t/2) sinh(alpha t)/cosh u ] sin(alpha x)
//
// and its derivatives for the moments and shear forces. Source: Timoshenko and Woinowsky-Krieger, article 30.
// The series stops when its terms fall under seriesTolerance. Errors: ErrGeometry.
func (r Rectangle) Uniform(nu, x, y float64) (Field, error) {
	if err := r.Validate(); err != nil {
		return Field{}, err
	}
	if err := checkNu(nu); err != nil {
		return Field{}, err
	}
	if !(x >= 0 && y >= 0 && x <= r.A && y <= r.B) {
		return Field{}, fmt.Errorf("%w: point (%g, %g) is not on the plate %g by %g", ErrGeometry, x, y, r.A, r.B)
	}
	return r.uniform(nu, x, y), nil
}

func (r Rectangle) uniform(nu, x, y float64) Field {
	if r.A > r.B {
		return Rectangle{r.B, r.A}.uniform(nu, y, x).swapped()
	}
	a, t := r.A, y-r.B/2
	side := 1.0
	if t < 0 {
		side, t = -1, -t // cosh is even, sinh odd
	}
	w := x*x*x*x/24 - a*x*x*x/12 + a*a*a*x/24
	wxx := x*x/2 - a*x/2
	lapX := x - a/2 // d/dx of the laplacian of the strip
	var wyy, wxy, lapY float64
	for i := 0; i < seriesTerms; i++ {
		m := float64(2*i + 1)
		al := m * math.Pi / a
		u := al * r.B / 2
		// e^(alpha t - u) and e^(-alpha t - u): cosh(alpha t)/cosh u without overflow
		p, q := math.Exp(al*t-u), math.Exp(-al*t-u)
		den := 1 + math.Exp(-2*u)
		ch, sh := (p+q)/den, (p-q)/den
		th := math.Tanh(u)
		sin, cos := math.Sincos(al * x)
		f := 4 / (a * al * al * al * al * al) // 4 a⁴/(pi⁵ m⁵)
		g := -(1+u/2*th)*ch + al*t/2*sh
		// derivatives by t, in units of alpha
		g1 := -(1+u/2*th)*sh + (sh+al*t*ch)/2
		g2 := -(1+u/2*th)*ch + (2*ch+al*t*sh)/2
		w += f * g * sin
		wxx -= f * al * al * g * sin
		wyy += f * al * al * g2 * sin
		wxy += f * al * al * g1 * cos
		// laplacian of a term: f alpha² (g2 - g) sin = f alpha² ch sin
		lapX += f * al * al * al * ch * cos
		lapY += f * al * al * al * sh * sin
		if size := f * al * al * al * (1 + u) * ch; size < seriesTolerance*a {
			break
		}
	}
	wxy *= side
	lapY *= side
	return Field{
		Deflection: w,
		MX:         -(wxx + nu*wyy),
		MY:         -(wyy + nu*wxx),
		MXY:        -(1 - nu) * wxy,
		QX:         -lapX,
		QY:         -lapY,
	}
}

// EdgeReaction is the reaction per unit length at the middle of the long edges under a unit pressure:
//
//	V = Qx + d(Mxy)/dy = -D d/dx [ d²w/dx² + (2 - nu) d²w/dy² ]
//
// It differs from the shear force by the twist that the edge takes up; the corners are pulled down for it.
// Errors: ErrGeometry.
func (r Rectangle) EdgeReaction(nu float64) (float64, error) {
	if err := r.Validate(); err != nil {
		return 0, err
	}
	if err := checkNu(nu); err != nil {
		return 0, err
	}
	a, b := math.Min(r.A, r.B), math.Max(r.A, r.B)
	// at x = 0, t = 0: Q = a/2 - sum f alpha³ /cosh u, and d³w/dx dy² = sum f alpha³ (g2 at t = 0)
	v := a / 2
	for i := 0; i < seriesTerms; i++ {
		al := float64(2*i+1) * math.Pi / a
		u := al * b / 2
		ch := 2 * math.Exp(-u) / (1 + math.Exp(-2*u))
		f := 4 / (a * al * al) // 4 a⁴/(pi⁵ m⁵) alpha³
		g2 := -(u / 2 * math.Tanh(u)) * ch
		v -= f * (ch + (1-nu)*g2)
		if f*(1+u)*ch < seriesTolerance*a {
			break
		}
	}
	return v, nil
}

// uniformTwist is |Mxy| at a corner under a unit pressure. Its series falls only as 1/m³; the part that does not
// decay exponentially is summed in closed form.
//
//	Mxy = (1 - nu) [ (2 a²/pi³)(7/8) zeta(3) - sum 4/(a alpha³) ( (1 - tanh u)/2 + (u/2)/cosh² u ) ]
func (r Rectangle) uniformTwist(nu float64) float64 {
	a, b := math.Min(r.A, r.B), math.Max(r.A, r.B)
	sum := 2 * a * a / (math.Pi * math.Pi * math.Pi) * 7 / 8 * zeta3
	for i := 0; i < seriesTerms; i++ {
		al := float64(2*i+1) * math.Pi / a
		u := al * b / 2
		e := math.Exp(-2 * u)
		part := e/(1+e) + 2*u*e/((1+e)*(1+e))
		term := 4 / (a * al * al * al) * part
		sum -= term
		if term < seriesTolerance*a*a {
			break
		}
	}
	return (1 - nu) * sum
}
