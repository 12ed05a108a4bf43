package laminate

import (
	"errors"
	"fmt"
	"math"
)

// Kind is the form of a reinforcement. It picks the row of ISO 12215-5:2008 annex C.
type Kind string

// Kinds of reinforcement.
const (
	// Mat is chopped strand mat laid by hand.
	Mat Kind = "mat"
	// Sprayed is chopped roving sprayed with the resin.
	Sprayed Kind = "sprayed"
	// Woven is woven roving or cloth.
	Woven Kind = "woven"
	// Stitched is a 0/90 or ±45 stitched (multidirectional) fabric.
	Stitched Kind = "stitched"
	// Unidirectional is a fabric with all its strands one way.
	Unidirectional Kind = "unidirectional"
)

// GlassDensity is the density of E-glass, kg/m³.
//
// Source: ISO 12215-5:2008 equation C.1, whose 3.072 is 2.56 × 1.2.
const GlassDensity = 2560.0

// DefaultMatFraction is the glass mass fraction of the mat on a stitched fabric when the material row gives none.
//
// Source: ISO 12215-5:2008 table C.2, chopped strand mat, simple surface, by hand.
const DefaultMatFraction = 0.30

// ErrMaterial marks a material row that cannot be used; the message names the field.
var ErrMaterial = errors.New("laminate: material row refused")

// Reinforcement is one product of dry glass as it is stocked.
type Reinforcement struct {
	Key, Name string
	Kind      Kind
	// ArealMass is the dry glass of the fabric itself, kg/m², without any mat stitched to it.
	ArealMass float64
	// MatMass is the dry glass of the mat stitched to the fabric, kg/m²; 0 when there is none.
	MatMass float64
	// GlassFraction is the glass mass fraction psi of the laid fabric, in (0, 1).
	GlassFraction float64
	// MatFraction is psi of the stitched mat; 0 stands for DefaultMatFraction.
	MatFraction float64
	Source      string
}

// Validate reports the first figure of r that cannot be used.
func (r Reinforcement) Validate() error {
	refuse := func(field, why string) error {
		return fmt.Errorf("%w: reinforcement %q: %s %s", ErrMaterial, r.Key, field, why)
	}
	switch r.Kind {
	case Mat, Sprayed, Woven, Stitched, Unidirectional:
	default:
		return refuse("kind", fmt.Sprintf("%q is unknown: give mat, sprayed, woven, stitched or unidirectional", string(r.Kind)))
	}
	if !positive(r.ArealMass) {
		return refuse("areal mass", fmt.Sprintf("%g kg/m² must be above 0", r.ArealMass))
	}
	if !(r.MatMass >= 0) || math.IsInf(r.MatMass, 0) {
		return refuse("mat mass", fmt.Sprintf("%g kg/m² must be 0 or more", r.MatMass))
	}
	if !fraction(r.GlassFraction) {
		return refuse("glass fraction", fmt.Sprintf("%g must lie between 0 and 1", r.GlassFraction))
	}
	if r.MatFraction != 0 && !fraction(r.MatFraction) {
		return refuse("mat fraction", fmt.Sprintf("%g must lie between 0 and 1", r.MatFraction))
	}
	if r.modulusAt(r.GlassFraction) <= 0 {
		return refuse("glass fraction", fmt.Sprintf("%g is below the range of the standard's formulas, which give no stiffness there: use 0.2 to 0.65", r.GlassFraction))
	}
	if r.MatMass > 0 && Annex(Mat, r.matFraction()).Modulus <= 0 {
		return refuse("mat fraction", fmt.Sprintf("%g is below the range of the standard's formulas: use 0.2 to 0.65", r.matFraction()))
	}
	return nil
}

func (r Reinforcement) modulusAt(psi float64) float64 { return Annex(r.Kind, psi).Modulus }

func (r Reinforcement) matFraction() float64 {
	if r.MatFraction != 0 {
		return r.MatFraction
	}
	return DefaultMatFraction
}

// GlassMass is all the dry glass of one ply, fabric and mat, kg/m².
func (r Reinforcement) GlassMass() float64 { return r.ArealMass + r.MatMass }

func positive(x float64) bool { return x > 0 && !math.IsInf(x, 0) }
func fraction(x float64) bool { return x > 0 && x < 1 }
