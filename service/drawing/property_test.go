package drawing

import (
	"testing"

	"pgregory.net/rapid"

	"hatchwright/service/derivation"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// Whatever can be made can be drawn, and drawn legibly.
func TestRandomHatchesAreDrawnLegibly(t *testing.T) {
	e, err := derivation.New(shop.Example())
	if err != nil {
		t.Fatal(err)
	}
	drawn := 0
	rapid.Check(t, func(t *rapid.T) {
		plan := part.Plan{Shape: rapid.SampledFrom([]string{part.Rectangle, part.Dee, part.Taper, part.Circle, part.Obround}).Draw(t, "shape"),
			Length: rapid.Float64Range(300, 1500).Draw(t, "length"), Width: rapid.Float64Range(240, 900).Draw(t, "width"),
			CornerRadius: rapid.Float64Range(0, 110).Draw(t, "corner"), Diameter: rapid.Float64Range(260, 900).Draw(t, "diameter")}
		plan.WidthAft, plan.WidthFwd = plan.Width, plan.Width*rapid.Float64Range(0.6, 1.3).Draw(t, "taper")
		f := map[string]float64{}
		for _, s := range []struct {
			pointer   string
			low, high float64
		}{
			{"/receiver/recess_depth", 18, 60}, {"/receiver/ledge_width", 28, 60}, {"/receiver/trunk_height", 20, 150}, {"/receiver/flange_width", 30, 80},
			{"/receiver/edge_radius", 0, 14}, {"/receiver/root_radius", 0, 8}, {"/receiver/lip_radius", 0, 8},
			{"/receiver/draft_deg", 0, 4}, {"/receiver/trunk_draft_deg", 0, 5}, {"/lid/gap", 2, 7}, {"/lid/edge_radius", 0, 12}, {"/lid/land_width", 0, 15},
			{"/deck/thickness", 4, 50}, {"/seal/thickness", 3, 12}, {"/seal/width", 6, 20},
		} {
			if rapid.Bool().Draw(t, "set "+s.pointer) {
				f[s.pointer] = rapid.Float64Range(s.low, s.high).Draw(t, s.pointer)
			}
		}
		pattern := rapid.SampledFrom([]part.Pattern{part.FlushLedge, part.FlushLedge, part.FlushGutter, part.RaisedCoaming, part.BoltedPlate}).Draw(t, "pattern")
		r := hatch(pattern, plan, f)
		if rapid.Bool().Draw(t, "inches") {
			r.Units = quantity.Inch
		}
		out, err := e.Derive(r, monday)
		if err != nil {
			t.Fatal(err)
		}
		if !out.Makeable() {
			return
		}
		drawn++
		req := Request{Result: &out, Units: r.Units, Date: today}
		for _, name := range Names(&out) {
			d, err := Draw(name, req)
			if err != nil {
				t.Fatal(err)
			}
			for i := range d.Sheets {
				for _, fault := range Faults(&d.Sheets[i]) {
					t.Errorf("%s sheet %d: %s", name, i+1, fault)
				}
			}
		}
	})
	if drawn == 0 {
		t.Error("no random hatch could be made: the test looked at nothing")
	}
	t.Logf("%d hatches drawn", drawn)
}
