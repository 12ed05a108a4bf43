package laminate

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
