package nest_test

import (
	"fmt"
	"testing"

	"hatchwright/service/nest"
)

var (
	shopSheets = []nest.Sheet{{Name: "MDF 2440 x 1220", Length: 2440, Width: 1220}}
	shopRules  = nest.Rules{Kerf: 3.2, Trim: 6}
)

// hatchPanels is a mold set of a 600 x 500 mm hatch: base boards, blocks,
// cavity board, templates.
func hatchPanels() []nest.Panel {
	return []nest.Panel{
		{Name: "receiver base", Length: 830, Width: 730, Quantity: 1, Turn: true},
		{Name: "receiver block 1", Length: 640, Width: 540, Quantity: 2, Turn: true},
		{Name: "receiver block 2", Length: 600, Width: 500, Quantity: 2, Turn: true},
		{Name: "lid base", Length: 790, Width: 690, Quantity: 1, Turn: true},
		{Name: "lid cavity", Length: 790, Width: 690, Quantity: 1, Turn: true},
		{Name: "template", Length: 700, Width: 600, Quantity: 1, Turn: true},
	}
}

func mixedJob(n int) []nest.Panel {
	out := make([]nest.Panel, n)
	for i := range out {
		out[i] = nest.Panel{Name: fmt.Sprint("panel ", i), Length: 200 + float64(i*7919%900), Width: 150 + float64(i*104729%500), Quantity: 1, Turn: true}
	}
	return out
}

func benchmarkJob(b *testing.B, panels []nest.Panel, r nest.Rules) {
	b.ReportAllocs()
	var plan nest.Plan
	for b.Loop() {
		var err error
		if plan, err = nest.Guillotine(panels, shopSheets, r); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(plan.Sheets()), "sheets")
	b.ReportMetric(float64(plan.Bound), "bound")
	b.ReportMetric(float64(plan.Steps), "steps")
}

func BenchmarkHatch(b *testing.B) { benchmarkJob(b, hatchPanels(), shopRules) }

func BenchmarkHatchFive(b *testing.B) { benchmarkJob(b, hatchPanels()[:4], shopRules) }

func BenchmarkJob(b *testing.B) {
	for _, n := range []int{4, 8, 15, 30, 60, 120} {
		b.Run(fmt.Sprint("panels=", n), func(b *testing.B) { benchmarkJob(b, mixedJob(n), shopRules) })
	}
}

func BenchmarkFirstPlan(b *testing.B) {
	r := shopRules
	r.Budget = 1
	for _, n := range []int{8, 30, 120} {
		b.Run(fmt.Sprint("panels=", n), func(b *testing.B) { benchmarkJob(b, mixedJob(n), r) })
	}
}
