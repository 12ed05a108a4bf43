package derivation

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

func engine(t testing.TB) *Engine {
	t.Helper()
	e, err := New(shop.Example())
	if err != nil {
		t.Fatal(err)
	}
	return e
}

var monday = time.Date(2027, 2, 1, 12, 0, 0, 0, time.UTC) // an invented start, 07:00 in New York

// ask makes a request out of figures by pointer: numbers in mm and deg, words.
func ask(t testing.TB, figures map[string]any) part.Request {
	t.Helper()
	r := part.Request{Given: map[string]bool{}}
	r.Pattern = part.FlushLedge
	for pointer, v := range figures {
		var err error
		switch x := v.(type) {
		case float64:
			err = r.SetNumber(pointer, x)
		case part.Pattern:
			r.Pattern = x
		case string:
			err = r.SetWord(pointer, x)
		case []outline.Corner:
			r.Outline.Corners = x
		case []string:
			if pointer == "/laminate/lid" {
				r.Laminate.Lid = x
			} else {
				r.Laminate.Receiver = x
			}
		}
		if err != nil {
			t.Fatal(err)
		}
		r.Given[pointer] = true
	}
	return r
}

func rectangle(length, width, radius float64) map[string]any {
	return map[string]any{"/outline/shape": part.Rectangle, "/outline/length": length, "/outline/width": width, "/outline/corner_radius": radius}
}

func find(list []finding.Finding, code string) *finding.Finding {
	for i := range list {
		if list[i].Code == code {
			return &list[i]
		}
	}
	return nil
}

// TestFootStandOff holds the fit against figures worked by hand (common
// practice, no source): a recess 19.05 deep with square walls, a gap of 3.175
// and a root radius of 6.35.
//
//	stand-off at the ledge            6.35 > 3.175: the lid does not go down
//	least s that just lets it in      6.35 - sqrt(6.35² - (6.35 - 3.175)²) = 0.850738
//	least s that leaves 1.5 clear     6.35 - sqrt(6.35² - (6.35 - 1.675)²) = 2.052675 (see below)
func TestFootStandOff(t *testing.T) {
	d := shop.Example()
	d.Profile.Fit = shop.Fit{OddsCaution: 1, OddsError: 1} // the drawn gap alone
	e, err := New(d)
	if err != nil {
		t.Fatal(err)
	}
	figures := rectangle(600, 450, 60)
	for pointer, x := range map[string]float64{
		"/receiver/recess_depth": 19.05, "/receiver/draft_deg": 0, "/lid/draft_deg": 0, "/lid/gap": 3.175,
		"/receiver/root_radius": 6.35, "/seal/thickness": 0, "/seal/compression": 0, "/lid/least_gap": 0,
	} {
		figures[pointer] = x
	}
	for _, c := range []struct{ clear, want float64 }{{0, 0.850738}, {1.5, 6.35 - math.Sqrt(6.35*6.35-4.675*4.675)}} {
		figures["/lid/least_gap"] = c.clear
		ruling := e.Check(ask(t, figures))
		f := find(ruling.Findings, "fit.gap_closes")
		if f == nil {
			t.Fatal("the lid goes down over a root radius larger than the gap")
		}
		if got := f.Measured.Magnitude; math.Abs(got-(3.175-6.35)) > 1e-9 {
			t.Errorf("clearance at the foot %v, want -3.175", got)
		}
		var seal *finding.Mend
		for i := range f.Mends {
			if f.Mends[i].Pointer == "/seal/thickness" {
				seal = &f.Mends[i]
			}
		}
		if seal == nil {
			t.Fatal("no seal thickness is offered as a mend")
		}
		// Rounded up to the wire's 0.001 mm.
		if got := seal.Value.Magnitude; got < c.want-1e-6 || got > c.want+0.001 {
			t.Errorf("seal for %v clear: %v, want %v rounded up", c.clear, got, c.want)
		}
	}
}

// TestBasesAgree derives a recess, then asks for the same hatch by each of its
// other outlines: the recess comes back, while corners stay round.
func TestBasesAgree(t *testing.T) {
	e := engine(t)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		l, w := 400+600*rng.Float64(), 350+500*rng.Float64()
		r := 60 + rng.Float64()*(math.Min(l, w)/2-60)
		base := e.Check(ask(t, rectangle(l, w, r)))
		c := base.Configuration
		s := e.rule(&c)
		if err := s.geometry.Measure(&c); err != nil {
			t.Fatal(err)
		}
		out := s.geometry.Outlines
		for basis, o := range map[string]outline.Outline{part.BasisLid: out.Lid, part.BasisClearOpening: out.ClearOpening, part.BasisDeckCutout: out.DeckCutout} {
			figures := rectangle(o.Length(), o.Width(), o.MinCornerRadius())
			figures["/size_basis"] = basis
			again := e.Complete(ask(t, figures))
			g := e.rule(&again).geometry
			if err := g.Measure(&again); err != nil {
				t.Fatal(err)
			}
			for name, pair := range map[string][2]float64{
				"length": {g.Outlines.Recess.Length(), l}, "width": {g.Outlines.Recess.Width(), w},
				"area": {g.Outlines.Recess.Area(), out.Recess.Area()}, "receiver area": {g.Receiver.Area, s.geometry.Receiver.Area},
			} {
				if math.Abs(pair[0]-pair[1]) > 1e-9*pair[1] {
					t.Fatalf("%s of the recess by %s: %v, want %v", name, basis, pair[0], pair[1])
				}
			}
		}
	}
}

// random makes a configuration that is often bad in several ways.
func random(rng *rand.Rand) map[string]any {
	between := func(lo, hi float64) float64 { return math.Round((lo+(hi-lo)*rng.Float64())*1000) / 1000 }
	var figures map[string]any
	switch shape := []string{part.Rectangle, part.Obround, part.Circle, part.Dee, part.Taper, part.Polygon}[rng.IntN(6)]; shape {
	case part.Rectangle:
		figures = rectangle(between(80, 2200), between(80, 1500), between(0, 300))
	case part.Obround:
		figures = map[string]any{"/outline/length": between(100, 1500), "/outline/width": between(100, 900)}
	case part.Circle:
		figures = map[string]any{"/outline/diameter": between(80, 2200)}
	case part.Dee:
		figures = map[string]any{"/outline/length": between(150, 1500), "/outline/width": between(100, 900), "/outline/corner_radius": between(0, 200)}
	case part.Taper:
		figures = map[string]any{"/outline/length": between(150, 1500), "/outline/width_aft": between(100, 900), "/outline/width_fwd": between(100, 900), "/outline/corner_radius": between(0, 200)}
	case part.Polygon:
		n := 3 + rng.IntN(5)
		radius := between(100, 700)
		corners := make([]outline.Corner, n)
		for i := range corners {
			a := 2 * math.Pi * (float64(i) + 0.3*rng.Float64()) / float64(n)
			corners[i] = outline.Corner{At: outline.Point{X: radius * math.Cos(a), Y: radius * math.Sin(a)}, Radius: between(0, 120)}
		}
		figures = map[string]any{"/outline/corners": corners}
	default:
		panic(shape)
	}
	if figures["/outline/shape"] == nil {
		switch {
		case figures["/outline/diameter"] != nil:
			figures["/outline/shape"] = part.Circle
		case figures["/outline/corners"] != nil:
			figures["/outline/shape"] = part.Polygon
		case figures["/outline/width_aft"] != nil:
			figures["/outline/shape"] = part.Taper
		case figures["/outline/corner_radius"] != nil:
			figures["/outline/shape"] = part.Dee
		default:
			figures["/outline/shape"] = part.Obround
		}
	}
	spoil := 0.4 * rng.Float64() // how often a figure is anything at all
	maybe := func(pointer string, lo, hi float64) {
		if rng.Float64() < spoil {
			figures[pointer] = between(lo, hi)
		}
	}
	maybe("/receiver/recess_depth", 5, 80)
	maybe("/receiver/ledge_width", 2, 120)
	maybe("/receiver/trunk_height", 2, 200)
	maybe("/receiver/flange_width", 5, 120)
	maybe("/receiver/edge_radius", 0, 30)
	maybe("/receiver/root_radius", 0, 25)
	maybe("/receiver/lip_radius", 0, 25)
	maybe("/receiver/draft_deg", 0, 12)
	maybe("/receiver/trunk_draft_deg", 0, 12)
	maybe("/receiver/fitting_clearance", 0, 20)
	maybe("/lid/gap", 0, 12)
	maybe("/lid/least_gap", 0, 4)
	maybe("/lid/edge_radius", 0, 40)
	maybe("/lid/draft_deg", 0, 12)
	maybe("/lid/land_width", 0, 40)
	maybe("/seal/thickness", 0, 30)
	maybe("/seal/width", 2, 60)
	maybe("/seal/compression", 0, 0.9)
	maybe("/deck/thickness", 5, 80)
	maybe("/deck/camber_radius", 800, 40000)
	maybe("/deck/depth_below", 20, 400)
	choice := func(pointer string, words ...string) {
		if rng.Float64() < spoil/2 {
			figures[pointer] = words[rng.IntN(len(words))]
		}
	}
	switch rng.IntN(6) {
	case 0:
		figures["/pattern"] = part.FlushGutter
		maybe("/gutter/width", 4, 70)
		maybe("/gutter/depth", 4, 70)
		maybe("/gutter/upstand_width", 4, 70)
		maybe("/gutter/skirt_clearance", 0, 30)
		maybe("/gutter/drain_diameter", 3, 40)
		maybe("/gutter/rain_intensity", 0, 500)
	case 1:
		figures["/pattern"] = part.RaisedCoaming
		maybe("/coaming/height", 10, 150)
		maybe("/coaming/top_width", 4, 70)
		maybe("/coaming/overlap", 2, 80)
		choice("/seal/tightness", part.Drip, part.Immersion)
	case 2:
		figures["/pattern"] = part.BoltedPlate
		maybe("/plate/overlap", 5, 90)
		maybe("/plate/bolt_diameter", 2, 20)
		maybe("/plate/edge_distance", 2, 60)
		choice("/seal/tightness", part.Drip, part.Immersion)
	}
	choice("/size_basis", part.BasisRecess, part.BasisLid, part.BasisClearOpening, part.BasisDeckCutout)
	choice("/laminate/resin", "general-purpose vinylester", "pine tar")
	choice("/gelcoat/color", "oyster", "plaid")
	choice("/lid/core", "none", "pvc-80-15", "cork")
	if rng.Float64() < 0.15 {
		figures["/laminate/schedule"] = part.ScheduleAuto
		choice("/laminate/prefer", part.PreferCost, part.PreferMass)
		choice("/lid/core", "auto", "none", "pvc-80-15", "balsa-150-12", "cork")
	}
	switch rng.IntN(8) {
	case 0:
		figures["/duty/kind"] = part.NoStep
	case 1:
		figures["/duty/kind"] = part.WorkingDeck
		maybe("/duty/waterline_length", 2000, 30000)
		maybe("/duty/displacement", 300, 20000)
		choice("/duty/category", "A", "D")
	case 2:
		figures["/duty/kind"] = part.Custom
		maybe("/duty/pressure", 0, 40)
		maybe("/duty/point_load", 0, 8000)
		maybe("/duty/point_radius", 5, 200)
		maybe("/duty/deflection_factor", 20, 400)
	}
	if rng.Float64() < spoil/2 {
		figures["/laminate/schedule"] = part.ScheduleListed
		keys := []string{"mat-225", "mat-450", "stitched-806", "pvc-80-12", "unobtainium"}
		pick := func() []string {
			out := make([]string, 1+rng.IntN(4))
			for i := range out {
				out[i] = keys[rng.IntN(len(keys))]
			}
			return out
		}
		figures["/laminate/lid"], figures["/laminate/receiver"] = pick(), pick()
		delete(figures, "/lid/core")
	}
	return figures
}

// TestFindingsAreWholeAndMendsHold asks for 1,000 random configurations, most of
// them bad. Every finding has a code, a pointer, a measured figure, a limit and a
// sentence; every mend, applied alone, to the completed configuration and to the
// request, makes the finding go away; what is makeable derives without error and
// with finite figures.
func TestFindingsAreWholeAndMendsHold(t *testing.T) {
	e := engine(t)
	rng := rand.New(rand.NewPCG(7, 11))
	codes, mends := map[string]int{}, map[string]int{}
	trials := 1000
	if testing.Short() {
		trials = 200
	}
	verdicts := map[finding.Verdict]int{}
	for range trials {
		figures := random(rng)
		r := ask(t, figures)
		if rng.Float64() < 0.3 {
			r.Units = quantity.Inch
		}
		for range rng.IntN(4) {
			items, places := []string{"flush latch", "friction hinge", "strap hinge", "ring pull", "barn door bolt"}, []string{Fore, Aft, Port, Starboard, "top"}
			r.Hardware = append(r.Hardware, part.Hardware{Item: items[rng.IntN(5)], Edge: places[rng.IntN(5)*rng.IntN(2)], Count: 1 + rng.IntN(3)})
			r.Given["/hardware"] = true
		}
		ruling := e.Check(r)
		verdicts[ruling.Verdict]++
		for _, f := range ruling.Findings {
			codes[f.Code]++
			if f.Code == "" || f.Pointer == "" || f.Pointer[0] != '/' || f.Source == "" || f.Message(r.Units) == "" ||
				f.Measured.Unit == "" || f.Limit.Unit != f.Measured.Unit ||
				math.IsNaN(f.Measured.Magnitude) || math.IsInf(f.Measured.Magnitude, 0) || math.IsNaN(f.Limit.Magnitude) || math.IsInf(f.Limit.Magnitude, 0) {
				t.Fatalf("%+v\nof %v is not whole", f, figures)
			}
			for _, m := range f.Mends {
				mends[f.Code]++
				if m.Sought {
					t.Fatalf("%s: the mend at %s was never solved", f.Code, m.Pointer)
				}
				c := ruling.Configuration.Clone()
				again := r.With(m.Pointer)
				again.Configuration = again.Configuration.Clone()
				var err error
				if m.Word != "" {
					err = c.SetWord(m.Pointer, m.Word)
					again.SetWord(m.Pointer, m.Word)
				} else {
					x := r.Units.Millimeters(quantity.Round(m.Value.In(r.Units), r.Units.Places(), quantity.Nearest))
					if m.Value.Unit != quantity.Millimeter {
						x = m.Value.Magnitude
					}
					err = c.SetNumber(m.Pointer, x)
					again.SetNumber(m.Pointer, x)
				}
				if err != nil {
					t.Fatal(err)
				}
				anew := e.Complete(again)
				for name, list := range map[string][]finding.Finding{"completed configuration": e.rule(&c).findings, "request": e.rule(&anew).findings} {
					for _, now := range list {
						if finding.Same(now, f) {
							t.Fatalf("%s at %s is still there after its mend %s = %v %s of the %s\n%v", f.Code, f.Pointer, m.Pointer, m.Value, m.Word, name, figures)
						}
					}
				}
			}
		}
		if ruling.Verdict == finding.NotMakeable {
			continue
		}
		out, err := e.Derive(r, monday)
		if err != nil {
			t.Fatalf("%v: %v", figures, err)
		}
		for name, x := range map[string]float64{"lid area": out.Geometry.Lid.Area, "receiver area": out.Geometry.Receiver.Area,
			"lid volume": out.Geometry.Lid.EnclosedVolume, "lid mass": out.Lid.Mass,
			"receiver mass": out.Receiver.Mass, "plug": out.Molds[0].MDFMass, "cavity": out.Molds[1].MDFMass, "hours": out.LeadTime.WorkingHours} {
			if !(x > 0) || math.IsInf(x, 0) {
				t.Fatalf("%s = %v of %v", name, x, figures)
			}
		}
		if out.Bill.Totals.Price.Value.Sign() <= 0 {
			t.Fatalf("price %v of %v", out.Bill.Totals.Price, figures)
		}
	}
	t.Logf("verdicts: %v", verdicts)
	for code, n := range codes {
		t.Logf("%-34s %5d findings, %5d mends held", code, n, mends[code])
	}
	for _, code := range []string{"fit.gap_closes", "outline.corner_radius_too_large", "receiver.ledge_too_wide", "receiver.flange_too_narrow",
		"seal.ledge_too_narrow", "seal.skirt_off_seat", "deck.camber_gap", "tooling.depth_not_stock", "outline.too_large", "lid.panel_too_thick"} {
		if codes[code] == 0 && !testing.Short() {
			t.Errorf("the random configurations never met %s", code)
		}
	}
}

func BenchmarkCheck(b *testing.B) {
	e, r := engine(b), ask(b, rectangle(560, 410, 55))
	b.ReportAllocs()
	for b.Loop() {
		if e.Check(r).Verdict == finding.NotMakeable {
			b.Fatal("not makeable")
		}
	}
}

func BenchmarkDerive(b *testing.B) {
	e, r := engine(b), ask(b, rectangle(560, 410, 55))
	b.ReportAllocs()
	for b.Loop() {
		if out, err := e.Derive(r, monday); err != nil || !out.Makeable() {
			b.Fatal(err)
		}
	}
}

func BenchmarkDeriveGutter(b *testing.B) {
	figures := rectangle(560, 410, 90)
	figures["/pattern"] = part.FlushGutter
	e, r := engine(b), ask(b, figures)
	b.ReportAllocs()
	for b.Loop() {
		if out, err := e.Derive(r, monday); err != nil || !out.Makeable() {
			b.Fatal(err, out.Findings)
		}
	}
}
