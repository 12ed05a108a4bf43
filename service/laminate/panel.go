package laminate

import (
	"fmt"
	"math"

	"hatchwright/service/plate"
)

// PlateFactor makes up for what the plate of Panel flatters: deflection, moments and shear forces of every load are
// those of the plate times it, until the lid's true outline is solved as what it is. The plate is a rectangle round
// the outline, held down at its corners, of a material alike in all directions. A lid has rounded corners, lies on
// its rim without being held down there, and is laid of fabrics.
//
//	rounded corners, held       deflection up to 1.15, moment up to 1.13 of the enclosing rectangle
//	corners that are free to lift  1.12 and 1.08 under a foot in the middle of a square
//	fabrics                     the rest
//
// Own comparison with solved plates, no published source: up to a third in all. The force on the edge is multiplied
// with the rest, which is on the safe side: beside a foot the reaction of a plate that takes up no twist at its edge
// is 1 + (1 - nu)/2 = 1.35 of the shear force there (a half plane, hand calculation), under a pressure up to 1.25.
// A round lid has neither corners nor an enclosing rectangle; it has the factor too, which is conservative.
const PlateFactor = 1.35

// Panel is the span of a lid between the inner edges of its ledge, simply supported all round. A round lid has
// Radius; every other outline is its smallest enclosing rectangle, which is never stiffer than the outline.
type Panel struct {
	A, B   float64 // sides, mm, in any order; 0 for a round panel
	Radius float64 // mm; 0 for a rectangle
}

// Short is the short span, mm: the diameter of a round panel.
func (p Panel) Short() float64 {
	if p.Radius > 0 {
		return 2 * p.Radius
	}
	return math.Min(p.A, p.B)
}

// Long is the long span, mm.
func (p Panel) Long() float64 {
	if p.Radius > 0 {
		return 2 * p.Radius
	}
	return math.Max(p.A, p.B)
}

// Validate refuses sides that the plate theory does not cover, and both a radius and sides.
func (p Panel) Validate() error {
	if p.Radius != 0 {
		if p.A != 0 || p.B != 0 {
			return fmt.Errorf("%w: panel has a radius %g mm and sides %g by %g mm: give one or the other", plate.ErrGeometry, p.Radius, p.A, p.B)
		}
		return plate.Circle{Radius: p.Radius}.Validate()
	}
	return plate.Rectangle{A: p.A, B: p.B}.Validate()
}

func (p Panel) uniform() (plate.Peak, error) {
	if p.Radius != 0 {
		return plate.Circle{Radius: p.Radius}.UniformPeak(Poisson)
	}
	return plate.Rectangle{A: p.A, B: p.B}.UniformPeak(Poisson)
}

// disc is the peak of a force on a disc; one wider than the panel is narrowed to it, which is conservative.
func (p Panel) disc(radius float64) (plate.Peak, error) {
	radius = math.Min(radius, p.Short()/2)
	if p.Radius != 0 {
		return plate.Circle{Radius: p.Radius}.DiscPeak(Poisson, radius)
	}
	return plate.Rectangle{A: p.A, B: p.B}.DiscPeak(Poisson, radius)
}
