package nest_test

import (
	"fmt"
	"math"
	"testing"

	"hatchwright/service/nest"
	"pgregory.net/rapid"
)

// job is a drawn input that Guillotine accepts.
type job struct {
	panels []nest.Panel
	stock  []nest.Sheet
	rules  nest.Rules
}

// drawJob draws panels on a 0.1 mm raster for sheets of 300 to 2500 mm.
func drawJob(t *rapid.T) job {
	var j job
	raster := func(lo, hi float64, label string) float64 {
		return float64(rapid.IntRange(int(lo*10), int(hi*10)).Draw(t, label)) / 10
	}
	j.rules = nest.Rules{Kerf: raster(0, 5, "kerf"), Trim: raster(0, 10, "trim"), Budget: rapid.SampledFrom([]int{1, 1000, 30_000}).Draw(t, "budget")}
	sizes := rapid.IntRange(1, 3).Draw(t, "sizes")
	var l, w float64
	for i := range sizes {
		s := nest.Sheet{
			Name: fmt.Sprint("sheet ", i), Length: raster(300, 2500, "sheet length"), Width: raster(300, 1300, "sheet width"),
			Available: rapid.IntRange(0, 4).Draw(t, "available"), Cost: float64(rapid.IntRange(0, 3).Draw(t, "cost")),
		}
		j.stock = append(j.stock, s)
		if i == 0 {
			l, w = s.Length-2*j.rules.Trim, s.Width-2*j.rules.Trim
		}
	}
	for i := range rapid.IntRange(1, 14).Draw(t, "panels") {
		j.panels = append(j.panels, nest.Panel{
			Name: fmt.Sprint("panel ", i), Length: raster(1, math.Floor(l), "length"), Width: raster(1, math.Floor(w), "width"),
			Quantity: rapid.IntRange(1, 3).Draw(t, "quantity"), Turn: rapid.Bool().Draw(t, "turn"),
		})
	}
	return j
}

func (j job) plan(t *rapid.T) nest.Plan {
	plan, err := nest.Guillotine(j.panels, j.stock, j.rules)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

func TestEveryPlanIsValid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := drawJob(t)
		plan := j.plan(t)
		if err := nest.Verify(plan, j.panels, j.rules); err != nil {
			t.Fatal(err)
		}
		if err := replay(plan, j.rules); err != nil {
			t.Fatal(err)
		}
		used := map[string]int{}
		for _, l := range plan.Layouts {
			used[l.Sheet.Name]++
			if len(l.Placements) == 0 {
				t.Fatal("an empty sheet")
			}
			if float64(plan.Sheets()) < plan.AreaBound && len(plan.Unplaced) == 0 {
				t.Fatal("less area than panels")
			}
		}
		for _, s := range j.stock {
			if s.Available > 0 && used[s.Name] > s.Available {
				t.Fatalf("%d of %d %s used", used[s.Name], s.Available, s.Name)
			}
		}
	})
}

// TestOrderOfInput: the order in which panels are given changes neither validity
// nor what is proved.
func TestOrderOfInput(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := drawJob(t)
		a := j.plan(t)
		j.panels = rapid.Permutation(j.panels).Draw(t, "order")
		b := j.plan(t)
		if err := nest.Verify(b, j.panels, j.rules); err != nil {
			t.Fatal(err)
		}
		if len(a.Unplaced)+len(b.Unplaced) == 0 && (a.Bound > b.Sheets() || b.Bound > a.Sheets()) {
			t.Fatalf("bounds %d and %d contradict %d and %d sheets", a.Bound, b.Bound, a.Sheets(), b.Sheets())
		}
	})
}

// TestScale: twice the size gives the same plan at twice the size. Doubling is
// exact in binary, so the figures agree to rounding on the grid of 1e-6 mm.
func TestScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := drawJob(t)
		a := j.plan(t)
		big := job{rules: j.rules}
		big.rules.Kerf *= 2
		big.rules.Trim *= 2
		for _, p := range j.panels {
			p.Length *= 2
			p.Width *= 2
			big.panels = append(big.panels, p)
		}
		for _, s := range j.stock {
			s.Length *= 2
			s.Width *= 2
			big.stock = append(big.stock, s)
		}
		b := big.plan(t)
		if a.Sheets() != b.Sheets() || a.Bound != b.Bound || a.Status != b.Status {
			t.Fatalf("%d/%d %v at size 1, %d/%d %v at size 2", a.Sheets(), a.Bound, a.Status, b.Sheets(), b.Bound, b.Status)
		}
		for i := range a.Layouts {
			if d := math.Abs(4*a.Layouts[i].Offcut.Area() - b.Layouts[i].Offcut.Area()); d > 0.1 {
				t.Fatalf("layout %d: offcuts of %v and %v mm²", i, a.Layouts[i].Offcut.Area(), b.Layouts[i].Offcut.Area())
			}
		}
	})
}

// TestMoreBudgetIsNotWorse in sheets, when all panels find a place.
func TestMoreBudgetIsNotWorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := drawJob(t)
		for i := range j.stock {
			j.stock[i].Available = 0
		}
		before := math.MaxInt
		for _, budget := range []int{1, 5_000, 50_000} {
			j.rules.Budget = budget
			plan := j.plan(t)
			if plan.Sheets() > before {
				t.Fatalf("%d sheets after %d with less budget", plan.Sheets(), before)
			}
			before = plan.Sheets()
		}
	})
}

func FuzzGuillotine(f *testing.F) {
	f.Add(2440.0, 1220.0, 3.2, 6.0, 830.0, 730.0, 640.0, 540.0, 300.0, 200.0, uint8(3), true, uint8(2))
	f.Add(10.0, 10.0, 0.0, 0.0, 5.0, 9.0, 4.0, 2.0, 10.0, 6.0, uint8(4), false, uint8(0))
	f.Add(100.0, 100.0, 0.0, 0.0, 100.0, 100.0, 100.0, 100.0, 1e-6, 1e-6, uint8(1), true, uint8(1))
	f.Add(1e5, 1e5, 1e5, 0.0, 1e5, 1.0, 1.0, 1e5, 7.0, 7.0, uint8(2), true, uint8(3))
	f.Add(1.0/3, 2.0/3, 1e-7, 0.0, 1.0/9, 1.0/7, 0.1, 0.2, 0.3, 0.1, uint8(5), true, uint8(0))
	f.Add(nan, inf, -1.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0, uint8(0), false, uint8(0))
	f.Fuzz(func(t *testing.T, sl, sw, kerf, trim, al, aw, bl, bw, cl, cw float64, q uint8, turn bool, available uint8) {
		panels := []nest.Panel{
			{Name: "a", Length: al, Width: aw, Quantity: int(q % 9), Turn: turn},
			{Name: "b", Length: bl, Width: bw, Quantity: int(q/9%5) + 1, Turn: turn},
			{Name: "c", Length: cl, Width: cw, Quantity: 2},
		}
		stock := []nest.Sheet{{Name: "s", Length: sl, Width: sw, Available: int(available)}, {Name: "t", Length: sl * 0.7, Width: sw, Cost: 1}}
		rules := nest.Rules{Kerf: kerf, Trim: trim, Budget: 20_000}
		plan, err := nest.Guillotine(panels, stock, rules)
		if err != nil {
			return
		}
		if err := nest.Verify(plan, panels, rules); err != nil {
			t.Fatalf("%v\n%+v", err, plan)
		}
	})
}
