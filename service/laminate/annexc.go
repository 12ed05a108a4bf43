package laminate

import "math"

// Strength holds the default properties of one laminate layer, MPa.
type Strength struct {
	Tensile      float64 // ultimate, in plane
	Compressive  float64 // ultimate, in plane
	Flexural     float64 // ultimate
	Shear        float64 // ultimate, in plane
	Modulus      float64 // E, in plane
	ShearModulus float64 // G, in plane
	Interlaminar float64 // ultimate interlaminar shear
}

// UntestedFactor multiplies the strengths and moduli of a laminate that was neither tested nor weighed
// (evaluation level "c").
//
// Source: ISO 12215-5:2008 C.1.4.
const UntestedFactor = 0.8

// Annex gives the default properties of E-glass and polyester at glass mass fraction psi.
//
//	mat, woven, stitched            sprayed            unidirectional
//	sut = 800 psi² - 80 psi + 37    150 psi + 25       880 psi² + 140 psi + 140
//	suc = 150 psi + 72              same               250 psi + 190
//	suf = 502 psi² + 107            300 psi² + 107     2.5 sut/(1 + sut/suc)
//	tau = 80 psi + 38               same               50
//	E   = 38000 psi - 5000          same               46600 psi² + 7200 psi + 7250
//	G   = 1700 psi + 2240           same               14380 psi² - 10560 psi + 3840
//	ILS = 22.5 - 17.5 psi           same               same
//
// Source: ISO 12215-5:2008 table C.4a. Practical range 0.20 <= psi <= 0.65. Before UntestedFactor. An unknown
// kind gives the zero Strength.
func Annex(kind Kind, psi float64) Strength {
	s := Strength{Interlaminar: 22.5 - 17.5*psi}
	switch kind {
	case Mat, Woven, Stitched, Sprayed:
		s.Compressive = 150*psi + 72
		s.Shear = 80*psi + 38
		s.Modulus = 38000*psi - 5000
		s.ShearModulus = 1700*psi + 2240
		if kind == Sprayed {
			s.Tensile = 150*psi + 25
			s.Flexural = 300*psi*psi + 107
		} else {
			s.Tensile = 800*psi*psi - 80*psi + 37
			s.Flexural = 502*psi*psi + 107
		}
	case Unidirectional:
		s.Tensile = 880*psi*psi + 140*psi + 140
		s.Compressive = 250*psi + 190
		s.Flexural = 2.5 * s.Tensile / (1 + s.Tensile/s.Compressive)
		s.Shear = 50
		s.Modulus = 46600*psi*psi + 7200*psi + 7250
		s.ShearModulus = 14380*psi*psi - 10560*psi + 3840
	default:
		return Strength{}
	}
	return s
}

// Times scales every property by f (UntestedFactor, or a shop's own measured factor).
func (s Strength) Times(f float64) Strength {
	return Strength{s.Tensile * f, s.Compressive * f, s.Flexural * f, s.Shear * f, s.Modulus * f, s.ShearModulus * f, s.Interlaminar * f}
}

// Density of a laminate at glass mass fraction psi, kg/m³.
//
//	rho = 1/(psi/rho_g + (1 - psi)/rho_r)
func Density(psi, resinDensity float64) float64 {
	return 1 / (psi/GlassDensity + (1-psi)/resinDensity)
}

// VolumeFraction is the share of glass by volume at glass mass fraction psi.
func VolumeFraction(psi, resinDensity float64) float64 {
	return psi / GlassDensity * Density(psi, resinDensity)
}

// Process is how a laminate is made; it picks the column of the standard's default glass fraction.
type Process string

// Processes of table C.2.
const (
	HandSimple  Process = "hand_simple"  // open mold, simple surface
	HandComplex Process = "hand_complex" // open mold, complex surface
	Vacuum      Process = "vacuum"
)

// DefaultFraction is the default glass mass fraction of a ply; matShare is R, the mat's share of the glass, used
// when 0 < R < 1 for a fabric combined with mat.
//
//	combination: 0.46 - 0.18 R, complex 0.35 - 0.11 R, vacuum 0.56 - 0.22 R
//
// Source: ISO 12215-5:2008 table C.2. ok is false for an unknown kind or process.
func DefaultFraction(kind Kind, process Process, matShare float64) (psi float64, ok bool) {
	col := map[Process]int{HandSimple: 0, HandComplex: 1, Vacuum: 2}
	c, ok := col[process]
	if !ok || math.IsNaN(matShare) || matShare < 0 || matShare > 1 {
		return 0, false
	}
	if matShare > 0 && matShare < 1 && kind != Mat && kind != Sprayed {
		base := [3][2]float64{{0.46, 0.18}, {0.35, 0.11}, {0.56, 0.22}}[c]
		return base[0] - base[1]*matShare, true
	}
	switch kind {
	case Mat, Sprayed:
		return [3]float64{0.30, 0.25, 0.36}[c], true
	case Woven:
		return [3]float64{0.48, 0.36, 0.58}[c], true
	case Stitched:
		return [3]float64{0.50, 0.38, 0.60}[c], true
	case Unidirectional:
		return [3]float64{0.55, 0.41, 0.66}[c], true
	}
	return 0, false
}
