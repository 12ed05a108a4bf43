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

// K2 is the strength factor of a clamped panel of aspect r = l/b.
//
//	k2 = (0.271 r² + 0.910 r - 0.554)/(r² - 0.313 r + 1.351), 0.308 to 0.5; 0.5 beyond r = 2
//
// Source: ISO 12215-5:2008 table 5. For a receiver or a deck panel; a lid on a ledge is simply supported and never
// uses it.
func K2(r float64) float64 {
	if r > 2 {
		return 0.5
	}
	return clamp((0.271*r*r+0.910*r-0.554)/(r*r-0.313*r+1.351), 0.308, 0.5)
}

// K3 is the stiffness factor of a clamped panel of aspect r = l/b.
//
//	k3 = (0.027 r² - 0.029 r + 0.011)/(r² - 1.463 r + 1.108), 0.014 to 0.028; 0.028 beyond r = 2
//
// Source: ISO 12215-5:2008 table 5. Not for a lid, as K2.
func K3(r float64) float64 {
	if r > 2 {
		return 0.028
	}
	return clamp((0.027*r*r-0.029*r+0.011)/(r*r-1.463*r+1.108), 0.014, 0.028)
}

// K1 is the deflection, as a share of b, that the inertia of a sandwich panel is sized for.
//
// Source: ISO 12215-5:2008 equation 40.
const K1 = 0.017

// KC is the curvature factor of a panel with crown c over width b.
//
//	1 up to c/b = 0.03, then 1.1 - 3.33 c/b, 0.5 from 0.18
//
// Source: ISO 12215-5:2008 table 6.
func KC(crownShare float64) float64 {
	switch {
	case crownShare <= 0.03:
		return 1
	case crownShare > 0.18:
		return 0.5
	}
	return clamp(1.1-3.33*crownShare, 0.5, 1)
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

// SingleSkinThickness is the least thickness of a clamped solid panel, mm.
//
//	t = b kC sqrt(P k2/(1000 sd))
//
// b in mm, P in kN/m², sd in MPa (0.5 suf by table 7). Source: ISO 12215-5:2008 equations 35 to 37.
func SingleSkinThickness(b, kc, p, k2, sd float64) float64 {
	return b * kc * math.Sqrt(p*k2/(1000*sd))
}

// MinDeckThickness is the least thickness of a solid deck laminate of E-glass, mm, for LWL in m.
//
//	t = k5 (1.45 + 0.14 LWL), k5 = 1
//
// Source: ISO 12215-5:2008 table 15; k5 from memory.
func MinDeckThickness(lwl float64) float64 { return 1.45 + 0.14*lwl }

// PlywoodFlexural is the ultimate flexural strength of plywood of n plies and the given density, MPa.
//
//	parallel      0.5 (rho/1000)(68 - 2 n + 0.03 n²)
//	perpendicular 0.5 (rho/1000)(11 + 6.5 n - 0.28 n²)
//
// Source: ISO 12215-5:2008 table E.2; n odd, 5 to 15. ok is false outside.
func PlywoodFlexural(density float64, n int) (parallel, perpendicular float64, ok bool) {
	if n < 5 || n > 15 || n%2 == 0 || !positive(density) {
		return 0, 0, false
	}
	f := float64(n)
	return 0.5 * density / 1000 * (68 - 2*f + 0.03*f*f), 0.5 * density / 1000 * (11 + 6.5*f - 0.28*f*f), true
}

// SandwichNeed is what a clamped sandwich panel needs per cm of width.
type SandwichNeed struct {
	ModulusOuter float64 // SMo, cm³/cm
	ModulusInner float64 // SMi, cm³/cm
	Inertia      float64 // cm⁴/cm
	Lever        float64 // ts, mm
}

// NeedSandwich sizes a clamped sandwich panel.
//
//	SMo = b² kC² P k2/(6e5 sdto)         equation 38, sdto = 0.5 sut of the outer skin
//	SMi = b² kC² P k2/(6e5 sdci)         equation 39, sdci = min(0.5 suc, 0.3 (E Ec G)^(1/3))
//	I   = b³ kC³ P k3/(12e6 k1 Eio)      equation 40
//	ts >= kC kSHC P b/(1000 td)          equation 43 (another restatement prints sqrt(kC))
//
// b in mm, P in kN/m², stresses and moduli in MPa; r = l/b. Source: ISO 12215-5:2008 10.5.
func NeedSandwich(b, r, kc, p, sdto, sdci, eio, td float64) SandwichNeed {
	m := b * b * kc * kc * p * K2(r) / 6e5
	return SandwichNeed{
		ModulusOuter: m / sdto,
		ModulusInner: m / sdci,
		Inertia:      b * b * b * kc * kc * kc * p * K3(r) / (12e6 * K1 * eio),
		Lever:        kc * KSHC(r) * p * b / (1000 * td),
	}
}

// SandwichSection is a sandwich of skins to and ti over a core tc, mm, per cm of width; both skins alike in
// stiffness.
type SandwichSection struct {
	Lever        float64 // ts, mm
	Inertia      float64 // cm⁴/cm
	Outer, Inner float64 // yo, yi: from the neutral axis to the faces, mm
	ModulusOuter float64 // cm³/cm
	ModulusInner float64 // cm³/cm
}

// SectionOf is the actual section.
//
//	ts = tc + (to + ti)/2;  I = 1e-3 [ to ti ts²/(to + ti) + (to³ + ti³)/12 ]
//	yo = ts ti/(to + ti) + to/2;  yi = ts to/(to + ti) + ti/2;  SM = 10 I/y
//
// Source: ISO 12215-5:2008 D.2.2.
func SectionOf(to, tc, ti float64) SandwichSection {
	ts := tc + (to+ti)/2
	s := SandwichSection{
		Lever:   ts,
		Inertia: 1e-3 * (to*ti*ts*ts/(to+ti) + (to*to*to+ti*ti*ti)/12),
		Outer:   ts*ti/(to+ti) + to/2,
		Inner:   ts*to/(to+ti) + ti/2,
	}
	s.ModulusOuter = 10 * s.Inertia / s.Outer
	s.ModulusInner = 10 * s.Inertia / s.Inner
	return s
}

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

// MaxPanelWidth is the widest panel the standard covers, mm, for the hull length LH in m: 330 LH.
//
// Source: ISO 12215-5:2008.
func MaxPanelWidth(lh float64) float64 { return 330 * lh }

func clamp(x, lo, hi float64) float64 { return math.Min(math.Max(x, lo), hi) }
