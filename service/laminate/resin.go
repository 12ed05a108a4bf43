package laminate

import (
	"fmt"
	"math"
)

// DefaultResinDensity is the density of cured polyester, kg/m³.
//
// Source: ISO 12215-5:2008 equation C.1 (2.56 × 1.2 = 3.072); data sheets give 1.20 ± 0.02.
const DefaultResinDensity = 1200.0

// GelTable is a product's own chart of gel time over temperature and catalyst.
//
//	               Percents[0]  Percents[1] ...
//	Temperatures[0] Minutes[0][0] Minutes[0][1]
//	Temperatures[1] Minutes[1][0] Minutes[1][1]
//
// Temperatures (°C) and Percents rise strictly. A cell of 0 is one that the product forbids; a point that needs
// such a cell is outside the table.
type GelTable struct {
	Temperatures []float64
	Percents     []float64
	Minutes      [][]float64
}

// CurePoint is the time to demold at one temperature.
type CurePoint struct {
	Temperature float64 // °C
	Hours       float64
}

// Catalyzed is what a product that is cured by adding a catalyst (resin, gelcoat, filler) says about itself.
type Catalyzed struct {
	// MinTemperature is the least shop temperature, °C; 0 stands for DefaultMinTemperature.
	MinTemperature float64
	// CatalystTable is the gel chart.
	CatalystTable GelTable
	// CatalystMin and CatalystMax bound the permitted percent by mass.
	CatalystMin, CatalystMax float64
	// TargetGel is the gel time the shop aims at, minutes; the percent is chosen for it (shop setting).
	TargetGel float64
	// CatalystDensity is that of the catalyst, kg/m³ (= g/L); 0 stands for DefaultCatalystDensity.
	CatalystDensity float64
}

// Resin is a laminating resin.
type Resin struct {
	Key, Name string
	// Density is that of the cured resin, kg/m³; 0 stands for DefaultResinDensity.
	Density float64
	// LiquidDensity is that of the resin as poured, kg/m³.
	LiquidDensity float64
	Catalyzed
	// Cure is the time to demold over temperature, rising in temperature.
	Cure []CurePoint
	// ExothermLimit is the most laminate laid in one stage, mm.
	ExothermLimit float64
	Source        string
}

func (r Resin) density() float64 {
	if r.Density == 0 {
		return DefaultResinDensity
	}
	return r.Density
}

// Validate reports the first figure of r that the mechanics cannot use. The catalyst table is looked at where
// it is used.
func (r Resin) Validate() error {
	if !positive(r.density()) {
		return fmt.Errorf("%w: resin %q: density %g kg/m³ must be above 0", ErrMaterial, r.Key, r.Density)
	}
	if !(r.ExothermLimit >= 0) || math.IsInf(r.ExothermLimit, 0) {
		return fmt.Errorf("%w: resin %q: exotherm limit %g mm must be 0 or more", ErrMaterial, r.Key, r.ExothermLimit)
	}
	return nil
}
