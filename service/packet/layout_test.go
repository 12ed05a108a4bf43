package packet

import (
	"testing"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/drawing"
	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// No label of any page overlaps another or leaves the frame.
func TestPagesAreLegible(t *testing.T) {
	docs := shop.Example()
	e, err := derivation.New(docs)
	if err != nil {
		t.Fatal(err)
	}
	for _, pattern := range part.Patterns {
		for _, u := range []quantity.System{quantity.Metric, quantity.Inch} {
			r := part.Request{Given: map[string]bool{"/pattern": true, "/outline/shape": true, "/outline/corner_radius": true, "/quantity": true}}
			r.Pattern, r.Quantity, r.Units = pattern, 2, u
			r.Outline = part.Plan{Shape: part.Rectangle, Length: 620, Width: 480, CornerRadius: 80}
			out, err := e.Derive(r, time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))
			if err != nil {
				t.Fatal(err)
			}
			sheets, err := Sheets(Request{MixesAt: func(c float64) ([]derivation.Mix, []finding.Finding, error) { return e.Mixes(&out, c) }, Result: &out, Units: u, Date: civil.Date{Year: 2026, Month: 3, Day: 2}, Shop: docs.Profile.Name, Location: e.Location()})
			if err != nil {
				t.Fatal(err)
			}
			for i := range sheets {
				for _, fault := range drawing.Faults(&sheets[i]) {
					t.Errorf("%s %s page %d: %s", pattern, u, i+1, fault)
				}
			}
		}
	}
}
