package laminate_test

import (
	"fmt"

	"hatchwright/service/laminate"
)

// The cheapest lid of 500 by 700 mm that a person may stand on, out of an invented stock.
func ExampleChoose() {
	lid := laminate.Panel{A: 500, B: 700}
	cases, err := laminate.Cases(laminate.Demand{Duty: laminate.Step}, lid)
	if err != nil {
		fmt.Println(err)
		return
	}
	c, err := laminate.Choose(catalog(), lid, cases, laminate.LeastCost)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s of %.0f stacks: %.2f per m², %.2f kg/m²\n", c.Status, c.Stacks, c.Cost, c.Mass)
	for _, p := range c.Stack.Plies() {
		fmt.Println(" ", p.Reinforcement.Key)
	}
	fmt.Println("  core", c.Stack.Core.Key)
	for _, r := range c.Results {
		fmt.Printf("%s: %.2f by %s, %.1f mm\n", r.Case.Name, r.Utilization(), r.Governing, r.Deflection)
	}
	// Output:
	// optimal of 68394 stacks: 50.70 per m², 6.36 kg/m²
	//   mat 225
	//   woven 600
	//   woven 600
	//   core balsa 150/12
	// step strength: 0.76 by stress, 9.9 mm
	// step stiffness: 0.99 by deflection, 4.9 mm
}

// One ply of 450 g/m² mat.
func ExamplePly_Thickness() {
	p := laminate.Ply{Reinforcement: laminate.Reinforcement{Key: "mat 450", Kind: laminate.Mat, ArealMass: 0.45, GlassFraction: 0.30}}
	fmt.Printf("%.2f mm, %.2f kg/m² of resin\n", p.Thickness(), p.ResinMass())
	// Output: 1.05 mm, 1.05 kg/m² of resin
}
