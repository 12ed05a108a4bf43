package nest_test

import (
	"fmt"

	"hatchwright/service/nest"
)

func ExampleGuillotine() {
	panels := []nest.Panel{
		{Name: "base board", Length: 850, Width: 750, Quantity: 2, Turn: true},
		{Name: "block", Length: 640, Width: 540, Quantity: 3, Turn: true},
		{Name: "template", Length: 700, Width: 600, Quantity: 1, Turn: true},
	}
	stock := []nest.Sheet{{Name: "MDF 18", Length: 2440, Width: 1220}}
	rules := nest.Rules{Kerf: 3.2, Trim: 6}
	plan, err := nest.Guillotine(panels, stock, rules)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d sheets, %v; at least %d, by area %.2f\n", plan.Sheets(), plan.Status, plan.Bound, plan.AreaBound)
	for i, l := range plan.Layouts {
		fmt.Printf("sheet %d: %d panels, %.0f %% used, offcut %.1f x %.1f\n", i+1, len(l.Placements), 100*l.Utilization, l.Offcut.Length, l.Offcut.Width)
	}
	for _, c := range plan.Layouts[len(plan.Layouts)-1].Cuts {
		fmt.Printf("stage %d: %s at %.1f, from %.1f to %.1f\n", c.Stage, c.Axis, c.At, c.From, c.To)
	}
	fmt.Println(nest.Verify(plan, panels, rules))
	// Output:
	// 2 sheets, optimal; at least 2, by area 0.94
	// sheet 1: 4 panels, 69 % used, offcut 1703.2 x 454.8
	// sheet 2: 2 panels, 23 % used, offcut 1784.8 x 1208.0
	// stage 0: rip at 2.8, from 0.0 to 2440.0
	// stage 0: rip at 1214.0, from 0.0 to 2440.0
	// stage 0: crosscut at 2.8, from 6.0 to 1214.0
	// stage 0: crosscut at 2434.0, from 6.0 to 1214.0
	// stage 1: crosscut at 646.0, from 6.0 to 1214.0
	// stage 2: rip at 546.0, from 6.0 to 646.0
	// stage 2: rip at 1089.2, from 6.0 to 646.0
	// <nil>
}

func ExampleGuillotine_tooLarge() {
	panels := []nest.Panel{{Name: "deck panel", Length: 2500, Width: 600, Quantity: 1}}
	stock := []nest.Sheet{{Name: "MDF 18", Length: 2440, Width: 1220}}
	_, err := nest.Guillotine(panels, stock, nest.Rules{Kerf: 3.2, Trim: 6})
	fmt.Println(err)
	// Output:
	// nest: panel "deck panel" of 2500 x 600 mm fits on no sheet as it lies; the largest panel that fits is 2428 x 1208 mm on sheet "MDF 18": split the panel, stock a larger sheet or trim less
}

func ExampleRoll() {
	plies := []nest.Panel{{Name: "lid ply", Length: 720, Width: 620, Quantity: 4, Turn: true}, {Name: "patch", Length: 300, Width: 200, Quantity: 2, Turn: true}}
	plan, err := nest.Roll(plies, 1270, nest.Rules{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f mm of roll, at least %.0f mm, %v\n", plan.Length, plan.Bound, plan.Status)
	// Output:
	// 1640 mm of roll, at least 1640 mm, optimal
}
