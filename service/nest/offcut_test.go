package nest_test

import (
	"fmt"
	"testing"

	"hatchwright/service/nest"
	"pgregory.net/rapid"
)

// TestNoLargerOffcutFitsTheLayout puts every whole-millimetre rectangle into
// every layout in place of its offcut: none that is larger passes the verifier.
func TestNoLargerOffcutFitsTheLayout(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const length, width = 12, 9
		rules := nest.Rules{Kerf: float64(rapid.IntRange(0, 2).Draw(t, "kerf"))}
		var panels []nest.Panel
		for i := range rapid.IntRange(1, 7).Draw(t, "n") {
			panels = append(panels, nest.Panel{
				Name: fmt.Sprint(i), Length: float64(rapid.IntRange(1, 6).Draw(t, "l")), Width: float64(rapid.IntRange(1, 6).Draw(t, "w")),
				Quantity: 1, Turn: rapid.Bool().Draw(t, "turn"),
			})
		}
		plan, err := nest.Guillotine(panels, []nest.Sheet{{Name: "s", Length: length, Width: width}}, rules)
		if err != nil {
			t.Fatal(err)
		}
		for n := range plan.Layouts {
			lay := &plan.Layouts[n]
			own := lay.Offcut
			for x := 0; x < length; x++ {
				for y := 0; y < width; y++ {
					for l := 1; x+l <= length; l++ {
						for w := 1; y+w <= width; w++ {
							o := nest.Offcut{X: float64(x), Y: float64(y), Length: float64(l), Width: float64(w)}
							if o.Area() <= own.Area() {
								continue
							}
							lay.Offcut = o
							if nest.Verify(plan, panels, rules) == nil {
								t.Fatalf("layout %d: offcut %+v, but %+v is free", n, own, o)
							}
						}
					}
				}
			}
			lay.Offcut = own
		}
	})
}
