package laminate_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"hatchwright/service/laminate"
	"hatchwright/service/plate"
)

// 8 mm of mat, 500 by 700 mm, 981 N on a disc of radius 75 mm: 19.5 MPa and 12.1 mm by Roark's printed formula, whose
// deflection is that of a point (8 % more here); independent calculation. Tested laminate. The
// plate's own figures: without PlateFactor.
func TestCheckSolid(t *testing.T) {
	st := laminate.Solid(nil, ply(laminate.Mat, 8/laminate.PlyThickness(1, 0.30, 1200), 0.30))
	cases := []laminate.Case{{Name: "person", Force: 981, Radius: 75, Strength: true, Limit: 0.01}}
	r, err := laminate.Check(st, laminate.Panel{A: 500, B: 700}, cases, laminate.Rules{Tested: true})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "stress", r[0].Stress/laminate.PlateFactor, 19.5, 0.1)
	within(t, "allowable", r[0].Allowable, 42.5, 1e-9)
	within(t, "deflection", r[0].Deflection/laminate.PlateFactor, 12.1*0.92, 0.15)
	if r[0].Governing != laminate.ByDeflection || !r[0].LargeDeflection {
		t.Errorf("%+v", r[0])
	}
	if passes(r) || laminate.Worst(r) != 0 {
		t.Errorf("11 mm is more than 5 mm: %+v", r)
	}
}

// A round sandwich panel under a pressure against its own formulas, hand calculation with the ISO section 2/12/2,
// times the factor of 1.35.
func TestCheckRoundSandwich(t *testing.T) {
	w := 2 / laminate.PlyThickness(1, 0.30, 1200)
	core := laminate.Core{Kind: laminate.PVCCrosslinkII, Density: 80, Thickness: 12}
	st := laminate.Stack{Outer: []laminate.Ply{ply(laminate.Mat, w, 0.30)}, Core: &core, Inner: []laminate.Ply{ply(laminate.Mat, w, 0.30)}}
	const q, radius = 0.00635, 250.0
	r, err := laminate.Check(st, laminate.Panel{Radius: radius}, []laminate.Case{{Pressure: q, Strength: true, Limit: 0.01}}, laminate.Rules{Tested: true})
	if err != nil {
		t.Fatal(err)
	}
	m := 1.35 * (3 + 0.3) * q * radius * radius / 16
	within(t, "stress", math.Abs(r[0].Stress), m/24.667, 1e-3)
	d := 6400 * 197.333 / (1 - 0.09)
	bending := (5 + 0.3) * q * math.Pow(radius, 4) / (64 * 1.3 * d)
	shear := q * radius * radius / 4 / (25.4 * 14 * 14 / 12)
	within(t, "deflection", r[0].Deflection, 1.35*(bending+shear), 2e-3)
	within(t, "core shear", r[0].UtilizationCoreShear, 1.35*q*radius/2/14/(0.55*1.07), 0.02*r[0].UtilizationCoreShear)
	// the inner skin in tension, 42.5 MPa, is used more than the outer in compression
	if r[0].Layer != 2 {
		t.Errorf("layer %d governs", r[0].Layer)
	}
}

// TestPlateFactor: every utilization of every duty is the plate's own result, worked out here from the plate's peak and
// the section, times 1.35: stress, deflection, core shear and the force on the edge, of a solid and of a sandwich, under
// a foot and under a pressure, over a rectangle and over a circle. The rows of a check that asks for nothing stay 0.
func TestPlateFactor(t *testing.T) {
	if laminate.PlateFactor != 1.35 {
		t.Fatalf("the factor is %v, want 1.35", laminate.PlateFactor)
	}
	core := laminate.Core{Kind: laminate.Balsa, Density: 150, Thickness: 12}
	skin := []laminate.Ply{ply(laminate.Mat, 0.45, 0.30), ply(laminate.Woven, 0.6, 0.48)}
	stacks := map[string]laminate.Stack{"solid": laminate.Solid(nil, skin...), "sandwich": {Outer: skin, Core: &core, Inner: skin[1:]}}
	deck := &laminate.Deck{Craft: laminate.MotorPlaning, Category: laminate.CategoryA, LWL: 9, Displacement: 4000}
	for name, stack := range stacks {
		section, err := stack.Section(laminate.UntestedFactor)
		if err != nil {
			t.Fatal(err)
		}
		for shape, panel := range map[string]laminate.Panel{"rectangle": {A: 620, B: 430}, "circle": {Radius: 240}} {
			for _, duty := range []laminate.Demand{{Duty: laminate.NoStep}, {Duty: laminate.Step}, {Duty: laminate.WorkingDeck, Deck: deck},
				{Duty: laminate.Custom, Pressure: 4, Force: 700, Radius: 60, Limit: 0.02}} {
				t.Run(name+"/"+shape+"/"+string(duty.Duty), func(t *testing.T) {
					cases, err := laminate.Cases(duty, panel)
					if err != nil {
						t.Fatal(err)
					}
					results, err := laminate.Check(stack, panel, cases, laminate.Rules{})
					if err != nil {
						t.Fatal(err)
					}
					for i, r := range results {
						k := cases[i]
						peak, load := peakOf(t, panel, k)
						y := load * (peak.Deflection/section.D(laminate.Poisson) + peak.MomentSum/section.ShearStiffness())
						within(t, k.Name+", deflection", r.Deflection, 1.35*y, 1e-9*y)
						within(t, k.Name+", edge force", r.EdgeForce, 1.35*load*peak.Shear, 1e-9*load*peak.Shear)
						if k.Limit > 0 {
							within(t, k.Name+", utilization of deflection", r.UtilizationDeflection, 1.35*y/(k.Limit*panel.Short()), 1e-9)
						}
						if !k.Strength {
							continue
						}
						used := 0.0
						for _, m := range []float64{peak.Sagging, -peak.Hogging} {
							for _, s := range section.Stresses(load * m) {
								l := section.Layers[s.Layer]
								wrinkling := section.OuterWrinkling
								if section.CoreThickness > 0 && s.Layer > 1 {
									wrinkling = section.InnerWrinkling
								}
								for _, x := range []float64{s.Top, s.Bottom} {
									limit := 0.5 * l.Tensile
									if x < 0 {
										limit = math.Min(0.5*l.Compressive, wrinkling)
									}
									used = math.Max(used, math.Abs(x)/limit)
								}
							}
						}
						within(t, k.Name+", utilization of stress", r.UtilizationStress, 1.35*used, 1e-9)
						if section.CoreThickness > 0 {
							within(t, k.Name+", utilization of core shear", r.UtilizationCoreShear, 1.35*section.CoreShear(load*peak.Shear)/section.CoreDesignShear, 1e-9)
						}
					}
				})
			}
		}
	}
}

// peakOf is the plate's own peak of a case's shape of load, and the load.
func peakOf(t *testing.T, p laminate.Panel, k laminate.Case) (plate.Peak, float64) {
	t.Helper()
	var peak plate.Peak
	var err error
	switch {
	case k.Force > 0 && p.Radius > 0:
		peak, err = plate.Circle{Radius: p.Radius}.DiscPeak(laminate.Poisson, k.Radius)
	case k.Force > 0:
		peak, err = plate.Rectangle{A: p.A, B: p.B}.DiscPeak(laminate.Poisson, k.Radius)
	case p.Radius > 0:
		peak, err = plate.Circle{Radius: p.Radius}.UniformPeak(laminate.Poisson)
	default:
		peak, err = plate.Rectangle{A: p.A, B: p.B}.UniformPeak(laminate.Poisson)
	}
	if err != nil {
		t.Fatal(err)
	}
	if k.Force > 0 {
		return peak, k.Force
	}
	return peak, k.Pressure
}

func TestCases(t *testing.T) {
	p := laminate.Panel{A: 500, B: 700}
	deck := &laminate.Deck{Craft: laminate.MotorDisplacement, Category: laminate.CategoryC, LWL: 7.5, Displacement: 3000}
	for _, c := range []struct {
		demand laminate.Demand
		want   string
	}{
		{laminate.Demand{Duty: laminate.NoStep}, "[hand 0 250 50 true 0]"},
		{laminate.Demand{Duty: laminate.Step}, "[step strength 0 1962 75 true 0 step stiffness 0 981 75 false 0.01]"},
		{laminate.Demand{Duty: laminate.WorkingDeck, Deck: deck}, "[step strength 0 1962 75 true 0 step stiffness 0 981 75 false 0.01 deck pressure 6.353 0 0 true 0.01]"},
		{laminate.Demand{Duty: laminate.Custom, Pressure: 4, Force: 700, Radius: 60, Limit: 0.02}, "[custom pressure 4 0 0 true 0.02 custom force 0 700 60 true 0.02]"},
	} {
		cs, err := laminate.Cases(c.demand, p)
		if err != nil {
			t.Fatal(err)
		}
		var parts []string
		for _, k := range cs {
			parts = append(parts, fmt.Sprintf("%s %.4g %g %g %v %g", k.Name, k.Pressure*1000, k.Force, k.Radius, k.Strength, k.Limit))
			if k.Source == "" {
				t.Errorf("%s names no source", k.Name)
			}
		}
		if got := fmt.Sprint(parts); got != c.want {
			t.Errorf("got %s\nwant %s", got, c.want)
		}
	}
	for _, bad := range []laminate.Demand{
		{Duty: "dance"}, {Duty: laminate.WorkingDeck}, {Duty: laminate.Custom}, {Duty: laminate.Custom, Force: 100},
		{Duty: laminate.Custom, Pressure: math.NaN()}, {Duty: laminate.Custom, Force: math.Inf(1), Radius: 1},
	} {
		if _, err := laminate.Cases(bad, p); !errors.Is(err, laminate.ErrDuty) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

func TestStackRefusals(t *testing.T) {
	m := ply(laminate.Mat, 0.45, 0.3)
	core := laminate.Core{Kind: laminate.Balsa, Density: 150, Thickness: 12}
	for name, s := range map[string]laminate.Stack{
		"empty":         {},
		"bare core":     {Outer: []laminate.Ply{m}, Core: &core},
		"inner no core": {Outer: []laminate.Ply{m}, Inner: []laminate.Ply{m}},
	} {
		if err := s.Validate(); !errors.Is(err, laminate.ErrStack) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, edit := range map[string]func(*laminate.Reinforcement){
		"kind":       func(r *laminate.Reinforcement) { r.Kind = "felt" },
		"mass":       func(r *laminate.Reinforcement) { r.ArealMass = 0 },
		"NaN":        func(r *laminate.Reinforcement) { r.ArealMass = math.NaN() },
		"psi":        func(r *laminate.Reinforcement) { r.GlassFraction = 1 },
		"no modulus": func(r *laminate.Reinforcement) { r.GlassFraction = 0.1 },
		"mat":        func(r *laminate.Reinforcement) { r.MatMass = -1 },
		"mat psi":    func(r *laminate.Reinforcement) { r.MatMass, r.MatFraction = 0.2, 0.1 },
	} {
		p := m
		edit(&p.Reinforcement)
		if err := laminate.Solid(nil, p).Validate(); !errors.Is(err, laminate.ErrMaterial) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A disc wider than the lid is narrowed to it.
func TestTinyLid(t *testing.T) {
	st := laminate.Solid(nil, ply(laminate.Mat, 2, 0.3))
	p := laminate.Panel{A: 100, B: 140}
	wide, err := laminate.Check(st, p, []laminate.Case{{Force: 981, Radius: 75, Strength: true}}, laminate.Rules{})
	if err != nil {
		t.Fatal(err)
	}
	inside, err := laminate.Check(st, p, []laminate.Case{{Force: 981, Radius: 50, Strength: true}}, laminate.Rules{})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "utilization", wide[0].UtilizationStress, inside[0].UtilizationStress, 1e-12)
}

// passes tells whether every utilization is at most 1.
func passes(results []laminate.Result) bool {
	return len(results) == 0 || results[laminate.Worst(results)].Utilization() <= 1
}
