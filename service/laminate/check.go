package laminate

import (
	"fmt"
	"math"

	"hatchwright/service/plate"
)

// AllowableShare of the ultimate stress is allowed.
//
// Source: ISO 12215-5:2008 table 7 and 10.5 (sd = 0.5 su).
const AllowableShare = 0.5

// Rules are the margins of a check.
type Rules struct {
	// Allowable is the share of the ultimate tensile or compressive stress of a ply that it may bear; 0 stands
	// for AllowableShare.
	Allowable float64
	// Tested tells that the shop has tested the laminate: UntestedFactor is then left out.
	Tested bool
}

func (r Rules) allowable() float64 { return orDefault(r.Allowable, AllowableShare) }

func (r Rules) factor() float64 {
	if r.Tested {
		return 1
	}
	return UntestedFactor
}

// Validate refuses a share outside (0, 1].
func (r Rules) Validate() error {
	if a := r.allowable(); !(a > 0 && a <= 1) {
		return fmt.Errorf("%w: allowable share %g of the ultimate stress must lie in (0, 1]", ErrStack, a)
	}
	return nil
}

// Governing names what a case is decided by.
type Governing string

// What may govern.
const (
	ByStress     Governing = "stress"
	ByDeflection Governing = "deflection"
	ByCoreShear  Governing = "core shear"
)

// Result is one case on one stack. A utilization of 1 is just allowed; 0 where the case does not ask.
type Result struct {
	Case                  Case
	UtilizationStress     float64
	UtilizationDeflection float64
	UtilizationCoreShear  float64
	// Deflection in the middle with the core's share, mm.
	Deflection float64
	// EdgeForce is the largest shear force that the case hands to the panel's edge, N/mm.
	EdgeForce float64
	// Governing is the largest of the three.
	Governing Governing
	// Layer is the index into Section.Layers of the most used layer, Stress what it bears there and Allowable
	// what it may, MPa, tension positive.
	Layer             int
	Stress, Allowable float64
	// LargeDeflection tells that the deflection is beyond half the thickness: the figures are then too large,
	// conservative.
	LargeDeflection bool
}

// Utilization is the largest of the three.
func (r Result) Utilization() float64 {
	return math.Max(r.UtilizationStress, math.Max(r.UtilizationDeflection, r.UtilizationCoreShear))
}

// Check gives the utilizations of a stack as it is, never changing it. Every effect of a load, its shear force too,
// is that of the plate times PlateFactor.
//
//	stress      sagging moment M: s = M E_i (z - z_n)/EI at both faces of every ply, and the hogging moment of the
//	            corners with the other sign; allowed 0.5 sut in tension, min(0.5 suc, wrinkling) in compression
//	deflection  y = F (w D/D + moment sum/S); allowed limit × short span
//	core shear  tau from the largest shear force; allowed td
//
// The load acts on the mold face. Skirts and the gelcoat are ignored, which is conservative. Errors: those of
// Stack.Validate, Panel.Validate and Rules.Validate.
func Check(s Stack, p Panel, cases []Case, rules Rules) ([]Result, error) {
	if err := rules.Validate(); err != nil {
		return nil, err
	}
	sec, err := s.Section(rules.factor())
	if err != nil {
		return nil, fmt.Errorf("check of the stack: %w", err)
	}
	if err := p.Validate(); err != nil {
		return nil, fmt.Errorf("check of the panel: %w", err)
	}
	peaks, err := peaksOf(p, cases)
	if err != nil {
		return nil, err
	}
	out := make([]Result, len(cases))
	for i, c := range cases {
		out[i] = sec.check(c, peaks[i], p.Short(), rules.allowable())
	}
	return out, nil
}

// peaksOf gives the peak of every case times its load and PlateFactor, computing each shape of load once.
func peaksOf(p Panel, cases []Case) ([]plate.Peak, error) {
	out := make([]plate.Peak, len(cases))
	for i, c := range cases {
		var unit plate.Peak
		var err error
		found := false
		for j := 0; j < i && !found; j++ {
			if o := cases[j]; (o.Force > 0) == (c.Force > 0) && o.Radius == c.Radius {
				unit, found = scaled(out[j], 1/load(o)), true
			}
		}
		if !found {
			if c.Force > 0 {
				unit, err = p.disc(c.Radius)
			} else {
				unit, err = p.uniform()
			}
			if err != nil {
				return nil, fmt.Errorf("case %s: %w", c.Name, err)
			}
			unit = scaled(unit, PlateFactor)
		}
		if !(load(c) > 0) || math.IsInf(load(c), 0) {
			return nil, fmt.Errorf("%w: case %q has a load of %g: it must be above 0", ErrDuty, c.Name, load(c))
		}
		out[i] = scaled(unit, load(c))
	}
	return out, nil
}

func load(c Case) float64 {
	if c.Force > 0 {
		return c.Force
	}
	return c.Pressure
}

func scaled(p plate.Peak, k float64) plate.Peak {
	p.Deflection *= k
	p.MomentSum *= k
	p.Sagging *= k
	p.Hogging *= k
	p.Shear *= k
	return p
}

func (s Section) check(c Case, k plate.Peak, short, allowable float64) Result {
	r := Result{Case: c, Layer: -1, EdgeForce: k.Shear}
	r.Deflection = k.Deflection/s.D(Poisson) + k.MomentSum/s.ShearStiffness()
	r.LargeDeflection = plate.LargeDeflection(r.Deflection, s.Thickness)
	if c.Limit > 0 {
		r.UtilizationDeflection = r.Deflection / (c.Limit * short)
	}
	if c.Strength {
		core := false
		for i, l := range s.Layers {
			if l.Core() {
				core = true
				continue
			}
			wrinkling := s.OuterWrinkling
			if core {
				wrinkling = s.InnerWrinkling
			}
			tension, compression := allowable*l.Tensile, math.Min(allowable*l.Compressive, wrinkling)
			for _, m := range [2]float64{k.Sagging, -k.Hogging} {
				for _, z := range [2]float64{l.Top, l.Bottom} {
					stress := m * l.Modulus * (z - s.NeutralAxis) / s.EI
					limit := tension
					if stress < 0 {
						limit = compression
					}
					if u := math.Abs(stress) / limit; u > r.UtilizationStress {
						r.UtilizationStress, r.Layer, r.Stress, r.Allowable = u, i, stress, limit
					}
				}
			}
		}
		if s.CoreThickness > 0 {
			r.UtilizationCoreShear = s.CoreShear(k.Shear) / s.CoreDesignShear
		}
	}
	r.Governing = ByStress
	if r.UtilizationDeflection > r.UtilizationStress {
		r.Governing = ByDeflection
	}
	if r.UtilizationCoreShear > math.Max(r.UtilizationStress, r.UtilizationDeflection) {
		r.Governing = ByCoreShear
	}
	return r
}

// Worst is the index of the result with the largest utilization; -1 for none.
func Worst(results []Result) int {
	at, most := -1, math.Inf(-1)
	for i, r := range results {
		if u := r.Utilization(); u > most {
			at, most = i, u
		}
	}
	return at
}
