package nest_test

import (
	"fmt"
	"math"
	"testing"

	"hatchwright/service/nest"
	"pgregory.net/rapid"
)

// verifyRoll checks a roll plan as if its length were a sheet.
func verifyRoll(plan nest.RollPlan, pieces []nest.Panel, r nest.Rules) error {
	as := nest.Plan{Layouts: []nest.Layout{plan.Layout}, Status: nest.BudgetReached}
	if err := nest.Verify(as, pieces, r); err != nil {
		return err
	}
	if plan.Length < plan.Bound || plan.Length != plan.Layout.Sheet.Length {
		return fmt.Errorf("length %v, sheet %v, bound %v", plan.Length, plan.Layout.Sheet.Length, plan.Bound)
	}
	if plan.Status == nest.Optimal && plan.Length*0.998 > plan.Bound {
		return fmt.Errorf("called optimal at %v with a bound of %v", plan.Length, plan.Bound)
	}
	return replay(as, r)
}

func TestRoll(t *testing.T) {
	for _, c := range []struct {
		name   string
		pieces []nest.Panel
		width  float64
		rules  nest.Rules
		want   float64 // mm, by hand
	}{
		{"one", []nest.Panel{{Name: "a", Length: 700, Width: 600, Quantity: 1}}, 1270, nest.Rules{}, 700},
		{"one, turned", []nest.Panel{{Name: "a", Length: 700, Width: 600, Quantity: 1, Turn: true}}, 1270, nest.Rules{}, 600},
		{"two abreast", []nest.Panel{{Name: "a", Length: 700, Width: 600, Quantity: 2}}, 1270, nest.Rules{}, 700},
		{"too wide to turn", []nest.Panel{{Name: "a", Length: 1300, Width: 600, Quantity: 1, Turn: true}}, 1270, nest.Rules{}, 1300},
		{"gap and trim", []nest.Panel{{Name: "a", Length: 700, Width: 600, Quantity: 4}}, 1270, nest.Rules{Kerf: 10, Trim: 20}, 20 + 700 + 10 + 700 + 20},
		{"trim forces one abreast", []nest.Panel{{Name: "a", Length: 700, Width: 600, Quantity: 2}}, 1270, nest.Rules{Kerf: 10, Trim: 31}, 31 + 700 + 10 + 700 + 31},
		// perfect: 1000 x 1200 cut into 600 + 400 by 700 + 500
		{"no waste", []nest.Panel{
			{Name: "a", Length: 600, Width: 700, Quantity: 1}, {Name: "b", Length: 600, Width: 500, Quantity: 1},
			{Name: "c", Length: 400, Width: 300, Quantity: 4},
		}, 1200, nest.Rules{}, 1000},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan, err := nest.Roll(c.pieces, c.width, c.rules)
			if err != nil {
				t.Fatal(err)
			}
			if err := verifyRoll(plan, c.pieces, c.rules); err != nil {
				t.Fatal(err)
			}
			if math.Abs(plan.Length-c.want) > 1e-6 || plan.Status != nest.Optimal {
				t.Errorf("%v mm, %v, bound %v; want %v, optimal", plan.Length, plan.Status, plan.Bound, c.want)
			}
		})
	}
}

// TestRollAgainstExhaustive compares with trying every whole-millimetre cut on
// ever longer pieces of roll.
func TestRollAgainstExhaustive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		width := rapid.IntRange(3, 10).Draw(t, "width")
		kerf := rapid.IntRange(0, 2).Draw(t, "kerf")
		n := rapid.IntRange(1, 5).Draw(t, "n")
		c := &cutter{kerf: kerf, memo: map[[3]int]bool{}}
		var pieces []nest.Panel
		for i := range n {
			l := rapid.IntRange(1, 9).Draw(t, "l")
			w := rapid.IntRange(1, width).Draw(t, "w")
			turn := rapid.Bool().Draw(t, "turn")
			c.l, c.w, c.turn = append(c.l, l), append(c.w, w), append(c.turn, turn)
			pieces = append(pieces, nest.Panel{Name: fmt.Sprint(i), Length: float64(l), Width: float64(w), Quantity: 1, Turn: turn})
		}
		want := 1
		for !c.can(1<<n-1, want, width) {
			want++
		}
		rules := nest.Rules{Kerf: float64(kerf)}
		plan, err := nest.Roll(pieces, float64(width), rules)
		if err != nil {
			t.Fatal(err)
		}
		if err := verifyRoll(plan, pieces, rules); err != nil {
			t.Fatal(err)
		}
		if math.Abs(plan.Length-float64(want)) > 1e-6 || plan.Status != nest.Optimal {
			t.Fatalf("%v mm, %v; exhaustive cutting needs %d", plan.Length, plan.Status, want)
		}
	})
}

func TestRollIsValid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := drawJob(t)
		width := j.stock[0].Width
		plan, err := nest.Roll(j.panels, width, j.rules)
		if err != nil {
			t.Fatal(err)
		}
		if err := verifyRoll(plan, j.panels, j.rules); err != nil {
			t.Fatal(err)
		}
	})
}

func TestRollBadInput(t *testing.T) {
	if _, err := nest.Roll([]nest.Panel{{Name: "a", Length: 10, Width: 1300, Quantity: 1}}, 1270, nest.Rules{}); err == nil {
		t.Error("a piece wider than the roll was accepted")
	}
	if _, err := nest.Roll(nil, nan, nest.Rules{}); err == nil {
		t.Error("a width that is not a number was accepted")
	}
	if plan, err := nest.Roll(nil, 1270, nest.Rules{}); err != nil || plan.Length != 0 || plan.Status != nest.Optimal {
		t.Errorf("no pieces: %+v, %v", plan, err)
	}
}

func BenchmarkRoll(b *testing.B) {
	for _, n := range []int{6, 20} {
		b.Run(fmt.Sprint("pieces=", n), func(b *testing.B) {
			b.ReportAllocs()
			var plan nest.RollPlan
			for b.Loop() {
				var err error
				if plan, err = nest.Roll(mixedJob(n), 1270, nest.Rules{Budget: 20_000}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(plan.Length/plan.Bound, "length/bound")
		})
	}
}
