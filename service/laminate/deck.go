package laminate

import (
	"errors"
	"fmt"
	"math"
)

// Basis names the edition whose equations this file holds; answers repeat it. The factors of the 2019 edition are
// never mixed in.
const Basis = "ISO 12215-5:2008"

// ErrDeck marks a craft that the pressure rule does not cover; the message names the figure.
var ErrDeck = errors.New("laminate: craft refused")

// Category is the design category of a craft.
type Category string

// Design categories.
const (
	CategoryA Category = "A"
	CategoryB Category = "B"
	CategoryC Category = "C"
	CategoryD Category = "D"
)

// Craft is the kind of craft, which picks the pressure base.
type Craft string

// Kinds of craft.
const (
	MotorPlaning      Craft = "motor_planing"
	MotorDisplacement Craft = "motor_displacement"
	Sailing           Craft = "sailing"
)

// Deck says where and on what craft the panel lies.
type Deck struct {
	Craft    Craft
	Category Category
	// LWL is the length of the waterline, m.
	LWL float64
	// Displacement is mLDC, the loaded displacement mass, kg.
	Displacement float64
	// Position is x/LWL of the panel from the aft end of the waterline; nil stands for the forward part, which
	// is the worst.
	Position *float64
	// DynamicFactor is nCG of a planing craft, limited to 3 to 6; other craft use 3.
	DynamicFactor float64
}

// PressureResult is the deck pressure with its factors, each of clause 8.
type PressureResult struct {
	Base float64 // PBASE, kN/m²
	KDC  float64 // design category
	KL   float64 // longitudinal
	KR   float64 // structure and craft
	Area float64 // AD, m²
	KAR  float64 // area pressure reduction
	// Pressure is the design pressure, kN/m², never under MinDeckPressure.
	Pressure float64
}

const (
	// MinDeckPressure, kN/m². Source: ISO 12215-5:2008 clause 8.
	MinDeckPressure = 5.0
	minDeckKAR      = 0.25 // ISO 12215-5:2008 clause 8
)

// Pressure is the design pressure on a deck panel of l by b mm (l the longer side).
//
//	P = max(PBASE kAR kDC kL, 5) kN/m²                                        equations 15 to 17, 24 to 26
//	PBASE = 0.35 LWL + 14.6 (motor),  0.5 mLDC^0.33 + 12 (sailing)
//	kDC = A 1.0, B 0.8, C 0.6, D 0.4                                          table 2
//	kL  = 1 for x/LWL > 0.6, else (1 - 0.167 n)/0.6 (x/LWL) + 0.167 n         n = nCG limited to 3..6
//	kAR = kR 0.1 mLDC^0.15/AD^0.3, at most 1, for a deck at least 0.25
//	kR  = 1 (planing), else 1.5 - 3e-4 b;   AD = min(l b, 2.5 b²) 1e-6 m²
//
// Source: ISO 12215-5:2008 clause 8. Errors: ErrDeck.
func (d Deck) Pressure(l, b float64) (PressureResult, error) {
	if !positive(l) || !positive(b) || l < b {
		return PressureResult{}, fmt.Errorf("%w: panel %g by %g mm: give the longer side first, both above 0", ErrDeck, l, b)
	}
	if !(d.LWL > 0 && d.LWL <= 24) {
		return PressureResult{}, fmt.Errorf("%w: waterline %g m is outside 0 to 24 m of the standard", ErrDeck, d.LWL)
	}
	if !positive(d.Displacement) {
		return PressureResult{}, fmt.Errorf("%w: displacement %g kg must be above 0", ErrDeck, d.Displacement)
	}
	var r PressureResult
	var ok bool
	if r.KDC, ok = map[Category]float64{CategoryA: 1, CategoryB: 0.8, CategoryC: 0.6, CategoryD: 0.4}[d.Category]; !ok {
		return PressureResult{}, fmt.Errorf("%w: design category %q: give A, B, C or D", ErrDeck, string(d.Category))
	}
	n := 3.0
	switch d.Craft {
	case MotorPlaning:
		r.Base, r.KR = 0.35*d.LWL+14.6, 1
		n = math.Min(math.Max(d.DynamicFactor, 3), 6)
	case MotorDisplacement:
		r.Base, r.KR = 0.35*d.LWL+14.6, 1.5-3e-4*b
	case Sailing:
		r.Base, r.KR = 0.5*math.Pow(d.Displacement, 0.33)+12, 1.5-3e-4*b
	default:
		return PressureResult{}, fmt.Errorf("%w: craft %q: give motor_planing, motor_displacement or sailing", ErrDeck, string(d.Craft))
	}
	r.KL = 1
	if d.Position != nil {
		x := *d.Position
		if !(x >= 0 && x <= 1) {
			return PressureResult{}, fmt.Errorf("%w: position %g of the waterline must lie between 0 and 1", ErrDeck, x)
		}
		r.KL = KL(x, n)
	}
	r.Area = math.Min(l*b, 2.5*b*b) * 1e-6
	r.KAR = math.Max(math.Min(r.KR*0.1*math.Pow(d.Displacement, 0.15)/math.Pow(r.Area, 0.3), 1), minDeckKAR)
	r.Pressure = math.Max(r.Base*r.KAR*r.KDC*r.KL, MinDeckPressure)
	return r, nil
}

// KL is the longitudinal factor at x, the share of the waterline from aft; see Deck.Pressure.
func KL(x, n float64) float64 {
	if x > 0.6 {
		return 1
	}
	return (1-0.167*n)/0.6*x + 0.167*n
}

// KSHC is the shear factor of a sandwich panel of aspect r = l/b.
//
//	0.035 + 0.394 r - 0.09 r² under 2; 0.463, 0.493, 0.5 at 2, 3, 4 and beyond, straight between
//
// Source: ISO 12215-5:2008 table 12; another restatement takes 0.5 from 2.
func KSHC(r float64) float64 {
	switch {
	case r < 2:
		return 0.035 + 0.394*r - 0.09*r*r
	case r < 3:
		return 0.463 + (r-2)*0.030
	case r < 4:
		return 0.493 + (r-3)*0.007
	}
	return 0.5
}

// MinDeckThickness is the least thickness of a solid deck laminate of E-glass, mm, for LWL in m.
//
//	t = k5 (1.45 + 0.14 LWL), k5 = 1
//
// Source: ISO 12215-5:2008 table 15; k5 from memory.
func MinDeckThickness(lwl float64) float64 { return 1.45 + 0.14*lwl }

// MinDeckSkins is the least dry glass of the outer and inner skin of a sandwich deck, kg/m², for LWL in m.
//
//	wos = k4 k5 k6 (0.1 LWL + 0.15), wis = 0.7 wos; deck k4 = 0.7, k5 = k6 = 1
//
// Source: ISO 12215-5:2008 equations 44 and 45; k5 and k6 from memory.
func MinDeckSkins(lwl float64) (outer, inner float64) {
	outer = 0.7 * (0.1*lwl + 0.15)
	return outer, 0.7 * outer
}

// MinCoreShear is the least design shear stress of a core, MPa, for the hull length LH in m.
//
//	LH < 10: 0.25; to 15: 0.25 + 0.03 (LH - 10); beyond: 0.40
//
// Source: ISO 12215-5:2008 table 13; one restatement applies it to the bottom only.
func MinCoreShear(lh float64) float64 {
	return clamp(0.25+0.03*(lh-10), 0.25, 0.40)
}

func clamp(x, lo, hi float64) float64 { return math.Min(math.Max(x, lo), hi) }
