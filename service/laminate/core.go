package laminate

import (
	"fmt"
	"math"
)

// CoreKind is the family of a core material. It picks the row of ISO 12215-5:2008 table D.1.
type CoreKind string

// Families of core.
const (
	Balsa          CoreKind = "balsa"            // end grain
	PVCCrosslinkI  CoreKind = "pvc_crosslinked1" // cross-linked PVC, first row of the table
	PVCCrosslinkII CoreKind = "pvc_crosslinked2" // cross-linked PVC, second row of the table
	PVCLinear      CoreKind = "pvc_linear"
	SAN            CoreKind = "san"
	Plywood        CoreKind = "plywood"
)

// Core is a sandwich core as stocked.
type Core struct {
	Key, Name string
	Kind      CoreKind
	Density   float64 // kg/m³
	Thickness float64 // mm
	// BedResin is the resin and bedding that the core takes up, both faces together, kg/m² (shop setting).
	BedResin float64
	// Measured replaces the default properties when the maker's own are known.
	Measured *CoreProperties
	Source   string
}

// CoreProperties are those of a core, MPa.
type CoreProperties struct {
	Shear        float64 // tu, ultimate
	ShearModulus float64 // G
	Compressive  float64 // suc, ultimate through the thickness
	Modulus      float64 // Ec, through the thickness
	// ShearFactor turns tu into the design shear stress td.
	ShearFactor float64
}

// Properties gives the core's properties from its density r (kg/m³):
//
//	                          tu                       G                suc              Ec              td/tu
//	balsa 90-220       0.0178 r - 0.34          0.868 r - 1.43   0.102 r - 5      30.7 r - 1350    0.5
//	PVC I 36-250       0.0024 r^1.334           0.1633 r^1.136   0.0014 r^1.487   0.1138 r^1.449   0.55
//	PVC II 33-250      0.017 r - 0.29           0.33 r - 1       0.025 r - 0.69   1.2 r - 18       0.55
//	PVC linear 50-140  0.014 r - 0.33           0.29 r - 5.3     0.012 r - 0.24   0.84 r - 19      0.65
//	SAN 60-210         0.017 r - 2e-5 r² -0.613 0.46 r - 20      6.7e-4 r^1.59    0.024 r^1.75     0.65
//
// Source: ISO 12215-5:2008 table D.1; td/tu from 10.5. Plywood is not in that table: rolling shear 1.7 and
// rolling modulus 138 are the low ends of a public materials database; suc 5 and Ec 400 are from memory, no source.
// A density outside the row's range is refused, never extrapolated.
func (c Core) Properties() (CoreProperties, error) {
	if c.Measured != nil {
		m := *c.Measured
		if !positive(m.Shear) || !positive(m.ShearModulus) || !positive(m.Compressive) || !positive(m.Modulus) || !positive(m.ShearFactor) {
			return CoreProperties{}, fmt.Errorf("%w: core %q: measured properties must all be above 0", ErrMaterial, c.Key)
		}
		return m, nil
	}
	r := c.Density
	within := func(lo, hi float64) error {
		if !(r >= lo && r <= hi) {
			return fmt.Errorf("%w: core %q: density %g kg/m³ is outside %g to %g of %s: give measured properties", ErrMaterial, c.Key, r, lo, hi, c.Kind)
		}
		return nil
	}
	var p CoreProperties
	var err error
	switch c.Kind {
	case Balsa:
		err = within(90, 220)
		p = CoreProperties{0.0178*r - 0.34, 0.868*r - 1.43, 0.102*r - 5, 30.7*r - 1350, 0.5}
	case PVCCrosslinkI:
		err = within(36, 250)
		p = CoreProperties{0.0024 * math.Pow(r, 1.334), 0.1633 * math.Pow(r, 1.136), 0.0014 * math.Pow(r, 1.487), 0.1138 * math.Pow(r, 1.449), 0.55}
	case PVCCrosslinkII:
		err = within(33, 250)
		p = CoreProperties{0.017*r - 0.29, 0.33*r - 1, 0.025*r - 0.69, 1.2*r - 18, 0.55}
	case PVCLinear:
		err = within(50, 140)
		p = CoreProperties{0.014*r - 0.33, 0.29*r - 5.3, 0.012*r - 0.24, 0.84*r - 19, 0.65}
	case SAN:
		err = within(60, 210)
		p = CoreProperties{0.017*r - 2e-5*r*r - 0.613, 0.46*r - 20, 6.7e-4 * math.Pow(r, 1.59), 0.024 * math.Pow(r, 1.75), 0.65}
	case Plywood:
		err = within(400, 750)
		p = CoreProperties{1.7, 138, 5, 400, 0.5}
	default:
		err = fmt.Errorf("%w: core %q: kind %q is unknown: give balsa, pvc_crosslinked1, pvc_crosslinked2, pvc_linear, san or plywood", ErrMaterial, c.Key, string(c.Kind))
	}
	if err != nil {
		return CoreProperties{}, err
	}
	return p, nil
}

// DesignShear is td, the design shear stress, MPa: td/tu × tu. UntestedFactor does not apply to cores.
func (p CoreProperties) DesignShear() float64 { return p.ShearFactor * p.Shear }

// MassPerArea of the core with its bedding, kg/m².
func (c Core) MassPerArea() float64 { return c.Density*c.Thickness/1000 + c.BedResin }

// Validate reports the first figure of c that cannot be used.
func (c Core) Validate() error {
	if !positive(c.Thickness) {
		return fmt.Errorf("%w: core %q: thickness %g mm must be above 0", ErrMaterial, c.Key, c.Thickness)
	}
	if !positive(c.Density) {
		return fmt.Errorf("%w: core %q: density %g kg/m³ must be above 0", ErrMaterial, c.Key, c.Density)
	}
	if !(c.BedResin >= 0) || math.IsInf(c.BedResin, 0) {
		return fmt.Errorf("%w: core %q: bed resin %g kg/m² must be 0 or more", ErrMaterial, c.Key, c.BedResin)
	}
	_, err := c.Properties()
	return err
}
