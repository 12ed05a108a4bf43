package nest_test

import (
	"fmt"
	"testing"

	"hatchwright/service/nest"
	"pgregory.net/rapid"
)

// cutter decides by trying every whole-millimetre cut and every way to share
// the pieces between the two parts whether a set of pieces can be cut from a
// rectangle. It is the definition of a guillotine layout, with no idea in common
// with the solver.
type cutter struct {
	l, w []int
	turn []bool
	kerf int
	memo map[[3]int]bool
}

func (c *cutter) can(set, length, width int) bool {
	if set == 0 {
		return true
	}
	if length <= 0 || width <= 0 {
		return false
	}
	key := [3]int{set, length, width}
	if v, ok := c.memo[key]; ok {
		return v
	}
	v := c.try(set, length, width)
	c.memo[key] = v
	return v
}

func (c *cutter) try(set, length, width int) bool {
	if set&(set-1) == 0 {
		for i := range c.l {
			if set == 1<<i {
				return c.l[i] <= length && c.w[i] <= width || c.turn[i] && c.w[i] <= length && c.l[i] <= width
			}
		}
	}
	for part := (set - 1) & set; part > 0; part = (part - 1) & set {
		for at := 1; at < length; at++ {
			if c.can(part, at, width) && c.can(set&^part, length-at-c.kerf, width) {
				return true
			}
		}
		for at := 1; at < width; at++ {
			if c.can(part, length, at) && c.can(set&^part, length, width-at-c.kerf) {
				return true
			}
		}
	}
	return false
}

// fewest is the least number of sheets, by trying every way to share.
func (c *cutter) fewest(set, length, width int, memo map[int]int) int {
	if set == 0 {
		return 0
	}
	if v, ok := memo[set]; ok {
		return v
	}
	best := 1 << 20
	first := set & -set
	for part := set; part > 0; part = (part - 1) & set {
		if part&first != 0 && c.can(part, length, width) {
			best = min(best, 1+c.fewest(set&^part, length, width, memo))
		}
	}
	memo[set] = best
	return best
}

// TestSmallJobsAreSolvedExactly compares with exhaustive cutting.
func TestSmallJobsAreSolvedExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := rapid.IntRange(3, 14).Draw(t, "length")
		width := rapid.IntRange(3, 14).Draw(t, "width")
		kerf := rapid.IntRange(0, 2).Draw(t, "kerf")
		n := rapid.IntRange(1, 6).Draw(t, "n")
		c := &cutter{kerf: kerf, memo: map[[3]int]bool{}}
		var panels []nest.Panel
		for i := range n {
			l := rapid.IntRange(1, length).Draw(t, "l")
			w := rapid.IntRange(1, width).Draw(t, "w")
			turn := rapid.Bool().Draw(t, "turn")
			c.l, c.w, c.turn = append(c.l, l), append(c.w, w), append(c.turn, turn)
			panels = append(panels, nest.Panel{Name: fmt.Sprint(i), Length: float64(l), Width: float64(w), Quantity: 1, Turn: turn})
		}
		want := c.fewest(1<<n-1, length, width, map[int]int{})
		rules := nest.Rules{Kerf: float64(kerf)}
		stock := []nest.Sheet{{Name: "s", Length: float64(length), Width: float64(width)}}
		plan, err := nest.Guillotine(panels, stock, rules)
		if err != nil {
			t.Fatal(err)
		}
		if err := nest.Verify(plan, panels, rules); err != nil {
			t.Fatal(err)
		}
		if plan.Sheets() != want || plan.Status != nest.Optimal {
			t.Fatalf("%d sheets, %v; exhaustive search finds %d", plan.Sheets(), plan.Status, want)
		}
		// no budget leads below the optimum, and the bound stays below it
		rules.Budget = 1
		quick, err := nest.Guillotine(panels, stock, rules)
		if err != nil {
			t.Fatal(err)
		}
		if quick.Sheets() < want || quick.Bound > want {
			t.Fatalf("quick plan %d sheets, bound %d; exhaustive search finds %d", quick.Sheets(), quick.Bound, want)
		}
	})
}
