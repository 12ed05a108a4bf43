package derivation

import (
	"strings"
	"testing"
	"time"

	"hatchwright/service/finding"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
)

// A shop that is open for three quarters of an hour at a time says what it cannot lay
// in one go, and still has a date; with its own hours nothing is said.
func TestWetWorkLongerThanAnyRun(t *testing.T) {
	start := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	r := fitted(t)
	for _, short := range []bool{false, true} {
		d := shop.Example()
		if short {
			p := *d.Profile
			p.Calendar.Shifts = []shop.Shift{{Days: []string{"mon", "tue", "wed", "thu", "fri"}, Start: "08:00", End: "08:45"}, {Days: []string{"mon", "wed"}, Start: "10:00", End: "10:45"}}
			d.Profile = &p
		}
		e, err := New(d)
		if err != nil {
			t.Fatal(err)
		}
		got, err := e.Derive(r, start)
		if err != nil {
			t.Fatal(err)
		}
		if !got.Makeable() {
			t.Fatalf("it is not makeable: %v", got.Findings)
		}
		longest := map[string]float64{}
		for _, s := range got.LeadTime.Steps {
			if s.Unbroken && s.Labor > 45*time.Minute {
				longest[s.Part+" "+s.Kind] = max(longest[s.Part+" "+s.Kind], s.Labor.Hours())
			}
		}
		if len(longest) == 0 {
			t.Fatal("nothing takes longer: too easy")
		}
		said := 0
		for _, f := range got.Findings {
			if f.Code != "lead_time.over_a_run" {
				continue
			}
			said++
			if f.Severity != finding.Caution || f.Limit.Magnitude != 0.75 {
				t.Errorf("%+v", f)
			}
			found := false
			for k, h := range longest {
				found = found || h == f.Measured.Magnitude && (!strings.HasSuffix(k, "laminate") || f.Pointer == "/laminate/schedule")
			}
			if !found {
				t.Errorf("%v is of none of %v", f.Measured, longest)
			}
		}
		if want := len(longest); short && said != want || !short && said != 0 {
			t.Errorf("short hours %v: %d cautions, longest %v", short, said, longest)
		}
		if err := schedule.Verify([]schedule.Job{{Key: "order", Operations: operationsOf(got)}}, e.centers, schedule.Schedule{Origin: start, Placements: got.LeadTime.Placements}); err != nil {
			t.Error(err)
		}
	}
}

func operationsOf(r Result) []schedule.Operation {
	var out []schedule.Operation
	for _, s := range r.LeadTime.Steps {
		out = append(out, s.Operation)
	}
	return out
}
