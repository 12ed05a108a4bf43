package laminate

import (
	"errors"
	"fmt"
	"math"
)

// WorkingShare is the part of the gel time in which a mix must be used up. Shop rule, no source.
const WorkingShare = 0.6

// ErrMix marks a shop setting or quantity that no mix can be made from.
var ErrMix = errors.New("laminate: mix refused")

// Transfer is how gelcoat is put on.
type Transfer string

// Ways to put gelcoat on.
const (
	Spray Transfer = "spray"
	Brush Transfer = "brush"
)

// Shop holds the settings that mixes depend on.
type Shop struct {
	Temperature float64 // °C
	// Waste is the share of resin lost in pots, rollers and trim, on top of the laminate's.
	Waste float64
	// WetOutRate is the resin one hand wets out, kg/h; SprayRate the gelcoat put on, kg/h; SpreadRate the filler
	// spread, kg/h.
	WetOutRate, SprayRate, SpreadRate float64
	// Transfer is how the gelcoat is put on; empty stands for Spray.
	Transfer Transfer
}

// Mix is what to weigh out.
type Mix struct {
	What    string
	Product string // key
	// Mass of the product with waste, kg, in all batches together.
	Mass float64
	// CatalystPercent by mass; CatalystMass, kg, and CatalystML, mL, for the whole mass.
	CatalystPercent, CatalystMass, CatalystML float64
	GelMinutes                                float64
	// Batches of BatchMass each, so that each is used up within WorkingShare of the gel time.
	Batches   int
	BatchMass float64
}

// batches is ceil(mass/(0.6 gel rate)).
//
//	batch <= 0.6 (gel/60) rate
func batches(mass, gelMinutes, rate float64) (int, float64, error) {
	if !positive(rate) {
		return 0, 0, fmt.Errorf("%w: working rate %g kg/h must be above 0", ErrMix, rate)
	}
	if mass == 0 {
		return 0, 0, nil
	}
	most := WorkingShare * gelMinutes / 60 * rate
	n := math.Ceil(mass/most - batchTolerance)
	if !(n <= maxBatches) {
		return 0, 0, fmt.Errorf("%w: %g kg at %g minutes of gel and %g kg/h make more than %d batches", ErrMix, mass, gelMinutes, rate, maxBatches)
	}
	n = math.Max(n, 1)
	return int(n), mass / n, nil
}

const (
	// batchTolerance keeps a mass that is a whole number of batches from rounding up to one more.
	batchTolerance = 1e-9
	// maxBatches is beyond any part: more shows a wrong rate or table. The largest part of
	// the slowest hand with the shortest gel time within the ranges of a shop's documents
	// takes some hundred thousand.
	maxBatches = 1_000_000
)

func (c Catalyzed) mix(what, product string, mass, rate, temperature float64) (Mix, error) {
	if !(mass >= 0) || math.IsInf(mass, 0) {
		return Mix{}, fmt.Errorf("%w: %s: mass %g kg must be 0 or more", ErrMix, what, mass)
	}
	percent, gel, err := c.Dose(product, temperature)
	if err != nil {
		return Mix{}, fmt.Errorf("%s: %w", what, err)
	}
	return dosed(what, product, mass, rate, percent, gel, orDefault(c.CatalystDensity, DefaultCatalystDensity))
}

// dosed fills a mix.
//
//	catalyst mL = mass × percent/100 / density
func dosed(what, product string, mass, rate, percent, gel, density float64) (Mix, error) {
	if !positive(density) {
		return Mix{}, fmt.Errorf("%w: %s: catalyst density %g kg/m³ must be above 0", ErrMaterial, what, density)
	}
	n, each, err := batches(mass, gel, rate)
	if err != nil {
		return Mix{}, fmt.Errorf("%s: %w", what, err)
	}
	c := mass * percent / 100
	return Mix{
		What: what, Product: product, Mass: mass, CatalystPercent: percent, CatalystMass: c, CatalystML: c / density * 1e6,
		GelMinutes: gel, Batches: n, BatchMass: each,
	}, nil
}

// GelcoatVolume is the gelcoat to put on, L, for an area in m² and a wet film in mm.
//
//	V = area × film / transfer
//
// 1 L covers 1 m² at 1 mm: 1604 ft² at 1 mil per US gallon.
func GelcoatVolume(area, film, transfer float64) float64 { return area * film / transfer }

// Mix of the gelcoat for an area of mold in m². Errors: ErrMix, ErrMaterial, *TemperatureError, *CatalystError.
func (g Gelcoat) Mix(area float64, shop Shop) (Mix, error) {
	transfer := orDefault(g.TransferSpray, DefaultTransferSpray)
	switch shop.Transfer {
	case Spray, "":
	case Brush:
		transfer = orDefault(g.TransferBrush, DefaultTransferBrush)
	default:
		return Mix{}, fmt.Errorf("%w: transfer %q: give spray or brush", ErrMix, string(shop.Transfer))
	}
	if !(transfer > 0 && transfer <= 1) {
		return Mix{}, fmt.Errorf("%w: gelcoat %q: transfer %g must lie in (0, 1]", ErrMaterial, g.Key, transfer)
	}
	if f := g.film(); !(f >= FilmMin && f <= FilmMax) {
		return Mix{}, fmt.Errorf("%w: gelcoat %q: film %g mm is outside %g to %g mm", ErrMaterial, g.Key, f, FilmMin, FilmMax)
	}
	if !(area >= 0) || math.IsInf(area, 0) {
		return Mix{}, fmt.Errorf("%w: gelcoat area %g m² must be 0 or more", ErrMix, area)
	}
	mass := GelcoatVolume(area, g.film(), transfer) * g.density() / 1000
	return g.mix("gelcoat", g.Key, mass, shop.SprayRate, shop.Temperature)
}

// Mixes of a stack over an area of mold in m²: the gelcoat if there is one, then every stage with its waste.
// Errors: as Gelcoat.Mix and Stack.Validate; a temperature outside a product's table stops the plan.
func (s Stack) Mixes(area float64, shop Shop) ([]Mix, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	if !(area >= 0) || math.IsInf(area, 0) {
		return nil, fmt.Errorf("%w: laminate area %g m² must be 0 or more", ErrMix, area)
	}
	if !(shop.Waste >= 0) || math.IsInf(shop.Waste, 0) {
		return nil, fmt.Errorf("%w: waste %g must be 0 or more", ErrMix, shop.Waste)
	}
	var out []Mix
	if s.Gelcoat != nil {
		m, err := s.Gelcoat.Mix(area, shop)
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	for i, st := range s.Stages() {
		m, err := st.Resin.mix(fmt.Sprintf("stage %d", i+1), st.Resin.Key, st.ResinMass*area*(1+shop.Waste), shop.WetOutRate, shop.Temperature)
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

// WorkingPoint is the working time of a filler at one temperature.
type WorkingPoint struct{ Temperature, Minutes float64 }

// Filler is a paste cured by a hardener.
type Filler struct {
	Key, Name string
	Density   float64 // kg/m³
	// HardenerPercent by mass, within HardenerMin and HardenerMax.
	HardenerPercent, HardenerMin, HardenerMax float64
	// HardenerDensity, kg/m³; 0 stands for that of the filler.
	HardenerDensity float64
	// Working is the working time over temperature, rising in temperature.
	Working        []WorkingPoint
	MinTemperature float64
	Source         string
}

// Mix of a volume of filler in cm³, in batches that can be spread within WorkingShare of the working time.
// Errors: ErrMix, ErrMaterial, *TemperatureError, *CatalystError.
func (f Filler) Mix(volume float64, shop Shop) (Mix, error) {
	if !positive(f.Density) {
		return Mix{}, fmt.Errorf("%w: filler %q: density %g kg/m³ must be above 0", ErrMaterial, f.Key, f.Density)
	}
	if !(volume >= 0) || math.IsInf(volume, 0) {
		return Mix{}, fmt.Errorf("%w: filler volume %g cm³ must be 0 or more", ErrMix, volume)
	}
	if !(f.HardenerPercent >= f.HardenerMin && f.HardenerPercent <= f.HardenerMax) {
		return Mix{}, &CatalystError{Product: f.Key, Temperature: shop.Temperature, Percent: f.HardenerPercent, Least: f.HardenerMin, Most: f.HardenerMax}
	}
	if !(shop.Waste >= 0) || math.IsInf(shop.Waste, 0) {
		return Mix{}, fmt.Errorf("%w: waste %g must be 0 or more", ErrMix, shop.Waste)
	}
	axis, logs := make([]float64, len(f.Working)), make([]float64, len(f.Working))
	for i, p := range f.Working {
		if !positive(p.Minutes) || math.IsNaN(p.Temperature) || i > 0 && !(p.Temperature > axis[i-1]) {
			return Mix{}, fmt.Errorf("%w: filler %q: working table: temperatures must rise and minutes be above 0", ErrMaterial, f.Key)
		}
		axis[i], logs[i] = p.Temperature, math.Log(p.Minutes)
	}
	if len(axis) == 0 {
		return Mix{}, fmt.Errorf("%w: filler %q has no working table", ErrMaterial, f.Key)
	}
	least := math.Max(axis[0], orDefault(f.MinTemperature, DefaultMinTemperature))
	l, ok := interpolate(axis, logs, shop.Temperature)
	if !ok || shop.Temperature < least {
		return Mix{}, &TemperatureError{f.Key, shop.Temperature, least, axis[len(axis)-1]}
	}
	mass := volume * 1e-6 * f.Density * (1 + shop.Waste)
	return dosed("filler", f.Key, mass, shop.SpreadRate, f.HardenerPercent, math.Exp(l), orDefault(f.HardenerDensity, f.Density))
}
