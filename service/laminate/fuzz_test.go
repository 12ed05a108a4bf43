package laminate_test

import (
	"math"
	"testing"

	"hatchwright/service/laminate"
)

// Any figures at all: an error or finite answers, never a panic.
func FuzzCheck(f *testing.F) {
	f.Add(0.45, 0.3, 0.225, 80.0, 12.0, 500.0, 700.0, 0.0, 5.0, 1962.0, 75.0, 20.0)
	f.Add(0.45, 0.3, 0.0, 150.0, 0.0, 0.0, 0.0, 250.0, 0.0, 250.0, 50.0, 15.0)
	f.Add(math.NaN(), 1.0, -1.0, math.Inf(1), 1e308, 1e308, 1e-308, -1.0, math.NaN(), math.Inf(1), 0.0, math.NaN())
	f.Fuzz(func(t *testing.T, w, psi, mat, density, core, a, b, radius, pressure, force, disc, temperature float64) {
		p := laminate.Ply{Reinforcement: laminate.Reinforcement{Kind: laminate.Stitched, ArealMass: w, MatMass: mat, GlassFraction: psi},
			Resin: laminate.Resin{Key: "r", Catalyzed: chart(), ExothermLimit: core}}
		s := laminate.Stack{Gelcoat: &laminate.Gelcoat{Catalyzed: chart()}, Outer: []laminate.Ply{p}}
		if core > 0 {
			s.Core = &laminate.Core{Kind: laminate.PVCCrosslinkII, Density: density, Thickness: core}
			s.Inner = []laminate.Ply{p}
		}
		panel := laminate.Panel{A: a, B: b, Radius: radius}
		cases, err := laminate.Cases(laminate.Demand{Duty: laminate.Custom, Pressure: pressure, Force: force, Radius: disc, Limit: 0.01}, panel)
		if err == nil {
			if rs, err := laminate.Check(s, panel, cases, laminate.Rules{}); err == nil {
				for _, r := range rs {
					if math.IsNaN(r.Utilization()) || math.IsNaN(r.Deflection) {
						t.Errorf("not a number without an error: %+v", r)
					}
				}
			}
			space := laminate.Space{Plies: []laminate.Option{{Ply: p, Cost: w}, {Ply: ply(laminate.Mat, 0.3, 0.3), Cost: 1}}, MaxPlies: 4}
			if c, err := laminate.Choose(space, panel, cases, laminate.LeastCost); err == nil && c.Found && !passes(c.Results) {
				t.Errorf("chosen but fails: %+v", c.Results)
			}
		}
		if ms, err := s.Mixes(a, laminate.Shop{Temperature: temperature, WetOutRate: force, SprayRate: pressure}); err == nil {
			for _, m := range ms {
				if math.IsNaN(m.Mass) || m.Batches < 0 || !(m.CatalystPercent >= 1 && m.CatalystPercent <= 2.5) {
					t.Errorf("mix %+v", m)
				}
			}
		}
	})
}
