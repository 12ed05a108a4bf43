package derivation

import (
	"math"
	"strings"
	"testing"

	"hatchwright/service/shop"
)

// TestOpenLidByHand: the lid of 593 by 443 with corners of 56.5 is hinged aft. From
// the pin at its edge it reaches 593 mm and balances at 296.5. A hand of 100 N at the
// far edge turns with 59.3 N m; a gust of 17.1 m/s presses with 1.2 × 1.225 × 17.1²/2
// = 214.9 Pa on 0.2600 m2, 55.9 N, and turns with 16.6 N m: the hand it is. Each of
// two hinges bears (W + 100)/2 and, over its stop of 40 mm, the moments' half.
func TestOpenLidByHand(t *testing.T) {
	e := engine(t)
	out := derive(t, e, fitted(t))
	c := e.Complete(fitted(t))
	s := e.rule(&c)
	o := e.opened(&s, Aft)
	area := 593*443 - (4-math.Pi)*56.5*56.5
	near(t, "area", o.area, area, 1e-9*area)
	near(t, "reach", o.reach, 593, 1e-9)
	near(t, "middle", o.middle, 296.5, 1e-9)
	if w := out.Lid.Masses.Total * gravity; o.weight < w || o.weight > 1.15*w {
		t.Errorf("the open lid is taken for %v N, the part weighs %v", o.weight, w)
	}
	gust := 1.2 * 1.225 * 17.1 * 17.1 / 2 * area / 1e6
	near(t, "gust", o.gust(17.1), gust, 1e-9)
	rest := o.weight * 296.5 * -math.Cos(100*math.Pi/180)
	want := (o.weight+100)/2 + (rest+100*593)/(2*40)
	for _, p := range out.Hardware {
		if p.fitting.Kind == shop.Hinge {
			near(t, "load of a hinge", p.OpenLoad, want, 1e-6)
		} else if p.OpenLoad != 0 {
			t.Errorf("%s bears %v N of the open lid", p.Item, p.OpenLoad)
		}
	}

	// What the shop says of gust, hinge and stop decides.
	for name, c := range map[string]struct {
		change func(d *shop.Documents, f *shop.Fitting)
		code   string
		limit  float64 // N; 0: no such finding
	}{
		"as it is":          {func(*shop.Documents, *shop.Fitting) {}, "hardware.overloaded_open", 0},
		"holds":             {func(*shop.Documents, *shop.Fitting) {}, "hardware.lid_falls", 0},
		"weak":              {func(_ *shop.Documents, f *shop.Fitting) { f.WorkingLoad = want - 1 }, "hardware.overloaded_open", want - 1},
		"just strong":       {func(_ *shop.Documents, f *shop.Fitting) { f.WorkingLoad = want + 1 }, "hardware.overloaded_open", 0},
		"not rated":         {func(_ *shop.Documents, f *shop.Fitting) { f.WorkingLoad = 0; f.StopArm = 1 }, "hardware.overloaded_open", 0},
		"short stop":        {func(_ *shop.Documents, f *shop.Fitting) { f.StopArm = 20 }, "hardware.overloaded_open", 900},
		"no stop":           {func(_ *shop.Documents, f *shop.Fitting) { f.StopArm = 0; f.WorkingLoad = 100 }, "hardware.overloaded_open", 0},
		"heavy hand":        {func(d *shop.Documents, _ *shop.Fitting) { d.Profile.OpenLid.HandForce = 400 }, "hardware.overloaded_open", 900},
		"storm on the stop": {func(d *shop.Documents, _ *shop.Fitting) { d.Profile.OpenLid.GustSpeed = 45 }, "hardware.overloaded_open", 900},
		"storm":             {func(d *shop.Documents, _ *shop.Fitting) { d.Profile.OpenLid.GustSpeed = 20 }, "hardware.lid_falls", 2 * 10_000 / 593.0},
		"lying back":        {func(d *shop.Documents, _ *shop.Fitting) { d.Profile.OpenLid.Angle = 175 }, "hardware.lid_falls", 2 * 10_000 / 593.0},
		"turns freely":      {func(d *shop.Documents, f *shop.Fitting) { d.Profile.OpenLid.GustSpeed = 25; f.HoldTorque = 0 }, "hardware.lid_falls", 0},
	} {
		d := shop.Example()
		for i := range d.Materials.Hardware {
			if f := &d.Materials.Hardware[i]; f.Key == "friction hinge" {
				c.change(&d, f)
			}
		}
		e, err := New(d)
		if err != nil {
			t.Fatal(err)
		}
		f := find(e.Check(fitted(t)).Findings, c.code)
		switch {
		case c.limit == 0 && f != nil:
			t.Errorf("%s: %s", name, f.Message(0))
		case c.limit > 0 && f == nil:
			t.Errorf("%s: no %s", name, c.code)
		case f != nil:
			near(t, name, f.Limit.Magnitude, c.limit, 1e-9)
			if f.Measured.Magnitude <= f.Limit.Magnitude || f.Pointer != "/hardware/0/item" || len(f.Mends) == 0 || !strings.Contains(f.Message(0), "Open at 1") {
				t.Errorf("%s: %+v %s", name, f, f.Message(0))
			}
		}
	}
}

// TestOpenLidMends: a hinge at the long edge is reached less far; each mend told
// holds.
func TestOpenLidMends(t *testing.T) {
	d := shop.Example()
	d.Profile.OpenLid.HandForce = 140
	e, err := New(d)
	if err != nil {
		t.Fatal(err)
	}
	r := fitted(t)
	f := find(e.Check(r).Findings, "hardware.overloaded_open")
	if f == nil {
		t.Fatal("140 N at 593 mm is borne")
	}
	told := map[string]bool{}
	for _, m := range f.Mends {
		told[m.Pointer+" "+m.Word] = true
		again := r
		again.Configuration = again.Configuration.Clone()
		if again.SetWord(m.Pointer, m.Word) != nil {
			t.Fatalf("%+v cannot be set", m)
		}
		if f := find(e.Check(again).Findings, "hardware.overloaded_open"); f != nil {
			t.Errorf("%+v: %s", m, f.Message(0))
		}
	}
	d.Profile.OpenLid = shop.OpenLid{GustSpeed: 19}
	if e, err = New(d); err != nil {
		t.Fatal(err)
	}
	falls := find(e.Check(r).Findings, "hardware.lid_falls")
	if falls == nil || len(falls.Mends) == 0 {
		t.Fatalf("19 m/s: %+v", falls)
	}
	for _, m := range falls.Mends {
		if m.Word == "strap hinge" {
			t.Error("a hinge that turns freely is told to hold the lid")
		}
	}
	if !told["/hardware/0/edge "+Port] || !told["/hardware/0/item strap hinge"] || told["/hardware/0/edge "+Fore] {
		t.Errorf("mends %v", told)
	}
}
