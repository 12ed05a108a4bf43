package laminate

import (
	"errors"
	"fmt"
	"math"
)

// Figures of catalyzed products.
const (
	// DefaultMinTemperature of the shop, °C. Source: supplier's guide sheet (15 °C hard limit).
	DefaultMinTemperature = 15.0
	// DefaultTargetGel, minutes. Shop setting, no source.
	DefaultTargetGel = 20.0
	// DefaultCatalystDensity of MEKP solution, kg/m³; safety sheets give 1.15 to 1.17, from memory.
	DefaultCatalystDensity = 1150.0
	// percentStep is what a shop can measure out.
	percentStep = 0.1
)

// ErrTemperature marks a shop temperature outside a product's own table. The error is a *TemperatureError.
var ErrTemperature = errors.New("laminate: do not laminate at this temperature")

// ErrCatalyst marks a catalyst percent outside a product's permitted range. The error is a *CatalystError.
var ErrCatalyst = errors.New("laminate: catalyst percent not permitted")

// TemperatureError says which product stops the work and at what temperatures it would not.
type TemperatureError struct {
	Product     string
	Temperature float64
	Least, Most float64 // °C
}

func (e *TemperatureError) Error() string {
	return fmt.Sprintf("%v: %s: %g °C is outside %g to %g °C of its table: warm or cool the shop, or take another product", ErrTemperature, e.Product, e.Temperature, e.Least, e.Most)
}

// Unwrap returns ErrTemperature.
func (e *TemperatureError) Unwrap() error { return ErrTemperature }

// CatalystError says which percents are permitted at the temperature.
type CatalystError struct {
	Product     string
	Temperature float64
	Percent     float64 // asked for; 0: the table has none that is permitted
	Least, Most float64 // permitted, percent
	// TableLeast and TableMost are the percents with a gel time at the temperature;
	// both 0 when there is none.
	TableLeast, TableMost float64
}

func (e *CatalystError) Error() string {
	if e.Percent == 0 {
		return fmt.Sprintf("%v: %s at %g °C: %g to %g %% is permitted, its table has %g to %g %%", ErrCatalyst, e.Product, e.Temperature, e.Least, e.Most, e.TableLeast, e.TableMost)
	}
	return fmt.Sprintf("%v: %s at %g °C: %g %% is outside %g to %g %%", ErrCatalyst, e.Product, e.Temperature, e.Percent, e.Least, e.Most)
}

// Unwrap returns ErrCatalyst.
func (e *CatalystError) Unwrap() error { return ErrCatalyst }

// Validate refuses a table whose axes do not rise, whose rows have another length than the percents, or whose
// minutes are negative or not finite.
func (g GelTable) Validate() error {
	if len(g.Temperatures) == 0 || len(g.Percents) == 0 {
		return fmt.Errorf("%w: gel table has no temperature or no percent", ErrMaterial)
	}
	if len(g.Minutes) != len(g.Temperatures) {
		return fmt.Errorf("%w: gel table has %d rows for %d temperatures", ErrMaterial, len(g.Minutes), len(g.Temperatures))
	}
	for _, axis := range [][]float64{g.Temperatures, g.Percents} {
		for i, v := range axis {
			if math.IsNaN(v) || math.IsInf(v, 0) || i > 0 && v <= axis[i-1] {
				return fmt.Errorf("%w: gel table: %g does not rise along its axis", ErrMaterial, v)
			}
		}
	}
	for i, row := range g.Minutes {
		if len(row) != len(g.Percents) {
			return fmt.Errorf("%w: gel table row %g °C has %d cells for %d percents", ErrMaterial, g.Temperatures[i], len(row), len(g.Percents))
		}
		for _, m := range row {
			if !(m >= 0) || math.IsInf(m, 0) {
				return fmt.Errorf("%w: gel table row %g °C: %g minutes must be 0 (forbidden) or more", ErrMaterial, g.Temperatures[i], m)
			}
		}
	}
	return nil
}

// bracket finds i and the share f with axis[i] + f (axis[i+1] - axis[i]) = v; f is 0 on a grid value.
func bracket(axis []float64, v float64) (i int, f float64, ok bool) {
	if !(v >= axis[0] && v <= axis[len(axis)-1]) {
		return 0, 0, false
	}
	for i = len(axis) - 1; axis[i] > v; i-- {
	}
	if axis[i] == v {
		return i, 0, true
	}
	return i, (v - axis[i]) / (axis[i+1] - axis[i]), true
}

// logMinutes is the natural logarithm of the gel time at every percent of the table, at one temperature; NaN where
// the product forbids it.
func (g GelTable) logMinutes(temperature float64) ([]float64, bool) {
	i, f, ok := bracket(g.Temperatures, temperature)
	if !ok {
		return nil, false
	}
	out := make([]float64, len(g.Percents))
	for j := range out {
		a := g.Minutes[i][j]
		if f == 0 {
			out[j] = math.Log(a)
		} else {
			out[j] = (1-f)*math.Log(a) + f*math.Log(g.Minutes[i+1][j])
		}
		if math.IsInf(out[j], 0) {
			out[j] = math.NaN()
		}
	}
	return out, true
}

func interpolate(axis, logs []float64, v float64) (float64, bool) {
	j, f, ok := bracket(axis, v)
	if !ok {
		return 0, false
	}
	l := logs[j]
	if f > 0 {
		l = (1-f)*logs[j] + f*logs[j+1]
	}
	return l, !math.IsNaN(l)
}

func (c Catalyzed) least() float64 { return orDefault(c.MinTemperature, DefaultMinTemperature) }

// tabled is the lowest and highest percent with a gel time at one temperature.
func (c Catalyzed) tabled(logs []float64) (lo, hi float64, ok bool) {
	for j, l := range logs {
		if math.IsNaN(l) {
			continue
		}
		if !ok {
			lo = c.CatalystTable.Percents[j]
		}
		hi, ok = c.CatalystTable.Percents[j], true
	}
	return lo, hi, ok
}

// permitted is the lowest and highest percent that both the range and the table allow at one temperature.
func (c Catalyzed) permitted(logs []float64) (lo, hi float64, ok bool) {
	if lo, hi, ok = c.tabled(logs); !ok {
		return 0, 0, false
	}
	lo, hi = math.Max(lo, c.CatalystMin), math.Min(hi, c.CatalystMax)
	return lo, hi, lo <= hi
}

func (c Catalyzed) logsAt(product string, temperature float64) ([]float64, error) {
	g := c.CatalystTable
	if err := g.Validate(); err != nil {
		return nil, fmt.Errorf("%s: %w", product, err)
	}
	least, most := math.Max(g.Temperatures[0], c.least()), g.Temperatures[len(g.Temperatures)-1]
	logs, ok := g.logMinutes(temperature)
	if !ok || !(temperature >= least) {
		return nil, &TemperatureError{product, temperature, least, most}
	}
	return logs, nil
}

// Gel is the gel time in minutes at a temperature (°C) and catalyst percent: bilinear in the logarithm of the time
// over the product's own table. A rule such as "halves with every 10 °C" is not used: published charts contradict it.
//
//	ln t = sum over the four neighbors of (1 - |dT|/DT)(1 - |dp|/Dp) ln t_ij
//
// Errors: *TemperatureError, *CatalystError, ErrMaterial.
func (c Catalyzed) Gel(product string, temperature, percent float64) (float64, error) {
	logs, err := c.logsAt(product, temperature)
	if err != nil {
		return 0, err
	}
	lo, hi, ok := c.permitted(logs)
	if !ok || !(percent >= lo && percent <= hi) {
		return 0, &CatalystError{Product: product, Temperature: temperature, Percent: percent, Least: lo, Most: hi}
	}
	l, ok := interpolate(c.CatalystTable.Percents, logs, percent)
	if !ok {
		return 0, &CatalystError{Product: product, Temperature: temperature, Percent: percent, Least: lo, Most: hi}
	}
	return math.Exp(l), nil
}

func (c Catalyzed) noDose(product string, temperature float64, logs []float64) error {
	lo, hi, _ := c.tabled(logs)
	return &CatalystError{Product: product, Temperature: temperature, Least: c.CatalystMin, Most: c.CatalystMax, TableLeast: lo, TableMost: hi}
}

// Dose picks the catalyst percent at a temperature: the one whose gel time is the target, clamped to what the
// product permits, to the nearest 0.1 %; and the gel time it gives. Errors: as Gel.
func (c Catalyzed) Dose(product string, temperature float64) (percent, minutes float64, err error) {
	logs, err := c.logsAt(product, temperature)
	if err != nil {
		return 0, 0, err
	}
	lo, hi, ok := c.permitted(logs)
	if !ok {
		return 0, 0, c.noDose(product, temperature, logs)
	}
	want := math.Log(orDefault(c.TargetGel, DefaultTargetGel))
	best, off := math.NaN(), math.Inf(1)
	try := func(p float64) {
		if l, ok := interpolate(c.CatalystTable.Percents, logs, p); ok && math.Abs(l-want) < off {
			best, off = p, math.Abs(l-want)
		}
	}
	try(lo)
	axis := c.CatalystTable.Percents
	for j := 0; j+1 < len(axis); j++ {
		a, b := math.Max(axis[j], lo), math.Min(axis[j+1], hi)
		la, oka := interpolate(axis, logs, a)
		lb, okb := interpolate(axis, logs, b)
		if !(a <= b) || !oka || !okb {
			continue
		}
		if (la-want)*(lb-want) < 0 {
			try(a + (b-a)*(la-want)/(la-lb))
		}
		try(a)
		try(b)
	}
	try(hi)
	if math.IsNaN(best) {
		return 0, 0, c.noDose(product, temperature, logs)
	}
	rounded := clamp(math.Round(best/percentStep)/(1/percentStep), lo, hi)
	if l, ok := interpolate(axis, logs, rounded); ok {
		return rounded, math.Exp(l), nil
	}
	l, _ := interpolate(axis, logs, best)
	return best, math.Exp(l), nil
}

// CureHours is the time from lay-up to demold at a temperature (°C), from the resin's own table, straight in the
// logarithm of the time, never extrapolated. Errors: *TemperatureError, ErrMaterial.
func (r Resin) CureHours(temperature float64) (float64, error) {
	axis, logs := make([]float64, len(r.Cure)), make([]float64, len(r.Cure))
	for i, p := range r.Cure {
		if !positive(p.Hours) || math.IsNaN(p.Temperature) || i > 0 && !(p.Temperature > axis[i-1]) {
			return 0, fmt.Errorf("%w: resin %q: cure table: temperatures must rise and hours be above 0", ErrMaterial, r.Key)
		}
		axis[i], logs[i] = p.Temperature, math.Log(p.Hours)
	}
	if len(axis) == 0 {
		return 0, fmt.Errorf("%w: resin %q has no cure table", ErrMaterial, r.Key)
	}
	l, ok := interpolate(axis, logs, temperature)
	least := math.Max(axis[0], r.least())
	if !ok || temperature < least {
		return 0, &TemperatureError{r.Key, temperature, least, axis[len(axis)-1]}
	}
	return math.Exp(l), nil
}
