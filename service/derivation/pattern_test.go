package derivation

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/part"
)

// TestPatternsDeriveWithAutomaticSchedules: whatever the pattern, basis and duty,
// a makeable hatch has checks that pass, finite masses that add up, a center of
// gravity within the part, and asks for the same again when it is given back.
func TestPatternsDeriveWithAutomaticSchedules(t *testing.T) {
	e := engine(t)
	rng := rand.New(rand.NewPCG(3, 5))
	made := map[part.Pattern]int{}
	for trial := range 120 {
		pattern := part.Patterns[trial%4]
		figures := rectangle(math.Round(380+500*rng.Float64()), math.Round(340+300*rng.Float64()), 80)
		figures["/pattern"] = pattern
		figures["/laminate/schedule"] = part.ScheduleAuto
		if pattern == part.FlushGutter {
			figures["/receiver/recess_depth"] = 18.0 // a core of 12 mm, its skins and the seal: the default knows no stack yet
		}
		figures["/laminate/prefer"] = []string{part.PreferCost, part.PreferMass}[rng.IntN(2)]
		figures["/duty/kind"] = []string{part.NoStep, part.Step, part.WorkingDeck}[rng.IntN(3)]
		figures["/size_basis"] = []string{part.BasisRecess, part.BasisLid, part.BasisClearOpening, part.BasisDeckCutout}[rng.IntN(4)]
		r := ask(t, figures)
		out, err := e.Derive(r, monday)
		if err != nil {
			t.Fatalf("%v: %v", figures, err)
		}
		if !out.Makeable() {
			continue
		}
		made[pattern]++
		if len(out.Lid.Checks) == 0 || !(out.Lid.Checks[laminate.Worst(out.Lid.Checks)].Utilization() <= 1) {
			t.Fatalf("%v: checks %+v", figures, out.Lid.Checks)
		}
		if s := out.Lid.Selection; s == nil || s.Status != laminate.Optimal {
			t.Fatalf("%v: selection %+v", figures, s)
		}
		if !slices.Equal(out.Configuration.Laminate.Lid, out.Lid.keys()) {
			t.Fatalf("%v: shown %v, laid %v", figures, out.Configuration.Laminate.Lid, out.Lid.keys())
		}
		for name, l := range map[string]*Laminate{"lid": &out.Lid, "receiver": &out.Receiver} {
			m := l.Masses
			near(t, name, m.Total, m.Laminate+m.Core+m.Gelcoat+m.Pads+m.Hardware, 1e-9)
			if !(m.Total > 0) || math.Abs(m.X) > 1e-6 || math.Abs(m.Y) > 1e-6 || math.IsNaN(m.Z) || math.Abs(m.Z) > 300 {
				t.Fatalf("%v: %s %+v", figures, name, m)
			}
		}
		again := part.Request{Configuration: out.Configuration.Clone(), Given: map[string]bool{"/laminate/lid": true, "/laminate/receiver": true}}
		for i := range part.Parameters {
			if p := &part.Parameters[i]; p.Used(&out.Configuration) {
				again.Given[p.Pointer] = true
			}
		}
		if second := e.Check(again); second.Digest != out.Digest || find(second.Findings, "laminate.choice_changed") != nil {
			t.Fatalf("%v: given back it is another hatch: %+v", figures, second.Findings)
		}
	}
	for _, pattern := range part.Patterns {
		if made[pattern] < 5 {
			t.Errorf("%s: %d makeable of 30: the trial says little", pattern, made[pattern])
		}
	}
}

// TestStandardLidOfEveryPatternBearsAStep: the example shop's own schedule passes
// on common sizes.
func TestStandardLidOfEveryPatternBearsAStep(t *testing.T) {
	e := engine(t)
	for _, pattern := range part.Patterns {
		figures := rectangle(600, 450, 90)
		figures["/pattern"] = pattern
		for _, f := range e.Check(ask(t, figures)).Findings {
			if f.Severity == finding.Error {
				t.Errorf("%s: %s: %s", pattern, f.Code, f.Message(0))
			}
		}
	}
}

// TestExotherm: two products of mat in one ply are thicker than the resin may be
// laid at once.
func TestExotherm(t *testing.T) {
	d := engine(t).Documents()
	materials := *d.Materials
	materials.Reinforcements = slices.Clone(materials.Reinforcements)
	for i := range materials.Reinforcements {
		if materials.Reinforcements[i].Key == "mat-600" {
			materials.Reinforcements[i].ArealMass = 1800 // 4.2 mm, the limit is 4
		}
	}
	d.Materials = &materials
	e, err := New(d)
	if err != nil {
		t.Fatal(err)
	}
	figures := rectangle(560, 410, 60)
	figures["/laminate/schedule"] = part.ScheduleListed
	figures["/laminate/lid"], figures["/laminate/receiver"] = []string{"mat-225", "mat-600", "pvc-100-12", "mat-600"}, []string{"mat-225", "mat-450", "mat-450"}
	f := find(e.Check(ask(t, figures)).Findings, "laminate.ply_over_exotherm")
	if f == nil || f.Pointer != "/laminate/lid/1" {
		t.Fatalf("finding %+v", f)
	}
	near(t, "thickness", f.Measured.Magnitude, 1.8/3.072*(2.56/0.30-1.36), 1e-9)
}
