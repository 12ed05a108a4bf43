package tooling_test

import (
	"fmt"

	"hatchwright/service/part"
	"hatchwright/service/shop"
	"hatchwright/service/tooling"
)

// The workshop of a flush hatch: one master is drawn, everything else is copied
// from it.
func ExampleBuild() {
	d := shop.Example()
	r := part.Request{Given: map[string]bool{"/outline/shape": true, "/receiver/draft_deg": true, "/receiver/trunk_draft_deg": true, "/lid/draft_deg": true}}
	r.Pattern = part.FlushLedge
	r.Outline = part.Plan{Shape: part.Rectangle, Length: 520, Width: 380, CornerRadius: 60}
	c := part.Complete(r, part.Shop{Defaults: d.Profile.Defaults})
	g, _ := part.Resolve(&c, part.Thicknesses{Receiver: 3.6, Skirt: 3.2, Panel: 15.2}, part.Sizes{LargestSide: 1800, SmallestSide: 180})

	stacker, crib := tooling.NewStacker(d.Profile.Sheets, tooling.DeepestStack), tooling.NewCrib(d.Profile)
	w, err := tooling.Build(&c, g, d, stacker, crib)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range w.Steps {
		switch s.Operation {
		case tooling.LayOut:
			fmt.Printf("%d %s %s, %g x %g\n", s.Order, s.Operation, s.To, s.ToOutline.Length(), s.ToOutline.Width())
		case tooling.RoundEdge:
			fmt.Printf("%d %s %s by %q to %g\n", s.Order, s.Operation, s.To, s.Bit, s.Radius)
		default:
			fmt.Printf("%d %s %s from %s by %q, bearing %g: %g\n", s.Order, s.Operation, s.To, s.From, s.Bit, s.Bearing, s.Offset)
		}
	}
	fmt.Printf("%d masters, %d cuts, optimal %v; %d sheets, at least %d\n", w.Masters, w.Cuts, w.Optimal, len(w.Sheets), w.SheetBound)
	fmt.Printf("least clearance %.2f ± %.2f mm at worst, ± %.2f as root of squares\n", w.Tolerance.Nominal, w.Tolerance.WorstCase, w.Tolerance.RSS)
	// Output:
	// 1 lay_out recess template, 520 x 380
	// 2 rabbet_and_trim lid template from recess template by "rabbet 35", bearing 16: -9.5
	// 3 rabbet_and_trim stage template 3 from lid template by "rabbet 35", bearing 9: -13
	// 4 rabbet_and_trim trunk template from stage template 3 by "rabbet 35", bearing 16: -9.5
	// 5 copy receiver block 1 from recess template by "trim 6", bearing 6: 0
	// 6 copy receiver block 2 from trunk template by "trim 6", bearing 6: 0
	// 7 follow_outside lid cavity board from lid template by "trim 6", bearing 6: 6
	// 8 round_over receiver block 1 by "round-over 6" to 6
	// 9 round_over lid cavity board by "round-over 6" to 6
	// 1 masters, 3 cuts, optimal true; 5 sheets, at least 5
	// least clearance 2.99 ± 1.29 mm at worst, ± 0.42 as root of squares
}
