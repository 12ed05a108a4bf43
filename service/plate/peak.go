package plate

import (
	"fmt"
	"math"
)

// MinPeakPoisson is the least Poisson's ratio for which the peaks are given. From about 0.1 upward the middle of
// a rectangle is the worst place for a disc, for stress and for deflection, at every ratio of sides and every
// radius (the tests scan it); at nu = 0 a square is worst a little off the middle and at its corners.
const MinPeakPoisson = 0.15

// Peak holds the largest effects of a load, per unit of the load, over all points of the plate and, for a disc,
// over all its positions.
type Peak struct {
	// Deflection is w D at the middle.
	Deflection float64
	// MomentSum is (Mx + My)/(1 + nu) at the same point: over the shear stiffness of a core it is the deflection
	// that shear adds.
	MomentSum float64
	// Sagging is the largest principal moment; Hogging the most negative one, as a positive number (the corners
	// of a rectangle are twisted, and so is the rim of a round plate beside a disc).
	Sagging, Hogging float64
	// Shear is the largest shear force per unit width: at the middle of the long edges; for a disc, with the disc
	// standing against the middle of a long edge, or against the rim.
	Shear float64
	// HoggingAt is where the center of the disc stands for Hogging; zero for the uniform load. From the middle of
	// a round plate.
	HoggingAt Point
}

// Point is a place on the plate.
type Point struct{ X, Y float64 }

// UniformPeak is the peak of a unit pressure. Sagging and deflection are those of the middle, hogging that of the
// corners, shear that of the middle of the long edges. Errors: ErrGeometry, also for nu under MinPeakPoisson.
func (r Rectangle) UniformPeak(nu float64) (Peak, error) {
	if err := r.peakable(nu); err != nil {
		return Peak{}, err
	}
	mid := r.uniform(nu, r.A/2, r.B/2)
	sag, _ := mid.Principal()
	foot := Point{r.A / 2, 0}
	if r.A <= r.B {
		foot = Point{0, r.B / 2}
	}
	edge := r.uniform(nu, foot.X, foot.Y)
	return Peak{Deflection: mid.Deflection, MomentSum: mid.MomentSum(nu), Sagging: sag, Hogging: r.uniformTwist(nu), Shear: edge.Shear()}, nil
}

const (
	// hoggingGrid is the number of disc positions along each side of a quarter plate that are tried first.
	hoggingGrid = 4
	// hoggingStep ends the refinement, as a share of the first step. The maximum is flat: the error of the
	// moment goes with its square: at most 2.2e-4 short of a scan of 2,601 places, on 200 plates.
	hoggingStep = 0.05
)

// DiscPeak is the peak of a unit force spread evenly over a disc that may stand anywhere on the plate: sagging
// and deflection with the disc in the middle, shear with it against the middle of a long edge, hogging in a
// corner with the disc where that is worst, which is found by a grid and a pattern search.
// Errors: ErrGeometry, also for a disc wider than the plate and nu under MinPeakPoisson.
func (r Rectangle) DiscPeak(nu, radius float64) (Peak, error) {
	if err := r.peakable(nu); err != nil {
		return Peak{}, err
	}
	mid := Disc{r.A / 2, r.B / 2, radius}
	if !r.contains(mid) {
		return Peak{}, fmt.Errorf("%w: a disc of radius %g does not fit on the plate %g by %g, or is smaller than a point load allows", ErrGeometry, radius, r.A, r.B)
	}
	m := r.disc(nu, mid, mid.X, mid.Y, true)
	sag, _ := m.Principal()
	side := Disc{r.A / 2, radius, radius}
	foot := Point{r.A / 2, 0}
	if r.A <= r.B {
		side = Disc{radius, r.B / 2, radius}
		foot = Point{0, r.B / 2}
	}
	p := Peak{Deflection: m.Deflection, MomentSum: m.MomentSum(nu), Sagging: sag, Shear: r.disc(nu, side, foot.X, foot.Y, false).Shear()}

	hog := func(x, y float64) {
		x = math.Min(math.Max(x, radius), r.A/2)
		y = math.Min(math.Max(y, radius), r.B/2)
		h := math.Abs(r.cornerTwist(nu, Disc{x, y, radius}))
		if h > p.Hogging {
			p.Hogging, p.HoggingAt = h, Point{x, y}
		}
	}
	// beyond a short side from the corner the twist only falls, so the grid covers the near square
	reach := math.Min(r.A, r.B) / 2
	wide, tall := math.Max(0, reach-radius), math.Max(0, reach-radius)
	for i := 0; i < hoggingGrid; i++ {
		for j := 0; j < hoggingGrid; j++ {
			hog(radius+wide*float64(i)/(hoggingGrid-1), radius+tall*float64(j)/(hoggingGrid-1))
		}
	}
	first := reach / (hoggingGrid - 1)
	for step := first / 2; step > hoggingStep*first; {
		at, before := p.HoggingAt, p.Hogging
		for _, d := range [8]Point{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
			hog(at.X+d.X*step, at.Y+d.Y*step)
		}
		if p.Hogging <= before {
			step /= 2
		}
	}
	return p, nil
}

// cornerTwist is Mxy at the corner (0, 0), where Mx = My = 0. The two images along x, and those along y, add up in
// pairs there, so a quarter of the general sum is enough.
func (r Rectangle) cornerTwist(nu float64, d Disc) float64 {
	if r.A > r.B {
		return Rectangle{r.B, r.A}.cornerTwist(nu, Disc{d.Y, d.X, d.Radius})
	}
	k := math.Pi / r.A
	quarter := k * k * d.Radius * d.Radius / 4
	twist := 0.0
	n := int(imageCut/(2*k*r.B)) + 1
	for j := -n; j <= n; j++ {
		t := d.Y + 2*float64(j)*r.B
		tau := k * math.Abs(t)
		if tau > imageCut {
			continue
		}
		sign := 1.0
		if t < 0 {
			sign = -1
		}
		z := reduce(complex(tau, k*d.X))
		_, l0, lm := polylogs(z)
		twist += 4 * sign * (tau*imag(l0) - quarter*imag(lm))
	}
	return (1 - nu) * twist / (4 * math.Pi)
}

func (r Rectangle) peakable(nu float64) error {
	if err := r.Validate(); err != nil {
		return err
	}
	if err := checkNu(nu); err != nil {
		return err
	}
	if nu < MinPeakPoisson {
		return fmt.Errorf("%w: Poisson's ratio %g is under %g, where the middle is not the worst place", ErrGeometry, nu, MinPeakPoisson)
	}
	return nil
}

// LargeDeflectionShare of the thickness is where small-deflection theory ends.
//
// Source: Roark's Formulas for Stress and Strain, 7th ed., chapter 11 (from memory). Beyond it the plate carries
// part of the load as a membrane, so that stresses and deflections given here are too large: conservative.
const LargeDeflectionShare = 0.5

// LargeDeflection tells whether a deflection is beyond the range of the theory for a plate of that thickness.
func LargeDeflection(deflection, thickness float64) bool {
	return deflection > LargeDeflectionShare*thickness
}
