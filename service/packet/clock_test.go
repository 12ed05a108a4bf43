package packet_test

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/packet"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

var planned = regexp.MustCompile(`(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d+ [A-Z][a-z]{2} \d\d:\d\d`)

// Planned times are by the shop's clock, before and after it is put forward (14 March
// 2027) and back (7 November 2027): work lies within the shifts of the example, 07:00
// to 16:30 and on Fridays to 11:00, on the sheets of operations and on all others.
func TestPlannedTimesOverAChangeOfTheClocks(t *testing.T) {
	docs := shop.Example()
	e, err := derivation.New(docs)
	if err != nil {
		t.Fatal(err)
	}
	for _, start := range []time.Time{time.Date(2027, 3, 10, 12, 0, 0, 0, time.UTC), time.Date(2027, 11, 3, 11, 0, 0, 0, time.UTC)} {
		r := part.Request{Given: map[string]bool{"/pattern": true, "/outline/shape": true, "/outline/corner_radius": true}}
		r.Pattern, r.Units = part.FlushLedge, quantity.Metric
		r.Outline = part.Plan{Shape: part.Rectangle, Length: 620, Width: 480, CornerRadius: 80}
		out, err := e.Derive(r, start)
		if err != nil {
			t.Fatal(err)
		}
		b, err := packet.Write(packet.Request{Result: &out, Date: civil.DateOf(start, e.Location()), Location: e.Location()})
		if err != nil {
			t.Fatal(err)
		}
		before, after, idle := 0, 0, false
		change := time.Date(start.Year(), start.Month(), map[time.Month]int{time.March: 14, time.November: 7}[start.Month()], 0, 0, 0, 0, time.UTC)
		for _, p := range pages(t, b) {
			lines := texts(p)
			if !strings.Contains(strings.Join(lines, "|"), "Operations") {
				continue
			}
			all := strings.Join(lines, " ") // a cell may stand in two lines
			idle = idle || strings.Contains(all, "nothing else to do")
			for _, text := range planned.FindAllString(all, -1) {
				at, err := time.Parse("2006 Mon 2 Jan 15:04", start.Format("2006 ")+text)
				if err != nil {
					t.Fatal(err)
				}
				end := 16*60 + 30
				if at.Weekday() == time.Friday {
					end = 11 * 60
				}
				if m := at.Hour()*60 + at.Minute(); m < 7*60 || m > end {
					t.Errorf("work at %s", text)
				}
				if at.Before(change) {
					before++
				} else {
					after++
				}
			}
		}
		if before < 10 || after < 10 || !idle {
			t.Errorf("%v: %d times before the change and %d after, an idle shop said %v", start, before, after, idle)
		}
	}
}
