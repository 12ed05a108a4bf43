package schedule_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/civil"
	"hatchwright/service/schedule"
)

// By hand: 14 h at one of two posts from Friday 08:00, two shifts of 8 h a day:
// 8 h Friday, 6 h Monday, of 16 h each; the weekend is open for nobody. At
// night: 22:00 to 06:00 every night, 8 h from Friday 22:00 are 2 h and 6 h. Nobody works at the
// third, which is closed on the Monday.
func TestLoad(t *testing.T) {
	loc := zone(t, "America/New_York")
	centers := []schedule.Center{{Key: "day", Posts: 2, Calendar: calendar(t, loc, dayShifts())}, {Key: "idle", Posts: 3, Calendar: calendar(t, loc, dayShifts(), schedule.Closure{From: date("2026-01-19"), To: date("2026-01-19")})}, {Key: "night", Posts: 1, Calendar: calendar(t, loc, nights())}}
	jobs := []schedule.Job{{Key: "J", Operations: []schedule.Operation{op("a", "day", 14*hour, 0), op("b", "night", 8*hour, 0)}}}
	s, err := schedule.Serial(jobs, centers, ny(t, 16, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := schedule.Load(s, centers, civil.Date{})
	if err != nil {
		t.Fatal(err)
	}
	want := []schedule.DayLoad{
		{WorkCenter: "day", Date: date("2026-01-16"), Busy: 8 * hour, Available: 16 * hour}, {WorkCenter: "day", Date: date("2026-01-17")},
		{WorkCenter: "day", Date: date("2026-01-18")}, {WorkCenter: "day", Date: date("2026-01-19"), Busy: 6 * hour, Available: 16 * hour},
		{WorkCenter: "idle", Date: date("2026-01-16"), Available: 24 * hour}, {WorkCenter: "idle", Date: date("2026-01-17")}, {WorkCenter: "idle", Date: date("2026-01-18")}, {WorkCenter: "idle", Date: date("2026-01-19"), Closed: true},
		{WorkCenter: "night", Date: date("2026-01-16"), Busy: 2 * hour, Available: 2 * hour}, {WorkCenter: "night", Date: date("2026-01-17"), Busy: 6 * hour, Available: 8 * hour}, {WorkCenter: "night", Date: date("2026-01-18"), Available: 8 * hour}, {WorkCenter: "night", Date: date("2026-01-19"), Available: 8 * hour},
	}
	if !slices.Equal(got, want) {
		t.Errorf("load %v\nwant %v", got, want)
	}
	if got, err := schedule.Load(s, centers, date("2026-01-16")); err != nil || !slices.Equal(got, []schedule.DayLoad{want[0], want[4], want[8]}) {
		t.Errorf("of the first day: %v, %v", got, err)
	}
	if got, err := schedule.Load(schedule.Schedule{Origin: s.Origin}, centers[1:2], date("2026-01-19")); err != nil || !slices.Equal(got, want[4:8]) {
		t.Errorf("without work: %v, %v", got, err)
	}
	if got, err := schedule.Load(s, centers, date("2026-01-15")); err != nil || len(got) > 0 {
		t.Errorf("before the origin: %v, %v", got, err)
	}
	if _, err := schedule.Load(s, centers[:1], civil.Date{}); !errors.Is(err, schedule.ErrUnknownCenter) {
		t.Errorf("unknown center: %v", err)
	}
}

// No day is overloaded and nothing is lost: the loads add up to the labor.
func TestLoadAddsUp(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		jobs, centers, from := drawShop(rt, t)
		s, err := schedule.Serial(jobs, centers, from, nil)
		if errors.Is(err, schedule.ErrMoldDeadlock) {
			return
		}
		if err != nil {
			rt.Fatal(err)
		}
		load, err := schedule.Load(s, centers, civil.Date{})
		if err != nil {
			rt.Fatal(err)
		}
		var sum, labor time.Duration
		for _, l := range load {
			if l.Busy > l.Available {
				rt.Fatalf("overloaded: %+v", l)
			}
			sum += l.Busy
		}
		for _, j := range jobs {
			for _, o := range j.Operations {
				labor += o.Labor
			}
		}
		if sum != labor {
			rt.Fatalf("loads add up to %v of %v", sum, labor)
		}
	})
}
