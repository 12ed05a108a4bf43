package plate

import (
	"fmt"
	"math"
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

// DiscPeak is the peak of a unit force spread evenly over a disc of radius c, which is worst in the middle:
//
//	w D = R²/(16 pi) [ (3+nu)/(1+nu) + (c/R)² ln(c/R) - (7+3nu)/(4(1+nu)) (c/R)² ]
//	M   = 1/(4 pi) [ (1+nu) ln(R/c) + 1 - (1-nu)/4 (c/R)² ]
//	shear: 1/(2 pi) [ ln(R/c) + 1/2 ] for the deflection
//	Q   = 1/(pi c), the limit for a disc against a long straight support, above that of any round one
//
// Source: Timoshenko and Woinowsky-Krieger, article 19 (from memory); with c = R they are those of UniformPeak.
// Errors: ErrGeometry.
func (c Circle) DiscPeak(nu, radius float64) (Peak, error) {
	if err := c.peakable(nu); err != nil {
		return Peak{}, err
	}
	if !(radius >= minDisc*c.Radius && radius <= c.Radius*(1+insideTolerance)) {
		return Peak{}, fmt.Errorf("%w: a disc of radius %g does not fit on the round plate of radius %g", ErrGeometry, radius, c.Radius)
	}
	k := math.Min(radius/c.Radius, 1)
	return Peak{
		Deflection: c.Radius * c.Radius / (16 * math.Pi) * ((3+nu)/(1+nu) + k*k*math.Log(k) - (7+3*nu)/(4*(1+nu))*k*k),
		MomentSum:  (0.5 - math.Log(k)) / (2 * math.Pi),
		Sagging:    (1 - (1+nu)*math.Log(k) - (1-nu)/4*k*k) / (4 * math.Pi),
		Shear:      1 / (math.Pi * radius),
	}, nil
}
