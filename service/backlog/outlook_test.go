package backlog_test

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/backlog"
	"hatchwright/service/civil"
	"hatchwright/service/schedule"
)

// By hand, in a shop that works Monday to Friday, closed from 24 December to 3 January
// (the example profile): one working day in between moves a promise, the next working
// day does not.
func TestPassed(t *testing.T) {
	c := floor(t).Calendar
	for _, k := range []struct {
		promise, p80 string
		want         bool
	}{
		{"2026-12-07", "2026-12-07", false},
		{"2026-12-07", "2026-12-04", false}, // earlier
		{"2026-12-07", "2026-12-08", false},
		{"2026-12-07", "2026-12-09", true},
		{"2026-12-04", "2026-12-07", false}, // over a weekend
		{"2026-12-04", "2026-12-08", true},
		{"2026-12-23", "2027-01-04", false}, // over the winter closure
		{"2026-12-23", "2027-01-05", true},
		{"2026-12-26", "2027-01-04", false}, // a promise by hand, on a day that is none
	} {
		promise, err := civil.ParseDate(k.promise)
		if err != nil {
			t.Fatal(err)
		}
		p80, err := civil.ParseDate(k.p80)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := backlog.Passed(c, promise, p80); err != nil || got != k.want {
			t.Errorf("promised %s, p80 %s: %v, %v", k.promise, k.p80, got, err)
		}
	}
}

func shares(list ...any) (out []schedule.Share) {
	for i := 0; i < len(list); i += 3 {
		out = append(out, schedule.Share{Cause: schedule.Cause(list[i].(string)), Key: list[i+1].(string), Time: time.Duration(list[i+2].(int)) * time.Hour})
	}
	return out
}

// Each cause by hand: what grew, most first, and the time that went by with nothing
// done.
func TestMoved(t *testing.T) {
	then := shares("labor", "bench", 20, "wait", "cure", 16, "queue", "booth", 4)
	for _, k := range []struct {
		name    string
		elapsed int
		now     []schedule.Share
		closed  int
		want    string
	}{
		{"as planned", 10, shares("labor", "bench", 12, "wait", "cure", 16, "queue", "booth", 2), 0, "[]"},
		{"nothing was done", 10, then, 0, "[behind  10h]"},
		{"half of it was", 10, shares("labor", "bench", 15, "wait", "cure", 16, "queue", "booth", 4), 0, "[behind  5h]"},
		{"an order ahead", 0, shares("labor", "bench", 20, "wait", "cure", 16, "queue", "booth", 30), 0, "[queue booth 26h]"},
		{"material", 5, shares("material", "1-laminate", 100, "labor", "bench", 10, "wait", "cure", 16), 0, "[material 1-laminate 100h]"},
		{"a mold", 0, shares("mold", "mold 7", 9, "labor", "bench", 20, "wait", "cure", 16), 0, "[mold mold 7 9h]"},
		{"two centers", 0, shares("labor", "bench", 23, "labor", "trim", 5, "wait", "cure", 16, "queue", "booth", 4), 0, "[labor trim 8h]"},
		{"closed days", 0, shares("labor", "bench", 68, "wait", "cure", 16, "queue", "booth", 10), 48, "[closed  48h queue booth 6h]"},
		{"earlier", 0, shares("labor", "bench", 2), 0, "[]"},
	} {
		at := func(list []schedule.Share, elapsed int) backlog.Outlook {
			o := backlog.Outlook{Seen: now.Add(time.Duration(elapsed) * time.Hour), Shares: list}
			o.End = o.Seen
			for _, s := range list {
				o.End = o.End.Add(s.Time)
			}
			return o
		}
		var got []string
		for _, s := range backlog.Moved(at(then, 0), at(k.now, k.elapsed), time.Duration(k.closed)*time.Hour) {
			got = append(got, fmt.Sprintf("%s %s %dh", s.Cause, s.Key, int(s.Time.Hours())))
		}
		if text := fmt.Sprint(got); text != k.want {
			t.Errorf("%s: %s, want %s", k.name, text, k.want)
		}
	}
}

// The causes account for all of what an end is later by, and more by no more than what
// the shares got smaller.
func TestMovedProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		outlook := func(seen time.Time, label string) backlog.Outlook {
			o := backlog.Outlook{Seen: seen, End: seen}
			for _, c := range []string{"labor", "wait", "queue", "closed", "material", "mold"} {
				if d := time.Duration(rapid.IntRange(0, 100).Draw(t, label+c)) * time.Hour; d > 0 {
					o.Shares = append(o.Shares, schedule.Share{Cause: schedule.Cause(c), Key: "k", Time: d})
					o.End = o.End.Add(d)
				}
			}
			return o
		}
		then := outlook(now, "then ")
		after := outlook(now.Add(time.Duration(rapid.IntRange(0, 100).Draw(t, "elapsed"))*time.Hour), "now ")
		sum := time.Duration(0)
		moved := backlog.Moved(then, after, time.Duration(rapid.IntRange(0, 60).Draw(t, "closed"))*time.Hour)
		for i, m := range moved {
			if m.Time <= 0 || i > 0 && m.Time > moved[i-1].Time {
				t.Fatal(moved)
			}
			sum += m.Time
		}
		if later := after.End.Sub(then.End); sum < later {
			t.Fatalf("%v later, of which %v is told: %v", later, sum, moved)
		}
	})
}
