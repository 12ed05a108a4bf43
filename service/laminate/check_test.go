package laminate_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"hatchwright/service/laminate"
)

// 8 mm of mat, 500 by 700 mm, 981 N on a disc of radius 75 mm: 19.5 MPa and 12.1 mm by Roark's printed formula, whose
// deflection is that of a point (8 % more here); independent calculation. Tested laminate.
func TestCheckSolid(t *testing.T) {
	st := laminate.Solid(nil, ply(laminate.Mat, 8/laminate.PlyThickness(1, 0.30, 1200), 0.30))
	cases := []laminate.Case{{Name: "person", Force: 981, Radius: 75, Strength: true, Limit: 0.01}}
	r, err := laminate.Check(st, laminate.Panel{A: 500, B: 700}, cases, laminate.Rules{Tested: true})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "stress", r[0].Stress, 19.5, 0.1)
	within(t, "allowable", r[0].Allowable, 42.5, 1e-9)
	within(t, "deflection", r[0].Deflection, 12.1*0.92, 0.15)
	if r[0].Governing != laminate.ByDeflection || !r[0].LargeDeflection {
		t.Errorf("%+v", r[0])
	}
	if laminate.Passes(r) || laminate.Worst(r) != 0 {
		t.Errorf("11 mm is more than 5 mm: %+v", r)
	}
}

// A round sandwich panel under a pressure against its own formulas, hand calculation with the ISO section 2/12/2.
func TestCheckRoundSandwich(t *testing.T) {
	w := 2 / laminate.PlyThickness(1, 0.30, 1200)
	core := laminate.Core{Kind: laminate.PVCCrosslinkII, Density: 80, Thickness: 12}
	st := laminate.Stack{Outer: []laminate.Ply{ply(laminate.Mat, w, 0.30)}, Core: &core, Inner: []laminate.Ply{ply(laminate.Mat, w, 0.30)}}
	const q, radius = 0.00635, 250.0
	r, err := laminate.Check(st, laminate.Panel{Radius: radius}, []laminate.Case{{Pressure: q, Strength: true, Limit: 0.01}}, laminate.Rules{Tested: true})
	if err != nil {
		t.Fatal(err)
	}
	m := (3 + 0.3) * q * radius * radius / 16
	within(t, "stress", math.Abs(r[0].Stress), m/24.667, 1e-3)
	d := 6400 * 197.333 / (1 - 0.09)
	bending := (5 + 0.3) * q * math.Pow(radius, 4) / (64 * 1.3 * d)
	shear := q * radius * radius / 4 / (25.4 * 14 * 14 / 12)
	within(t, "deflection", r[0].Deflection, bending+shear, 1e-3)
	within(t, "core shear", r[0].UtilizationCoreShear, q*radius/2/14/(0.55*1.07), 0.02*r[0].UtilizationCoreShear)
	// the inner skin in tension, 42.5 MPa, is used more than the outer in compression
	if r[0].Layer != 2 {
		t.Errorf("layer %d governs", r[0].Layer)
	}
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
