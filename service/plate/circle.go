package plate

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Circle is a round plate, simply supported at its rim.
type Circle struct{ Radius float64 }

// Validate refuses a radius that is not positive and finite.
func (c Circle) Validate() error {
	if !length(c.Radius) {
		return fmt.Errorf("%w: radius %g must lie between %g and %g", ErrGeometry, c.Radius, minLength, maxLength)
	}
	return nil
}

func (c Circle) peakable(nu float64) error {
	if err := c.Validate(); err != nil {
		return err
	}
	return checkNu(nu)
}

// UniformPeak is the peak of a unit pressure.
//
//	w D = (5 + nu) R⁴/(64 (1 + nu))     M = (3 + nu) R²/16     Q = R/2 at the rim
//	(Mr + Mt)/(1 + nu), less its value at the rim = R²/4
//
// Source: Timoshenko and Woinowsky-Krieger, article 16 (from memory). Errors: ErrGeometry.
func (c Circle) UniformPeak(nu float64) (Peak, error) {
	if err := c.peakable(nu); err != nil {
		return Peak{}, err
	}
	r2 := c.Radius * c.Radius
	return Peak{
		Deflection: (5 + nu) * r2 * r2 / (64 * (1 + nu)),
		MomentSum:  r2 / 4,
		Sagging:    (3 + nu) * r2 / 16,
		Shear:      c.Radius / 2,
	}, nil
}

// DiscPeak is the peak of a unit force spread evenly over a disc of radius c that may stand anywhere on the plate.
// Deflection and sagging are worst with the disc in the middle:
//
//	w D = R²/(16 pi) [ (3+nu)/(1+nu) + (c/R)² ln(c/R) - (7+3nu)/(4(1+nu)) (c/R)² ]
//	M   = 1/(4 pi) [ (1+nu) ln(R/c) + 1 - (1-nu)/4 (c/R)² ]
//	shear: 1/(2 pi) [ ln(R/c) + 1/2 ] for the deflection
//
// Shear is worst with the disc against the rim, at the place where it touches. It is a few percent under that of a
// membrane, 1/(pi c) (1 - c/(2R)), as the rim's own curvature bears a little of the load.
// Hogging is worst on the rim beside a disc that stands near it, where the edge is twisted; the place is found by a
// pattern search. Source: Timoshenko and Woinowsky-Krieger, article 19 (from memory); with c = R they are those of
// UniformPeak; Disc gives the same, and the tests scan places and points with it. Errors: ErrGeometry, also for nu
// under MinPeakPoisson.
func (c Circle) DiscPeak(nu, radius float64) (Peak, error) {
	if err := c.peakable(nu); err != nil {
		return Peak{}, err
	}
	if nu < MinPeakPoisson {
		return Peak{}, fmt.Errorf("%w: Poisson's ratio %g is under %g, where the middle is not known to be the worst place", ErrGeometry, nu, MinPeakPoisson)
	}
	if !(radius >= minDisc*c.Radius && radius <= c.Radius*(1+insideTolerance)) {
		return Peak{}, fmt.Errorf("%w: a disc of radius %g does not fit on the round plate of radius %g", ErrGeometry, radius, c.Radius)
	}
	k := math.Min(radius/c.Radius, 1)
	p := Peak{
		Deflection: c.Radius * c.Radius / (16 * math.Pi) * ((3+nu)/(1+nu) + k*k*math.Log(k) - (7+3*nu)/(4*(1+nu))*k*k),
		MomentSum:  (0.5 - math.Log(k)) / (2 * math.Pi),
		Sagging:    (1 - (1+nu)*math.Log(k) - (1-nu)/4*k*k) / (4 * math.Pi),
	}
	f := eccentric{nu: nu, b: 1 - k, c: k, digamma: digamma((1 + nu) / 2)}
	p.Shear = f.at(1).Shear() / c.Radius
	p.Hogging, p.HoggingAt = f.rimHogging()
	p.HoggingAt.X *= c.Radius
	return p, nil
}

const (
	// rimStep ends the search of the hogging moment, as a share of the distances searched. The maximum is flat: the
	// error of the moment goes with its square.
	rimStep = 0.01
	// rimFirst is the first step, a factor on those distances.
	rimFirst = 0.5
)

// rimHogging searches the largest hogging moment on the rim of a plate of radius 1, over the distance of the disc's
// middle from the rim and the angle along the rim, both by factors. At is the place of the disc.
func (p eccentric) rimHogging() (most float64, at Point) {
	c := p.c
	gap, angle := c, math.Min(1.7*c, math.Pi/2)
	try := func(g, a float64) bool {
		g, a = math.Min(math.Max(g, c), 1), math.Min(a, math.Pi)
		p.b = 1 - g
		_, small := p.at(cmplx.Rect(1, a)).Principal()
		if -small <= most {
			return false
		}
		most, gap, angle, at = -small, g, a, Point{X: p.b}
		return true
	}
	try(gap, angle)
	for step := rimFirst; step > rimStep; {
		up := math.Exp(step)
		g, a := gap, angle
		better := false
		for _, d := range [8][2]float64{{up, 1}, {1 / up, 1}, {1, up}, {1, 1 / up}, {up, up}, {up, 1 / up}, {1 / up, up}, {1 / up, 1 / up}} {
			better = try(g*d[0], a*d[1]) || better
		}
		if !better {
			step /= 2
		}
	}
	return most, at
}
