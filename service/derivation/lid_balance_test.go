package derivation

import (
	"fmt"
	"math"
	"testing"

	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// TestLidBalance holds a solid lid's center of gravity against sums over sampled
// curves: the flat top at half its thickness, the rest at its molded face.
func TestLidBalance(t *testing.T) {
	e := engine(t)
	out := derive(t, e, ask(t, map[string]any{"/outline/shape": part.Dee, "/outline/length": 520.0, "/outline/width": 440.0, "/outline/corner_radius": 80.0,
		"/laminate/schedule": part.ScheduleAuto, "/lid/core": part.NoCore, "/duty/kind": part.NoStep}))
	var sum, x, z float64
	band := out.Geometry.Lid.Bands[0]
	p := band.Profile.Sample(1e-3)
	for i := 1; i < len(p); i++ {
		ds := math.Hypot(p[i].N-p[i-1].N, p[i].Z-p[i-1].Z)
		o, err := band.Round.Offset((p[i].N + p[i-1].N) / 2)
		if err != nil {
			t.Fatal(err)
		}
		q := o.Sample(1e-3)
		for j := range q {
			a, b := q[j], q[(j+1)%len(q)]
			m := ds * math.Hypot(b.X-a.X, b.Y-a.Y)
			sum, x, z = sum+m, x+m*(a.X+b.X)/2, z+m*(p[i].Z+p[i-1].Z)/2
		}
	}
	top, err := band.Round.Offset(p[0].N)
	if err != nil {
		t.Fatal(err)
	}
	q := top.Sample(1e-3)
	area, moment := 0.0, 0.0
	for j := range q { // shoelace
		a, b := q[j], q[(j+1)%len(q)]
		cross := (a.X*b.Y - b.X*a.Y) / 2
		area += cross
		moment += cross * (a.X + b.X) / 3
	}
	depth, mass := 0.0, 0.0
	face := 0.0
	for _, ply := range out.Lid.Stack.Plies() {
		m := ply.GlassMass() + ply.ResinMass()
		depth, mass = depth+m*(face+ply.Thickness()/2), mass+m
		face += ply.Thickness()
	}
	sum, x, z = sum+area, x+moment, z+area*depth/mass
	m := out.Lid.Masses
	if math.Abs(m.X-x/sum) > 0.02 || math.Abs(m.Y) > 1e-9 || math.Abs(m.Z-z/sum) > 0.02 {
		t.Errorf("balance %v, %v, %v; want %v, 0, %v", m.X, m.Y, m.Z, x/sum, z/sum)
	}
}

// ExampleEngine_Mixes weighs out a lid for a cool morning.
func ExampleEngine_Mixes() {
	e, err := New(shop.Example())
	if err != nil {
		fmt.Println(err)
		return
	}
	r := part.Request{Given: map[string]bool{"/pattern": true, "/outline/shape": true, "/outline/length": true, "/outline/width": true, "/outline/corner_radius": true}}
	r.Pattern = part.FlushLedge
	r.Outline = part.Plan{Shape: part.Rectangle, Length: 560, Width: 410, CornerRadius: 60}
	out, err := e.Derive(r, monday)
	if err != nil {
		fmt.Println(err)
		return
	}
	mixes, _, err := e.Mixes(&out, 18)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, m := range mixes {
		if m.Part == "lid" {
			fmt.Printf("%s: %.2f kg, %.1f %% is %.1f mL, gels in %.0f min, %d batch\n", m.What, m.Mass, m.CatalystPercent, m.CatalystML, m.GelMinutes, m.Batches)
		}
	}
	_, list, _ := e.Mixes(&out, 12)
	fmt.Println(list[0].Message(r.Units))
	// Output:
	// filler: 0.07 kg, 2.0 % is 1.2 mL, gels in 6 min, 1 batch
	// gelcoat: 0.31 kg, 3.0 % is 8.1 mL, gels in 17 min, 1 batch
	// stage 1: 0.63 kg, 2.5 % is 13.7 mL, gels in 36 min, 1 batch
	// stage 2: 0.65 kg, 2.5 % is 14.1 mL, gels in 36 min, 1 batch
	// Do not work "general-purpose polyester" at 12 °C: its table runs from 15 °C to 30 °C. Warm or cool the shop, or take another product.
}
