package derivation

import (
	"errors"
	"math"
	"slices"
	"testing"

	"hatchwright/service/bill"
	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/shop"
)

func near(t testing.TB, name string, got, want, relative float64) {
	t.Helper()
	if math.Abs(got-want) > relative*math.Max(math.Abs(want), 1e-9) {
		t.Errorf("%s %v, want %v", name, got, want)
	}
}

func derive(t testing.TB, e *Engine, r part.Request) Result {
	t.Helper()
	out, err := e.Derive(r, monday)
	if err != nil {
		t.Fatal(err)
	}
	if !out.Makeable() {
		for _, f := range out.Findings {
			t.Log(f.Code, f.Message(r.Units))
		}
		t.Fatal("not makeable")
	}
	return out
}

// fitted is a hatch with hinges and a latch, as asked for.
func fitted(t testing.TB) part.Request {
	r := ask(t, rectangle(600, 450, 60))
	r.Hardware = []part.Hardware{{Item: "friction hinge", Edge: Aft, Count: 2}, {Item: "flush latch", Edge: Fore, Count: 1}}
	r.Given["/hardware"] = true
	return r
}

// TestHardwareByHand: the lid is 593 by 443 with corners of 56.5. Inside 18 mm the
// aft edge's straight is 443 - 36 - 2 × 38.5 = 330; two hinges of 70 leave 190, half
// of 95 at either end: middles at ±82.5; their line is 296.5 - 18 - 19 = 259.5 aft.
// The latch stands 296.5 - 42 - 27 = 227.5 forward, so it bears 259.5/487 of the
// seal and each hinge half of the rest.
func TestHardwareByHand(t *testing.T) {
	e := engine(t)
	out := derive(t, e, fitted(t))
	if len(out.Hardware) != 3 {
		t.Fatalf("placed %+v", out.Hardware)
	}
	seal := 0.25 * out.Geometry.Outlines.Trunk.Perimeter() // the default compression is the one of the force
	for _, p := range out.Hardware {
		switch p.Edge {
		case Aft:
			near(t, "hinge x", p.At.X, -259.5, 1e-9)
			near(t, "hinge y", math.Abs(p.At.Y), 82.5, 1e-9)
			near(t, "hinge load", p.Load, seal*(1-259.5/487)/2, 1e-9)
		case Fore:
			near(t, "latch x", p.At.X, 227.5, 1e-9)
			near(t, "latch y", p.At.Y+1, 1, 1e-9)
			near(t, "latch load", p.Load, seal*259.5/487, 1e-9)
		}
	}
}

// TestHardwareStaysOnTheLid: whatever the shape and edge, a cut-out that is placed
// lies inside the lid by its edge distance, and those of one edge keep their
// spacing.
func TestHardwareStaysOnTheLid(t *testing.T) {
	e := engine(t)
	shapes := []map[string]any{
		rectangle(700, 500, 40), {"/outline/shape": part.Circle, "/outline/diameter": 620.0}, {"/outline/shape": part.Obround, "/outline/length": 800.0, "/outline/width": 450.0},
		{"/outline/shape": part.Dee, "/outline/length": 700.0, "/outline/width": 520.0, "/outline/corner_radius": 60.0},
		{"/outline/shape": part.Taper, "/outline/length": 700.0, "/outline/width_aft": 600.0, "/outline/width_fwd": 400.0, "/outline/corner_radius": 60.0},
	}
	placed, refused := 0, 0
	for _, figures := range shapes {
		for _, item := range []string{"flush latch", "friction hinge", "strap hinge", "ring pull"} {
			for _, edge := range []string{Fore, Aft, Port, Starboard} {
				for count := 1; count <= 4; count++ {
					r := ask(t, figures)
					r.Hardware = []part.Hardware{{Item: item, Edge: edge, Count: count}}
					c := e.Complete(r)
					s := e.rule(&c)
					if f := find(s.findings, "hardware.does_not_fit"); f != nil {
						refused++
						if len(s.hardware) != 0 || f.Measured.Magnitude >= f.Limit.Magnitude {
							t.Fatalf("%d %s on %s: %+v", count, item, edge, f)
						}
						continue
					}
					if len(s.hardware) != count {
						t.Fatalf("%d of %d placed", len(s.hardware), count)
					}
					f, _ := e.docs.Materials.Fitting(item)
					for i, p := range s.hardware {
						placed++
						low, high := p.box()
						for _, q := range []outline.Point{low, high, {X: low.X, Y: high.Y}, {X: high.X, Y: low.Y}} {
							if d := -s.geometry.Outlines.Lid.Distance(q); d < f.EdgeDistance-1e-5 {
								t.Fatalf("%d %s on %s of %v: a corner %v from the edge, %v is the least", count, item, edge, figures, d, f.EdgeDistance)
							}
						}
						if p.Distance > f.EdgeDistance+f.Reach+1e-9 {
							t.Fatalf("%s stands %v in", item, p.Distance)
						}
						if i > 0 {
							q := s.hardware[i-1]
							if apart := math.Hypot(p.At.X-q.At.X, p.At.Y-q.At.Y) - p.Length; apart < f.Spacing-1e-5 {
								t.Fatalf("%s %v apart, %v is the least", item, apart, f.Spacing)
							}
						}
					}
				}
			}
		}
	}
	if placed < 100 || refused < 5 {
		t.Errorf("%d placed, %d refused: the cases say little", placed, refused)
	}
}

// TestMassBalance: the parts of each mass add up, and are what areas and data
// sheets say; mixes hold the resin of the stages, the bill holds the mixes.
func TestMassBalance(t *testing.T) {
	e := engine(t)
	r := fitted(t)
	r.Quantity, r.Given["/quantity"] = 3, true
	out := derive(t, e, r)
	const closes = 1e-9
	for name, l := range map[string]*Laminate{"lid": &out.Lid, "receiver": &out.Receiver} {
		m := l.Masses
		near(t, name+" total", m.Total, m.Laminate+m.Core+m.Gelcoat+m.Pads+m.Hardware, closes)
		near(t, name+" mass", l.Mass, m.Total-m.Hardware, closes)
		area := l.Area
		if name == "lid" {
			area -= 2*70*38 + 76*54
		}
		plies := 0.0
		for _, row := range l.Rows {
			// Mat at 30 %, the fabric at its own fraction.
			plies += row.ArealMass/1000/row.GlassFraction + row.MatMass/1000/0.30
		}
		near(t, name+" laminate", m.Laminate, plies*area*1e-6, closes)
		near(t, name+" gelcoat", m.Gelcoat, 1250*0.5e-3*area*1e-6, closes)
		resin := 0.0
		for _, mix := range out.Mixes {
			switch {
			case string(mix.Part) == name && mix.Stage > 0:
				resin += mix.Mass
			case string(mix.Part) == name && mix.Stage == MixGelcoat:
				near(t, name+" gelcoat mix", mix.Mass, l.GelcoatMass/0.70, closes)
			}
			near(t, mix.What+" batches", float64(mix.Batches)*mix.BatchMass, mix.Mass, closes)
			// At 1160 kg/m3 (the filler's hardener at 1180).
			density := 1160.0
			if mix.Stage == MixFiller {
				density = 1180
			}
			near(t, mix.What+" mL", mix.CatalystML, mix.Mass*mix.CatalystPercent/100/density*1e6, closes)
		}
		near(t, name+" stages", resin, l.ResinMass*1.10, closes)
	}
	near(t, "hardware", out.Lid.Masses.Hardware, 2*0.18+0.24, closes)
	near(t, "pads", out.Lid.Masses.Pads, 0.450/0.30*1e-6*3*(2*(110*75-70*38)+130*110-76*54), closes)

	sum := map[string]float64{}
	for _, l := range out.Bill.Lines {
		sum[l.Key] += l.Net
		if l.From == "" || l.Net <= 0 {
			t.Errorf("line %+v has no trace or no quantity", l)
		}
	}
	near(t, "catalyst of the bill", sum["peroxide catalyst"], 3*out.CatalystMass(), closes)
	near(t, "resin of the bill", sum[out.Lid.Resin.Key], 3*(out.Lid.ResinMass+out.Receiver.ResinMass+0.450*0.7/0.3*out.Lid.PadPlyArea*1e-6), closes)
	glass := 0.0
	for key, net := range sum {
		if row, ok := e.docs.Materials.Ply(key); ok {
			glass += net * (row.ArealMass + row.MatMass) / 1000
		}
	}
	near(t, "glass of the bill", glass, 3*(out.Lid.GlassMass+out.Receiver.GlassMass+0.450*out.Lid.PadPlyArea*1e-6), closes)
}

// TestRollsCoverTheGlass: what is cut from the roll is at least what is laid, at
// least the bound, and no longer than one piece after another.
func TestRollsCoverTheGlass(t *testing.T) {
	e := engine(t)
	for _, size := range [][2]float64{{300, 260}, {560, 410}, {1300, 900}, {1700, 1500}} {
		for _, quantity := range []float64{1, 2, 7, 50} {
			r := ask(t, rectangle(size[0], size[1], 80))
			r.Quantity, r.Given["/quantity"] = quantity, true
			r.Laminate.Schedule, r.Given["/laminate/schedule"] = part.ScheduleAuto, true
			out, err := e.Derive(r, monday)
			if err != nil || !out.Makeable() {
				t.Fatalf("%v: %v %+v", size, err, out.Findings)
			}
			rolls := 0
			for _, l := range out.Bill.Lines {
				if l.Roll == nil {
					continue
				}
				rolls++
				if l.Gross < l.Net || l.Roll.Length < l.Roll.Bound-1e-6 || l.Roll.Pieces < int(quantity) {
					t.Errorf("%v × %v: line %+v roll %+v", size, quantity, l, *l.Roll)
				}
				if l.Gross > 4*l.Net {
					t.Errorf("%v × %v: %s: %v m2 for %v", size, quantity, l.Key, l.Gross, l.Net)
				}
			}
			if rolls == 0 {
				t.Error("no glass comes from a roll")
			}
		}
	}
}

// TestScale: with every length of hatch, shop and sheets doubled, areas are four
// times and volumes eight times as large. Plies keep their thickness; the core's
// edge keeps its fixed setback.
func TestScale(t *testing.T) {
	small := map[string]any{}
	for pointer, x := range map[string]any{
		"/outline/shape": part.Dee, "/outline/length": 520.0, "/outline/width": 420.0, "/outline/corner_radius": 90.0,
		"/receiver/recess_depth": 22.0, "/receiver/ledge_width": 32.0, "/receiver/trunk_height": 40.0, "/receiver/flange_width": 50.0, "/receiver/edge_radius": 9.5,
		"/receiver/root_radius": 6.0, "/receiver/lip_radius": 6.0, "/receiver/draft_deg": 1.0, "/receiver/trunk_draft_deg": 2.0, "/receiver/fitting_clearance": 3.0,
		"/lid/gap": 3.5, "/lid/edge_radius": 9.5, "/lid/draft_deg": 1.0, "/lid/land_width": 0.0, "/seal/thickness": 6.0, "/seal/width": 14.0, "/deck/thickness": 25.0, "/lid/core": "balsa-150-12",
		"/duty/kind": part.NoStep, // twice as large a lid of the same plies bears no step
	} {
		small[pointer] = x
	}
	large := map[string]any{}
	for pointer, x := range small {
		if p := part.At(pointer); p.IsLength() {
			x = 2 * x.(float64)
		}
		large[pointer] = x
	}
	d := shop.Example()
	d.Profile.LargestSide *= 2
	k := &d.Profile.Tooling
	for _, x := range []*float64{&k.BaseMargin, &k.BaseThickness, &k.TrimAllowance, &k.SheetTolerance, &k.CavityMargin, &k.RimRadius, &k.PlyOverrun} {
		*x *= 2
	}
	for i := range d.Profile.Sheets {
		d.Profile.Sheets[i].Thickness *= 2
	}
	twice, err := New(d)
	if err != nil {
		t.Fatal(err)
	}
	a, b := derive(t, engine(t), ask(t, small)), derive(t, twice, ask(t, large))
	const closes = 1e-9
	for name, pair := range map[string][2]float64{
		"lid area": {a.Lid.Area, b.Lid.Area}, "receiver area": {a.Receiver.Area, b.Receiver.Area}, "lid laid": {a.Lid.LaidArea, b.Lid.LaidArea},
		"receiver laid": {a.Receiver.LaidArea, b.Receiver.LaidArea}, "receiver gelcoat": {a.Receiver.Masses.Gelcoat, b.Receiver.Masses.Gelcoat},
		"receiver laminate": {a.Receiver.Masses.Laminate, b.Receiver.Masses.Laminate}, "lid glass": {a.Lid.GlassMass, b.Lid.GlassMass},
		"panel": {a.Lid.Panel.A * a.Lid.Panel.B, b.Lid.Panel.A * b.Lid.Panel.B},
	} {
		near(t, name, pair[1], 4*pair[0], closes)
	}
	for i := range a.Molds {
		near(t, string(a.Molds[i].Part)+" MDF", b.Molds[i].MDFVolume, 8*a.Molds[i].MDFVolume, closes)
		near(t, string(a.Molds[i].Part)+" filler", b.Molds[i].FillerVolume, 8*a.Molds[i].FillerVolume, closes)
	}
	lid, err := a.Geometry.Outlines.Lid.Scale(2)
	if err != nil {
		t.Fatal(err)
	}
	inner, err := lid.Offset(-part.CoreSetback)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "core area", b.Lid.CoreArea, inner.Area(), closes)
	near(t, "core mass", b.Lid.Masses.Core, (150*0.012+1.2)*inner.Area()*1e-6, closes)
	near(t, "receiver z", b.Receiver.Masses.Z, 2*a.Receiver.Masses.Z, closes)
	near(t, "receiver x", b.Receiver.Masses.X, 2*a.Receiver.Masses.X, closes)
}

// TestBalance holds the center of gravity against sums over finely sampled curves:
// polygons of a thousand corners, sections in a thousand steps.
func TestBalance(t *testing.T) {
	e := engine(t)
	for name, figures := range map[string]map[string]any{
		"rectangle": rectangle(560, 410, 60),
		"dee":       {"/outline/shape": part.Dee, "/outline/length": 600.0, "/outline/width": 500.0, "/outline/corner_radius": 70.0},
		"taper":     {"/outline/shape": part.Taper, "/outline/length": 640.0, "/outline/width_aft": 560.0, "/outline/width_fwd": 380.0, "/outline/corner_radius": 70.0},
	} {
		out := derive(t, e, ask(t, figures))
		var sum, x, y, z float64
		add := func(m, mx, my, mz float64) { sum, x, y, z = sum+m, x+mx, y+my, z+mz }
		for _, band := range out.Geometry.Receiver.Bands {
			p := band.Profile.Sample(1e-3)
			for i := 1; i < len(p); i++ {
				n, ds := (p[i].N+p[i-1].N)/2, math.Hypot(p[i].N-p[i-1].N, p[i].Z-p[i-1].Z)
				o, err := band.Round.Offset(n)
				if err != nil {
					t.Fatal(err)
				}
				q := o.Sample(1e-3)
				for j := range q {
					a, b := q[j], q[(j+1)%len(q)]
					m := ds * math.Hypot(b.X-a.X, b.Y-a.Y)
					add(m, m*(a.X+b.X)/2, m*(a.Y+b.Y)/2, m*(p[i].Z+p[i-1].Z)/2)
				}
			}
		}
		near(t, name+" area", sum, out.Geometry.Receiver.Area, 1e-3)
		m := out.Receiver.Masses
		for axis, pair := range map[string][2]float64{"x": {m.X, x / sum}, "y": {m.Y, y / sum}, "z": {m.Z, z / sum}} {
			if math.Abs(pair[0]-pair[1]) > 0.05 {
				t.Errorf("%s: receiver's %s %v, want %v", name, axis, pair[0], pair[1])
			}
		}
		// The quadrature gives back the exact area.
		var b balance
		if err := b.surface(out.Geometry.Receiver.Bands, nil, out.Configuration.Outline.Even()); err != nil {
			t.Fatal(err)
		}
		if len(out.Geometry.Receiver.Bands) == 1 {
			near(t, name+" quadrature", b.m, out.Geometry.Receiver.Area, 1e-6)
		}
		if l := out.Lid.Masses; !(l.Z > 0 && l.Z < out.Geometry.SkirtHeight) {
			t.Errorf("%s: the lid balances at %v", name, l.Z)
		}
	}
	// A half disc balances 4 r/(3 pi) from its straight side, a half circle's curve
	// with its diameter at 2 r²/(pi r + 2 r) (any handbook).
	half, err := outline.Dee(250.0001, 500, 0)
	if err != nil {
		t.Fatal(err)
	}
	low, _ := half.Bounds()
	near(t, "half disc", areaCenter(half).X-low.X, 4*250/(3*math.Pi), 1e-5)
	l, mx, _ := curveMoments(half)
	near(t, "half circle", mx/l-low.X, 2*250*250/(math.Pi*250+500), 1e-5)
}

// TestSeatLoad: a force in the middle of a seat far smaller than its disc is spread
// evenly; a pressure is, always; a force at a corner of a square follows from the
// formula worked by hand: L = 1600, I = 2/3 400³, e = 125:
//
//	1962 (1/1600 + 2 × 125 × 200/42666666.7) = 3.5255 N/mm
func TestSeatLoad(t *testing.T) {
	step := []laminate.Case{{Force: 1962, Radius: 75, Strength: true}}
	near(t, "square", seatLoad(laminate.Panel{A: 400, B: 400}, step, 0), 1962*(1.0/1600+2*125*200/(2.0/3*400*400*400)), 1e-12)
	near(t, "middle", seatLoad(laminate.Panel{A: 140, B: 140}, step, 0.3), 0.3+1962.0/560, 1e-12)
	near(t, "round middle", seatLoad(laminate.Panel{Radius: 70}, step, 0), 1962/(2*math.Pi*70), 1e-12)
	near(t, "pressure", seatLoad(laminate.Panel{A: 500, B: 300}, []laminate.Case{{Pressure: 0.005, Strength: true}}, 0), 0.005*500*300/1600, 1e-12)
	if got := seatLoad(laminate.Panel{A: 400, B: 400}, []laminate.Case{{Force: 981, Radius: 75, Limit: 0.01}}, 0.1); got != 0.1 {
		t.Errorf("a case of stiffness loads the seat: %v", got)
	}
}

// TestLedgeStrip: a solid laminate of one kind of mat is a plain strip: 6 M/t².
func TestLedgeStrip(t *testing.T) {
	e := engine(t)
	figures := rectangle(560, 410, 60)
	figures["/laminate/schedule"], figures["/laminate/lid"] = part.ScheduleListed, []string{"mat-225", "stitched-806", "pvc-100-12", "stitched-806"}
	figures["/laminate/receiver"] = []string{"mat-225", "mat-450", "mat-450"}
	c := e.Complete(ask(t, figures))
	s := e.rule(&c)
	if len(s.receiver.Strips) != 2 {
		t.Fatalf("strips %+v", s.receiver.Strips)
	}
	// ISO 12215-5:2008 table C.4a: suf = 502 psi² + 107 at psi 0.30, half of it, untested 0.8.
	allowed := 0.5 * 0.8 * (502*0.09 + 107)
	thick := 1.125 / 3.072 * (2.56/0.30 - 1.36)
	for i, lever := range []float64{16, thick + 3} {
		k := s.receiver.Strips[i]
		near(t, k.Name+" lever", k.Lever, lever, 1e-9)
		near(t, k.Name+" stress", k.Stress, 6*k.Load*lever/(thick*thick), 1e-9)
		near(t, k.Name+" utilization", k.Utilization, k.Stress/allowed, 1e-9)
	}
	figures["/laminate/receiver"] = []string{"mat-225", "mat-225", "mat-225", "mat-225"}
	findings := e.Check(ask(t, figures)).Findings
	for _, code := range []string{"receiver.ledge_weak", "laminate.thin"} {
		f := find(findings, code)
		if f == nil || !slices.ContainsFunc(f.Mends, func(m finding.Mend) bool { return m.Pointer == "/laminate/receiver/3" }) {
			t.Errorf("%s of four light mats: %+v", code, f)
		}
	}
}

// TestMixesOverTemperature: warmer means less catalyst or a shorter gel, never an
// answer outside the tables, and mass does not depend on the temperature.
func TestMixesOverTemperature(t *testing.T) {
	e := engine(t)
	out := derive(t, e, fitted(t))
	if _, list, err := e.Mixes(&out, 12); err != nil || find(list, "laminate.too_cold") == nil {
		t.Errorf("12 °C: %+v, %v", list, err)
	}
	if _, list, err := e.Mixes(&out, 33); err != nil || find(list, "laminate.too_hot") == nil {
		t.Errorf("33 °C: %+v, %v", list, err)
	}
	before := math.Inf(1)
	for temperature := 16.0; temperature <= 30; temperature += 0.5 {
		mixes, list, err := e.Mixes(&out, temperature)
		if err != nil || len(list) > 0 || len(mixes) != len(out.Mixes) {
			t.Fatalf("%v °C: %v %+v", temperature, err, list)
		}
		percent := 0.0
		for i, m := range mixes {
			near(t, m.What, m.Mass, out.Mixes[i].Mass, 1e-12)
			if m.Stage == 1 && m.Part == "lid" {
				percent = m.CatalystPercent
			}
			if m.Batches < 1 || !(m.GelMinutes > 0) {
				t.Errorf("%v °C: %+v", temperature, m)
			}
		}
		if percent > before+1e-9 {
			t.Errorf("%v °C: %v %% of catalyst, %v when colder", temperature, percent, before)
		}
		before = percent
	}
}

// TestMissingPrices: what the price book lacks is a finding that names it.
func TestMissingPrices(t *testing.T) {
	for _, c := range []struct{ key, pointer string }{
		{"gelcoat white", "/gelcoat/color"}, {"general-purpose polyester", "/laminate/resin"}, {"balsa-150-12", "/lid/core"}, {"mat-225", "/laminate/schedule"},
		{"flush latch", "/hardware/1/item"}, {"seal strip", "/seal/width"}, {"peroxide catalyst", "/laminate/resin"}, {"body filler", "/pattern"},
		{"mdf-19", "/pattern"}, // known once the molds are
	} {
		d := shop.Example()
		delete(d.Prices.Prices, c.key)
		e, err := New(d)
		if err != nil {
			t.Fatal(err)
		}
		out, err := e.Derive(fitted(t), monday)
		var missing *bill.MissingPriceError
		if err != nil || errors.As(err, &missing) {
			t.Fatalf("%s: %v", c.key, err)
		}
		f := find(out.Findings, "price.missing")
		if f == nil || f.Pointer != c.pointer || out.Makeable() {
			t.Errorf("without a price of %q: %+v", c.key, f)
		}
	}
	// An automatic schedule leaves out what has no price, and says so.
	d := shop.Example()
	delete(d.Prices.Prices, "woven-610")
	e, err := New(d)
	if err != nil {
		t.Fatal(err)
	}
	figures := rectangle(560, 410, 60)
	figures["/laminate/schedule"] = part.ScheduleAuto
	out := derive(t, e, ask(t, figures))
	if !slices.Contains(out.Lid.Selection.Unpriced, "woven-610") || slices.Contains(out.Configuration.Laminate.Lid, "woven-610") {
		t.Errorf("selection %+v", out.Lid.Selection)
	}
}
