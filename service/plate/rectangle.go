package plate

import (
	"errors"
	"fmt"
	"math"
)

// ErrGeometry marks a plate or a load that the theory does not cover; the message names the figure.
var ErrGeometry = errors.New("plate: refused")

// Rectangle is a plate 0 <= x <= A, 0 <= y <= B, simply supported on all edges.
type Rectangle struct{ A, B float64 }

// Disc is the area a force is spread over evenly.
type Disc struct{ X, Y, Radius float64 }

// Field is the answer at one point, per unit of load.
type Field struct {
	// Deflection is w D.
	Deflection float64
	// MX, MY and MXY are the moments per unit width.
	MX, MY, MXY float64
	// QX and QY are the shear forces per unit width.
	QX, QY float64
}

// MomentSum is the sum of moments of H. Marcus,
//
//	M = (Mx + My)/(1 + nu) = -D laplacian(w)
//
// It does not depend on nu. The deflection that the shear stiffness S of a sandwich core adds to a simply
// supported polygonal plate is exactly M/S (first-order shear theory).
func (f Field) MomentSum(nu float64) float64 { return (f.MX + f.MY) / (1 + nu) }

// Principal returns the largest and the smallest moment over all directions.
//
//	(Mx + My)/2 ± sqrt(((Mx - My)/2)² + Mxy²)
func (f Field) Principal() (largest, smallest float64) {
	mean := (f.MX + f.MY) / 2
	r := math.Hypot((f.MX-f.MY)/2, f.MXY)
	return mean + r, mean - r
}

// Shear is the shear force per unit width across the direction in which it is largest.
func (f Field) Shear() float64 { return math.Hypot(f.QX, f.QY) }

func (f Field) swapped() Field {
	f.MX, f.MY, f.QX, f.QY = f.MY, f.MX, f.QY, f.QX
	return f
}

// Validate refuses sides that are not positive and finite or whose ratio is beyond maxAspect.
func (r Rectangle) Validate() error {
	if !length(r.A) || !length(r.B) {
		return fmt.Errorf("%w: sides %g by %g must lie between %g and %g", ErrGeometry, r.A, r.B, minLength, maxLength)
	}
	if ratio := math.Max(r.A, r.B) / math.Min(r.A, r.B); ratio > maxAspect {
		return fmt.Errorf("%w: sides %g by %g differ more than %g to 1: treat it as a strip", ErrGeometry, r.A, r.B, maxAspect)
	}
	return nil
}

const (
	// maxAspect keeps the number of terms of the series small; a plate of 20 to 1 is a strip to 1e-12 already.
	maxAspect = 1e4
	// minLength and maxLength keep fourth powers of the sides within double precision, whatever the unit.
	minLength = 1e-9
	maxLength = 1e9
	// minDisc is the least radius as a share of the short side: the moment under a point is infinite, and
	// smaller discs lose digits.
	minDisc = 1e-6
)

func length(x float64) bool { return x >= minLength && x <= maxLength }

func checkNu(nu float64) error {
	if !(nu >= 0 && nu < 0.5) {
		return fmt.Errorf("%w: Poisson's ratio %g must be in [0, 0.5)", ErrGeometry, nu)
	}
	return nil
}

// insideTolerance lets a disc that touches an edge stick out by rounding, as a share of the short side.
const insideTolerance = 1e-9

func (r Rectangle) contains(d Disc) bool {
	e := insideTolerance * math.Min(r.A, r.B)
	return d.Radius >= minDisc*math.Min(r.A, r.B) && d.X-d.Radius >= -e && d.Y-d.Radius >= -e && d.X+d.Radius <= r.A+e && d.Y+d.Radius <= r.B+e
}
