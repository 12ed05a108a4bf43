package laminate_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"hatchwright/service/laminate"
)

// chart is invented, in the manner of suppliers' charts; its 0 cells are forbidden.
func chart() laminate.Catalyzed {
	return laminate.Catalyzed{
		MinTemperature: 15,
		CatalystTable: laminate.GelTable{
			Temperatures: []float64{15, 20, 25, 30},
			Percents:     []float64{1, 1.5, 2, 2.5},
			Minutes: [][]float64{
				{0, 60, 45, 30},
				{50, 32, 24, 18},
				{30, 20, 14, 0},
				{16, 11, 0, 0},
			},
		},
		CatalystMin: 1, CatalystMax: 2.5, TargetGel: 20,
	}
}

func TestGel(t *testing.T) {
	c := chart()
	for _, k := range []struct{ temperature, percent, want float64 }{
		{20, 1, 50}, {25, 2, 14}, {30, 1.5, 11},
		{20, 1.25, math.Sqrt(50 * 32)},            // halfway in the logarithm
		{22.5, 1.5, math.Sqrt(32 * 20)},           // the same over temperature
		{22.5, 1.25, math.Pow(50*32*30*20, 0.25)}, // and over both
		{21, 1.1, math.Exp(.8*(.8*math.Log(50)+.2*math.Log(32)) + .2*(.8*math.Log(30)+.2*math.Log(20)))},
	} {
		got, err := c.Gel("r", k.temperature, k.percent)
		if err != nil {
			t.Fatal(err)
		}
		within(t, fmt.Sprintf("gel at %g °C, %g %%", k.temperature, k.percent), got, k.want, 1e-9)
	}
	for _, temperature := range []float64{10, 14.9, 30.1, math.NaN()} {
		_, err := c.Gel("r", temperature, 1.5)
		var te *laminate.TemperatureError
		if !errors.Is(err, laminate.ErrTemperature) || !errors.As(err, &te) || te.Least != 15 || te.Most != 30 {
			t.Errorf("%g °C: %v", temperature, err)
		}
	}
	for _, k := range []struct{ temperature, percent float64 }{{20, 0.9}, {20, 2.6}, {15, 1.2}, {30, 1.75}, {27, 2}} {
		if _, err := c.Gel("r", k.temperature, k.percent); !errors.Is(err, laminate.ErrCatalyst) {
			t.Errorf("%g °C, %g %%: %v", k.temperature, k.percent, err)
		}
	}
}

func TestDose(t *testing.T) {
	c := chart()
	for _, k := range []struct{ temperature, percent, minutes float64 }{
		{25, 1.5, 20}, // in the chart
		{30, 1, 16},   // the least that is permitted is still too fast: clamped
		{15, 2.5, 30}, // the most that is permitted is still too slow: clamped
	} {
		p, m, err := c.Dose("r", k.temperature)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "percent", p, k.percent, 1e-12)
		within(t, "minutes", m, k.minutes, 1e-9)
	}
	// between 2 and 2.5 % at 20 °C: 24 to 18 minutes, 20 at 2 + 0.5 ln(24/20)/ln(24/18) = 2.317, weighed as 2.3
	p, m, err := c.Dose("r", 20)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "percent", p, 2.3, 1e-12)
	within(t, "minutes", m, 24*math.Pow(18.0/24, 0.6), 1e-9)
}

// The dose is permitted and its gel time is that of the chart, at every temperature; no other permitted percent of
// the scale comes nearer to the target by more than the scale's step.
func TestDoseIsPermitted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := chart()
		c.TargetGel = rapid.Float64Range(5, 90).Draw(t, "target")
		c.CatalystMin = rapid.Float64Range(0.5, 1.5).Draw(t, "min")
		c.CatalystMax = rapid.Float64Range(1.6, 3).Draw(t, "max")
		temperature := rapid.Float64Range(15, 30).Draw(t, "temperature")
		p, m, err := c.Dose("r", temperature)
		if err != nil {
			t.Fatal(err)
		}
		got, err := c.Gel("r", temperature, p)
		if err != nil || math.Abs(got-m) > 1e-9*m {
			t.Fatalf("%g %%: %g minutes, chart %g, %v", p, m, got, err)
		}
		off := math.Abs(math.Log(m / c.TargetGel))
		for i := 0; i <= 60; i++ {
			q := 0.5 + 0.05*float64(i)
			if g, err := c.Gel("r", temperature, q); err == nil && math.Abs(math.Log(g/c.TargetGel)) < off-0.08 {
				t.Fatalf("%g %% gives %g minutes, nearer to %g than %g %% with %g", q, g, c.TargetGel, p, m)
			}
		}
	})
}

// Theoretical coverage of a coating: 231 in³ per US gallon over 0.001 in is 1604 ft² at 1 mil; and the worked values
// of 15 to 25 mil, independent calculation from that factor.
func TestGelcoatCoverage(t *testing.T) {
	const (
		liter = 3.785411784 // per US gallon
		foot2 = 0.09290304  // m²
		mil   = 0.0254      // mm
	)
	for _, c := range []struct{ mils, feet float64 }{{1, 1604.17}, {15, 106.94}, {18, 89.12}, {20, 80.21}, {25, 64.17}} {
		within(t, "gallons", laminate.GelcoatVolume(c.feet*foot2, c.mils*mil, 1)/liter, 1, 1e-4)
	}
	within(t, "1 m² at 20 mil, 75 %", laminate.GelcoatVolume(1, 0.508, 0.75), 0.677, 5.001e-4)
	within(t, "its mass", laminate.GelcoatVolume(1, 0.508, 0.75)*1.25, 0.847, 5.001e-4)
}

func TestGelcoatMix(t *testing.T) {
	g := laminate.Gelcoat{Key: "white", Catalyzed: chart(), Film: 0.508, TransferSpray: 0.75}
	m, err := g.Mix(1, laminate.Shop{Temperature: 25, SprayRate: 10})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "mass", m.Mass, 0.847, 5.001e-4)
	within(t, "catalyst", m.CatalystML, 0.508/0.75*1.25*0.015/1150*1e6, 1e-9)
	if m.Batches != 1 {
		t.Errorf("batches %d", m.Batches)
	}
	b, err := g.Mix(1, laminate.Shop{Temperature: 25, SprayRate: 10, Transfer: laminate.Brush})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "brushed", b.Mass, 0.508/0.9*1.25, 1e-9)
	g.Film = 0.9
	if _, err := g.Mix(1, laminate.Shop{Temperature: 25, SprayRate: 10}); !errors.Is(err, laminate.ErrMaterial) {
		t.Errorf("film of 0.9 mm: %v", err)
	}
}

// A supplier's rounding: 1 kg of resin at 1 % takes 10 mL, that is a catalyst of 1.0 kg/L; with 1.15 it is 8.7 mL.
func TestCatalystVolume(t *testing.T) {
	c := chart()
	c.CatalystMax, c.CatalystDensity = 1, 1000
	r := laminate.Resin{Key: "r", Catalyzed: c, ExothermLimit: 5}
	p := ply(laminate.Mat, 3.0/7, 0.30) // 1 kg/m² of resin
	p.Resin = r
	for _, k := range []struct{ density, ml float64 }{{1000, 10}, {1150, 8.696}} {
		p.Resin.CatalystDensity = k.density
		ms, err := laminate.Solid(nil, p).Mixes(1, laminate.Shop{Temperature: 25, WetOutRate: 6})
		if err != nil {
			t.Fatal(err)
		}
		within(t, "mass", ms[0].Mass, 1, 1e-12)
		within(t, "mL", ms[0].CatalystML, k.ml, 5e-4)
	}
}

// 0.6 × 30 min × 6 kg/h is 1.8 kg a batch; hand calculation.
func TestBatches(t *testing.T) {
	c := chart()
	c.CatalystMax = 1
	p := ply(laminate.Mat, 3.0/7, 0.30)
	p.Resin = laminate.Resin{Key: "r", Catalyzed: c, ExothermLimit: 5}
	for _, k := range []struct {
		area float64
		want int
	}{{0, 0}, {0.1, 1}, {1.8, 1}, {1.81, 2}, {3.6, 2}, {9.1, 6}} {
		ms, err := laminate.Solid(nil, p).Mixes(k.area, laminate.Shop{Temperature: 25, WetOutRate: 6})
		if err != nil {
			t.Fatal(err)
		}
		if ms[0].Batches != k.want || math.Abs(ms[0].BatchMass*float64(ms[0].Batches)-ms[0].Mass) > 1e-12 {
			t.Errorf("%g kg: %d batches of %g", ms[0].Mass, ms[0].Batches, ms[0].BatchMass)
		}
	}
	if _, err := laminate.Solid(nil, p).Mixes(1, laminate.Shop{Temperature: 25}); !errors.Is(err, laminate.ErrMix) {
		t.Errorf("no rate: %v", err)
	}
	_, err := laminate.Solid(nil, p).Mixes(1, laminate.Shop{Temperature: 12, WetOutRate: 6})
	if !errors.Is(err, laminate.ErrTemperature) {
		t.Errorf("12 °C: %v", err)
	}
}

func TestFiller(t *testing.T) {
	f := laminate.Filler{Key: "talc", Density: 1800, HardenerPercent: 2, HardenerMin: 1, HardenerMax: 3,
		Working: []laminate.WorkingPoint{{Temperature: 18, Minutes: 8}, {Temperature: 25, Minutes: 4}}, MinTemperature: 18}
	m, err := f.Mix(100, laminate.Shop{Temperature: 25, SpreadRate: 1.5})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "mass", m.Mass, 0.18, 1e-12)
	within(t, "hardener", m.CatalystMass, 0.0036, 1e-12)
	if m.Batches != 3 { // 0.6 × 4 min × 1.5 kg/h = 0.06 kg
		t.Errorf("batches %d", m.Batches)
	}
	if _, err := f.Mix(100, laminate.Shop{Temperature: 17, SpreadRate: 1.5}); !errors.Is(err, laminate.ErrTemperature) {
		t.Errorf("17 °C: %v", err)
	}
	f.HardenerPercent = 5
	if _, err := f.Mix(100, laminate.Shop{Temperature: 20, SpreadRate: 1.5}); !errors.Is(err, laminate.ErrCatalyst) {
		t.Errorf("5 %%: %v", err)
	}
}

func TestCure(t *testing.T) {
	r := laminate.Resin{Key: "r", Catalyzed: chart(), Cure: []laminate.CurePoint{{Temperature: 15, Hours: 72}, {Temperature: 25, Hours: 18}}}
	h, err := r.CureHours(20)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "hours", h, 36, 1e-9) // the geometric mean
	if _, err := r.CureHours(26); !errors.Is(err, laminate.ErrTemperature) {
		t.Errorf("26 °C: %v", err)
	}
	if _, err := (laminate.Resin{Key: "r"}).CureHours(20); !errors.Is(err, laminate.ErrMaterial) {
		t.Errorf("no table: %v", err)
	}
}

func TestStages(t *testing.T) {
	core := laminate.Core{Kind: laminate.Balsa, Density: 150, Thickness: 12, BedResin: 1}
	m := ply(laminate.Mat, 0.45, 0.30) // 1.05 mm
	thick := ply(laminate.Mat, 2.4, 0.30)
	st := laminate.Stack{Outer: []laminate.Ply{m, m, m, m, m, thick}, Core: &core, Inner: []laminate.Ply{m, m}}
	stages := st.Stages() // limit 5 mm: 4 plies, 1, the thick one alone, core with 2
	var got []string
	glass, resin := 0.0, 0.0
	for _, s := range stages {
		got = append(got, fmt.Sprintf("%d-%d core=%v over=%v", s.First, s.Last, s.Core, s.Over))
		glass += s.GlassMass
		resin += s.ResinMass
	}
	want := "[0-3 core=false over=false 4-4 core=false over=false 5-5 core=false over=true 6-7 core=true over=false]"
	if fmt.Sprint(got) != want {
		t.Errorf("stages %v, want %s", got, want)
	}
	within(t, "glass", glass, st.Mass().Glass, 1e-12)
	within(t, "resin", resin, st.Mass().Resin+core.BedResin, 1e-12)
}
