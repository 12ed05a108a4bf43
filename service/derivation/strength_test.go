package derivation

import (
	"math"
	"slices"
	"strings"
	"testing"

	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// TestPanel holds the span against rectangles worked by hand.
func TestPanel(t *testing.T) {
	e := engine(t)
	// A recess of 600 by 400 with square walls and a ledge of 30: 540 by 340.
	figures := rectangle(600, 400, 80)
	figures["/receiver/draft_deg"], figures["/receiver/ledge_width"] = 0.0, 30.0
	c := e.Complete(ask(t, figures))
	p := e.rule(&c).lid.Panel
	if math.Abs(p.A-540) > 1e-9 || math.Abs(p.B-340) > 1e-9 {
		t.Errorf("panel %v by %v, want 540 by 340", p.A, p.B)
	}
	// The same rectangle turned by 30 deg as a polygon: the same panel.
	sin, cos := math.Sincos(math.Pi / 6)
	var corners []outline.Corner
	for _, q := range [][2]float64{{-300, -200}, {300, -200}, {300, 200}, {-300, 200}} {
		corners = append(corners, outline.Corner{At: outline.Point{X: q[0]*cos - q[1]*sin, Y: q[0]*sin + q[1]*cos}, Radius: 80})
	}
	delete(figures, "/outline/length")
	delete(figures, "/outline/width")
	delete(figures, "/outline/corner_radius")
	figures["/outline/shape"], figures["/outline/corners"] = part.Polygon, corners
	c = e.Complete(ask(t, figures))
	p = e.rule(&c).lid.Panel
	if math.Abs(p.A-540) > 1e-6 || math.Abs(p.B-340) > 1e-6 {
		t.Errorf("turned panel %v by %v, want 540 by 340", p.A, p.B)
	}
	// A circle of 500: radius 250 - 30.
	c = e.Complete(ask(t, map[string]any{"/outline/shape": part.Circle, "/outline/diameter": 500.0, "/receiver/draft_deg": 0.0, "/receiver/ledge_width": 30.0}))
	if p = e.rule(&c).lid.Panel; math.Abs(p.Radius-220) > 1e-9 || p.A != 0 {
		t.Errorf("round panel %+v, want radius 220", p)
	}
}

// TestCircleAgainstClosedForm: a round panel is worked out as a round plate.
func TestCircleAgainstClosedForm(t *testing.T) {
	// Timoshenko and Woinowsky-Krieger, article 16: a round plate, simply supported,
	// under a uniform pressure bends by (5 + nu) p R^4/(64 (1 + nu) D), from memory.
	e := engine(t)
	c := e.Complete(ask(t, map[string]any{"/outline/shape": part.Circle, "/outline/diameter": 500.0, "/lid/core": part.NoCore,
		"/duty/kind": part.Custom, "/duty/pressure": 2.0, "/duty/point_load": 0.0, "/duty/deflection_factor": 1.0}))
	s := e.rule(&c)
	if len(s.lid.Checks) != 2 {
		t.Fatalf("checks %+v, findings %+v", s.lid.Checks, s.findings)
	}
	section, err := s.lid.Stack.Section(laminate.UntestedFactor)
	if err != nil {
		t.Fatal(err)
	}
	r := s.lid.Panel.Radius
	want := laminate.PlateFactor * 5.3 * 0.002 * math.Pow(r, 4) / (64 * 1.3 * section.D(0.3))
	if got := s.lid.Checks[0].Deflection; math.Abs(got-want) > 1e-9*want {
		t.Errorf("deflection %v, want %v", got, want)
	}
}

// TestOverloadedIsMended: a lid of one light mat does not bear a step; the
// automatic schedule does, and what it chose passes when it is listed.
func TestOverloadedIsMended(t *testing.T) {
	e := engine(t)
	figures := rectangle(700, 500, 60)
	figures["/laminate/schedule"], figures["/laminate/lid"], figures["/laminate/receiver"] = part.ScheduleListed, []string{"mat-225"}, []string{"mat-225", "mat-450", "mat-450"}
	ruling := e.Check(ask(t, figures))
	f := find(ruling.Findings, "laminate.overloaded")
	if f == nil || f.Severity != finding.Error || !(f.Measured.Magnitude > 1) {
		t.Fatalf("a single mat passes: %+v", ruling.Findings)
	}
	for _, m := range f.Mends {
		if m.Pointer == "/duty/kind" {
			t.Error("a lighter duty is no mend")
		}
	}
	if !slices.ContainsFunc(f.Mends, func(m finding.Mend) bool { return m.Pointer == "/laminate/schedule" && m.Word == part.ScheduleAuto }) {
		t.Fatalf("no automatic schedule among the mends %+v", f.Mends)
	}
	figures["/laminate/schedule"] = part.ScheduleAuto
	delete(figures, "/laminate/lid")
	delete(figures, "/laminate/receiver")
	r := ask(t, figures)
	auto := e.Check(r)
	if auto.Verdict == finding.NotMakeable {
		t.Fatalf("auto: %+v", auto.Findings)
	}
	figures["/laminate/schedule"] = part.ScheduleListed
	figures["/laminate/lid"], figures["/laminate/receiver"] = auto.Configuration.Laminate.Lid, auto.Configuration.Laminate.Receiver
	if listed := e.Check(ask(t, figures)); listed.Verdict == finding.NotMakeable {
		t.Fatalf("what was chosen does not pass when listed: %+v", listed.Findings)
	}
	// Given back complete, the automatic schedule says the same.
	again := part.Request{Configuration: auto.Configuration, Given: map[string]bool{}}
	for i := range part.Parameters {
		if p := &part.Parameters[i]; p.Used(&auto.Configuration) {
			again.Given[p.Pointer] = true
		}
	}
	again.Given["/laminate/lid"], again.Given["/laminate/receiver"] = true, true
	if list := part.Misplaced(again, &auto.Configuration); len(list) > 0 {
		t.Errorf("misplaced %v", list)
	}
	second := e.Check(again)
	if second.Digest != auto.Digest || find(second.Findings, "laminate.choice_changed") != nil {
		t.Errorf("the completed configuration given back: %+v", second.Findings)
	}
	again.Laminate.Lid = []string{"mat-225"}
	if find(e.Check(again).Findings, "laminate.choice_changed") == nil {
		t.Error("plies that are not chosen any more are not told")
	}
}

// TestAutoIsLeast: no core key alone gives a cheaper lid than the free choice, and
// the lightest is no heavier than the cheapest.
func TestAutoIsLeast(t *testing.T) {
	e := engine(t)
	for _, size := range [][2]float64{{350, 300}, {560, 410}, {900, 600}, {1500, 900}} {
		figures := rectangle(size[0], size[1], 60)
		figures["/laminate/schedule"] = part.ScheduleAuto
		c := e.Complete(ask(t, figures))
		free := e.rule(&c).lid.Selection
		if free == nil || free.Status != laminate.Optimal {
			t.Fatalf("%v: %+v", size, free)
		}
		figures["/laminate/prefer"] = part.PreferMass
		c = e.Complete(ask(t, figures))
		if light := e.rule(&c).lid.Selection; light.Mass > free.Mass || light.Cost < free.Cost {
			t.Errorf("%v: light %+v, cheap %+v", size, light, free)
		}
		figures["/laminate/prefer"] = part.PreferCost
		for _, core := range e.coreWords(false) {
			figures["/lid/core"] = core
			c = e.Complete(ask(t, figures))
			s := e.rule(&c)
			if s.lid.Selection == nil {
				continue // none passes with this core
			}
			if s.lid.Selection.Cost < free.Cost*(1-1e-12) {
				t.Errorf("%v: %s costs %v, the free choice %v", size, core, s.lid.Selection.Cost, free.Cost)
			}
			got := part.NoCore
			if s.lid.Core != nil {
				got = s.lid.Core.Key
			}
			if got != core {
				t.Errorf("%v: core %s asked for, %s chosen", size, core, got)
			}
		}
	}
}

// TestNoSchedule: a load that nothing stocked bears names the best utilization.
func TestNoSchedule(t *testing.T) {
	e := engine(t)
	figures := rectangle(900, 700, 60)
	figures["/laminate/schedule"], figures["/duty/kind"], figures["/duty/pressure"], figures["/duty/point_load"] = part.ScheduleAuto, part.Custom, 900.0, 0.0
	ruling := e.Check(ask(t, figures))
	f := find(ruling.Findings, "laminate.no_schedule")
	if f == nil || !(f.Measured.Magnitude > 1) || math.IsInf(f.Measured.Magnitude, 0) {
		t.Fatalf("findings %+v", ruling.Findings)
	}
}

// TestContractConfiguration is the configuration that the contract shows.
func TestContractConfiguration(t *testing.T) {
	e := engine(t)
	r := contract(t)
	ruling := e.Check(r)
	for _, f := range ruling.Findings {
		// The shop's own least gap is its default; the rest of the document passes.
		if f.Severity == finding.Error && f.Code != "fit.gap_closes" {
			t.Errorf("%s: %s", f.Code, f.Message(0))
		}
	}
	if len(ruling.Configuration.Laminate.Lid) == 0 {
		t.Error("what was chosen is not shown")
	}
}

func contract(t testing.TB) part.Request {
	figures := rectangle(520, 380, 60)
	for pointer, v := range map[string]any{
		"/size_basis": "recess", "/receiver/recess_depth": 19.0, "/receiver/ledge_width": 28.0, "/receiver/trunk_height": 38.0, "/receiver/flange_width": 45.0,
		"/receiver/edge_radius": 9.5, "/receiver/root_radius": 6.0, "/receiver/lip_radius": 6.0, "/receiver/draft_deg": 1.0,
		"/lid/gap": 3.2, "/lid/edge_radius": 9.5, "/lid/draft_deg": 1.0, "/lid/core": "auto",
		"/seal/thickness": 4.0, "/seal/width": 12.0, "/seal/compression": 0.4,
		"/deck/thickness": 22.0, "/deck/camber_radius": 9000.0, "/deck/depth_below": 300.0,
		"/duty/kind": "step", "/duty/waterline_length": 6800.0,
		"/laminate/resin": "general-purpose vinylester", "/laminate/schedule": "auto", "/laminate/prefer": "cost",
		"/gelcoat/color": "white", "/gelcoat/surface": "smooth", "/quantity": 4.0, "/size_tolerance": 5.0,
	} {
		figures[pointer] = v
	}
	r := ask(t, figures)
	r.Hardware = []part.Hardware{{Item: "flush latch", Edge: "fore", Count: 1}, {Item: "friction hinge", Edge: "aft", Count: 2}}
	r.Given["/hardware"] = true
	return r
}

// TestTemperature: a cold or hot shop stops the laminate plan and says within
// what it would not.
func TestTemperature(t *testing.T) {
	for _, c := range []struct {
		temperature float64
		codes       []string
	}{
		{21, nil},
		{15, []string{"gelcoat.too_cold"}}, // polyester's table starts at 15, gelcoat's at 16
		{10, []string{"gelcoat.too_cold", "laminate.too_cold", "mold.filler.too_cold"}},
		{34, []string{"gelcoat.too_hot", "laminate.too_hot", "mold.filler.too_hot"}},
	} {
		d := shop.Example()
		d.Profile.ShopTemperature = c.temperature
		e, err := New(d)
		if err != nil {
			t.Fatal(err)
		}
		ruling := e.Check(ask(t, rectangle(560, 410, 55)))
		var got []string
		for _, f := range ruling.Findings {
			if f.Severity == finding.Error {
				got = append(got, f.Code)
			}
		}
		if !slices.Equal(got, c.codes) {
			t.Errorf("%v °C: %v, want %v", c.temperature, got, c.codes)
		}
	}
}

// TestBarrierIsMended: fabric or heavy mat against the gelcoat is told with what there
// is and what may be, in kg/m2; each mat told mends it.
func TestBarrierIsMended(t *testing.T) {
	e := engine(t)
	for first, mass := range map[string]float64{"woven-610": 0.610, "mat-450": 0.450} {
		r := ask(t, rectangle(560, 410, 70))
		r.Laminate.Schedule, r.Given["/laminate/schedule"] = part.ScheduleListed, true
		r.Laminate.Lid, r.Given["/laminate/lid"] = []string{first, "stitched-806", "balsa-150-12", "stitched-806"}, true
		r.Laminate.Receiver, r.Given["/laminate/receiver"] = []string{"mat-225", "mat-450", "mat-450"}, true
		f := find(e.Check(r).Findings, "laminate.no_barrier")
		if f == nil || f.Pointer != "/laminate/lid/0" || len(f.Mends) != 2 {
			t.Fatalf("%s: %+v", first, f)
		}
		near(t, "measured", f.Measured.Magnitude, mass, 1e-12)
		near(t, "limit", f.Limit.Magnitude, 0.300, 1e-12)
		if !strings.Contains(f.Message(0), "0.3 kg per square meter") {
			t.Error(f.Message(0))
		}
	}
}

// TestCatalystOutOfRange: a product that permits no percent of its own table is told,
// with both, and nothing is mixed.
func TestCatalystOutOfRange(t *testing.T) {
	for name, c := range map[string]struct {
		change          func(d *shop.Documents)
		code, says      string
		measured, limit float64
	}{
		"above the table": {func(d *shop.Documents) {
			k := &d.Materials.Resins[0].Catalyzed
			k.LeastPercent, k.MostPercent = 2.9, 3
		}, "laminate.catalyst", "takes 2.9 % to 3 % of catalyst; at 21 °C its table has gel times of 1 % to 2.5 %", 2.5, 2.9},
		"below the table": {func(d *shop.Documents) {
			k := &d.Materials.Gelcoats[0].Catalyzed
			k.LeastPercent, k.MostPercent = 0.5, 1
		}, "gelcoat.catalyst", "takes 0.5 % to 1 % of catalyst; at 21 °C its table has gel times of 1.2 % to 3 %", 1.2, 1},
		"forbidden there": {func(d *shop.Documents) {
			k := &d.Materials.Resins[0].Catalyzed
			k.GelMinutes = slices.Clone(k.GelMinutes)
			k.GelMinutes[2], k.GelMinutes[3] = []float64{0, 0, 0, 0}, []float64{0, 0, 0, 0}
		}, "laminate.catalyst", "has no gel time at 21 °C in its table", 0, 1},
		"hardener": {func(d *shop.Documents) { d.Materials.Fillers[0].HardenerPercent = 5 }, "mold.filler.catalyst", "is set to 5 % of catalyst or hardener; it takes 1 % to 3 %", 5, 3},
	} {
		d := shop.Example()
		c.change(&d)
		e, err := New(d)
		if err != nil {
			t.Fatal(err)
		}
		out, err := e.Derive(ask(t, rectangle(560, 410, 55)), monday)
		if err != nil {
			t.Fatal(err)
		}
		f := find(out.Findings, c.code)
		if f == nil || out.Makeable() || len(out.Mixes) > 0 {
			t.Fatalf("%s: %+v, %d mixes", name, f, len(out.Mixes))
		}
		if f.Measured.Magnitude != c.measured || f.Limit.Magnitude != c.limit || !strings.Contains(f.Message(0), c.says) {
			t.Errorf("%s: %v of %v: %s", name, f.Measured, f.Limit, f.Message(0))
		}
	}
}
