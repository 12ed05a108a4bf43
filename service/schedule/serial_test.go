package schedule_test

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/schedule"
)

const (
	hour   = time.Hour
	minute = time.Minute
)

func shopCenters(t testing.TB, posts ...int) []schedule.Center {
	c := calendar(t, zone(t, "America/New_York"), dayShifts())
	out := make([]schedule.Center, len(posts))
	for i, n := range posts {
		out[i] = schedule.Center{Key: string(rune('A' + i)), Posts: n, Calendar: c}
	}
	return out
}

func ny(t testing.TB, day, h, m int) time.Time {
	return time.Date(2026, 1, day, h, m, 0, 0, zone(t, "America/New_York"))
}

// One job in an empty shop, worked by hand. Monday 12 January 2026, shifts
// 08:00-12:00 and 12:30-16:30.
//
//	mold    A 6 h          Mon 08:00-14:30
//	seal    wait 4 h       Mon 14:30-18:30
//	laminate A 3 h + 16 h  Tue 08:00-11:00, cured Wed 03:00
//	frame   B 2 h          Mon 08:00-10:00
//	fit     B 1 h          Wed 08:00-09:00
func handJob() schedule.Job {
	return schedule.Job{Key: "J1", Operations: []schedule.Operation{
		{Key: "fit", Kind: "fit", WorkCenter: "B", Labor: hour, After: []string{"laminate", "frame"}},
		{Key: "mold", Kind: "mold", WorkCenter: "A", Labor: 6 * hour},
		{Key: "seal", Kind: "seal", Wait: 4 * hour, After: []string{"mold"}},
		{Key: "laminate", Kind: "laminate", WorkCenter: "A", Labor: 3 * hour, Wait: 16 * hour, After: []string{"seal"}, Mold: "M1"},
		{Key: "frame", Kind: "frame", WorkCenter: "B", Labor: 2 * hour},
	}}
}

func TestSerialOfOneJob(t *testing.T) {
	s, err := schedule.Serial([]schedule.Job{handJob()}, shopCenters(t, 1, 1), ny(t, 12, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][2]time.Time{
		"mold": {ny(t, 12, 8, 0), ny(t, 12, 14, 30)}, "seal": {ny(t, 12, 14, 30), ny(t, 12, 18, 30)},
		"laminate": {ny(t, 13, 8, 0), ny(t, 14, 3, 0)}, "frame": {ny(t, 12, 8, 0), ny(t, 12, 10, 0)},
		"fit": {ny(t, 14, 8, 0), ny(t, 14, 9, 0)},
	}
	for _, p := range s.Placements {
		if w := want[p.Operation]; !p.Start.Equal(w[0]) || !p.End.Equal(w[1]) {
			t.Errorf("%s %v to %v, want %v to %v", p.Operation, p.Start, p.End, w[0], w[1])
		}
	}
	f := s.Jobs[0]
	if got := []string{"mold", "seal", "laminate", "fit"}; !slices.Equal(f.Critical.Path, got) {
		t.Errorf("critical path %v", f.Critical.Path)
	}
	// Mon 08:00 to Wed 09:00 is 49 h: labor A 6.5 (break within) + 3, wait
	// 4 + 16, closed A Mon 18:30-Tue 08:00 13.5, closed B Wed 03:00-08:00 5,
	// labor B 1. Cure is the longest that can be changed.
	shares := []schedule.Share{
		{Cause: schedule.CauseWait, Key: "laminate", Time: 16 * hour}, {Cause: schedule.CauseClosed, Key: "A", Time: 13*hour + 30*minute},
		{Cause: schedule.CauseLabor, Key: "A", Time: 9*hour + 30*minute}, {Cause: schedule.CauseClosed, Key: "B", Time: 5 * hour},
		{Cause: schedule.CauseWait, Key: "seal", Time: 4 * hour}, {Cause: schedule.CauseLabor, Key: "B", Time: hour},
	}
	if !slices.Equal(f.Critical.Shares, shares) {
		t.Errorf("shares %v, want %v", f.Critical.Shares, shares)
	}
	if f.Critical.Driver != shares[0] {
		t.Errorf("driver %v", f.Critical.Driver)
	}
	if err := schedule.Verify([]schedule.Job{handJob()}, shopCenters(t, 1, 1), s); err != nil {
		t.Error(err)
	}
}

func op(key, center string, labor, wait time.Duration, after ...string) schedule.Operation {
	return schedule.Operation{Key: key, Kind: key, WorkCenter: center, Labor: labor, Wait: wait, After: after}
}

// Jobs on one post: of two accepted at once the earlier promise goes first, the other
// fills what it leaves free, and what is accepted later goes behind both, though
// promised sooner. Hand: urgent 08:00-12:00, cures 12:00-14:00, trims
// 14:00-15:00; slow (7 h, no cure) is at post 0 when free for 7 h unbroken:
// not 12:30-14:00, so Mon 15:00-16:30 and Tue 08:00-14:00 less the break.
func TestSerialPriority(t *testing.T) {
	jobs := []schedule.Job{
		{Key: "slow", Promised: ny(t, 30, 0, 0), Operations: []schedule.Operation{op("work", "A", 7*hour, 0)}},
		{Key: "urgent", Promised: ny(t, 20, 0, 0), Operations: []schedule.Operation{op("lay", "A", 4*hour, 2*hour), op("trim", "A", hour, 0, "lay")}},
		{Key: "short", Promised: ny(t, 12, 13, 0), Accepted: ny(t, 12, 0, 0), Operations: []schedule.Operation{op("drill", "B", hour, 0)}},
	}
	jobs[2].Operations[0].WorkCenter = "A"
	s, err := schedule.Serial(jobs, shopCenters(t, 1), ny(t, 12, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	for _, p := range s.Placements {
		got += fmt.Sprintf("%s/%s %s-%s\n", p.Job, p.Operation, p.Start.In(zone(t, "America/New_York")).Format("02 15:04"), p.LaborEnd.In(zone(t, "America/New_York")).Format("02 15:04"))
	}
	want := "slow/work 12 15:00-13 14:00\nurgent/lay 12 08:00-12 12:00\nurgent/trim 12 14:00-12 15:00\nshort/drill 12 12:30-12 13:30\n"
	if got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	if err := schedule.Verify(jobs, shopCenters(t, 1), s); err != nil {
		t.Error(err)
	}
}

// A job that is accepted last leaves everything else where it was, whatever it is
// promised for: in the schedule by estimates and in every scenario.
func TestLastAcceptedMovesNothing(t *testing.T) {
	added := 0
	rapid.Check(t, func(rt *rapid.T) {
		jobs, centers, origin := drawShop(rt, t)
		last := len(jobs) - 1
		for k := range jobs {
			jobs[k].Accepted = origin.Add(time.Duration(k-last) * hour)
		}
		jobs[last].Promised, jobs[last].Holds = origin, nil
		for i := range jobs[last].Operations {
			jobs[last].Operations[i].Started = false
		}
		before, err := schedule.Serial(jobs[:last], centers, origin, nil)
		if errors.Is(err, schedule.ErrMoldDeadlock) {
			return
		}
		if err != nil {
			rt.Fatal(err)
		}
		after, err := schedule.Serial(jobs, centers, origin, nil)
		if err != nil {
			rt.Fatal(err)
		}
		if !slices.Equal(before.Placements, after.Placements[:len(before.Placements)]) {
			rt.Fatalf("%+v\nwith one more:\n%+v", before.Placements, after.Placements)
		}
		sampled := func(jobs []schedule.Job) []schedule.Percentiles {
			p, err := schedule.NewProfiles(schedule.Setup{Jobs: jobs, Centers: centers, Origin: origin, Model: spreads(), Scenarios: 8})
			if errors.Is(err, schedule.ErrMoldDeadlock) {
				return nil
			}
			if err != nil {
				rt.Fatal(err)
			}
			return p.Backlog()
		}
		if one, two := sampled(jobs[:last]), sampled(jobs); one != nil && two != nil {
			added++
			if !slices.Equal(one, two[:last]) {
				rt.Fatalf("%+v\nwith one more:\n%+v", one, two)
			}
		}
	})
	if added == 0 {
		t.Error("no scenario was compared")
	}
}

// A mold is occupied through the cure: two posts, one mold. First part in it
// Mon 08:00-10:00, cured Tue 02:00, demolded Tue 08:00-09:00: the second part
// begins at 09:00.
func TestMoldStay(t *testing.T) {
	job := func(key string) schedule.Job {
		a, b := op("lay", "A", 2*hour, 16*hour), op("demold", "A", hour, 0, "lay")
		a.Mold, b.Mold = "M", "M"
		return schedule.Job{Key: key, Operations: []schedule.Operation{a, b}}
	}
	jobs := []schedule.Job{job("one"), job("two")}
	s, err := schedule.Serial(jobs, shopCenters(t, 2), ny(t, 12, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := s.Placements[2].Start, ny(t, 13, 9, 0); !got.Equal(want) || s.Placements[2].Cause != schedule.CauseMold || s.Placements[2].CauseKey != "M" {
		t.Errorf("second part from %v (%v %q), want %v", got, s.Placements[2].Cause, s.Placements[2].CauseKey, want)
	}
	if err := schedule.Verify(jobs, shopCenters(t, 2), s); err != nil {
		t.Error(err)
	}
	// Held at the start by the later one, it is hers first.
	jobs[1].Holds = []string{"M"}
	s, err = schedule.Serial(jobs, shopCenters(t, 2), ny(t, 12, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	if !s.Placements[2].Start.Equal(ny(t, 12, 8, 0)) || !s.Placements[0].Start.Equal(ny(t, 13, 9, 0)) {
		t.Errorf("holder from %v, other from %v", s.Placements[2].Start, s.Placements[0].Start)
	}
	if err := schedule.Verify(jobs, shopCenters(t, 2), s); err != nil {
		t.Error(err)
	}
}

// Each of two jobs holds the mold the other wants next; lid and receiver run
// side by side, so both can be done.
func TestMoldsHeldCrosswise(t *testing.T) {
	job := func(key, held, wanted string) schedule.Job {
		a, b := op("demold", "A", 2*hour, 0), op("lay", "A", 2*hour, 0)
		a.Mold, b.Mold = held, wanted
		return schedule.Job{Key: key, Holds: []string{held}, Operations: []schedule.Operation{b, a}}
	}
	jobs := []schedule.Job{job("one", "R", "L"), job("two", "L", "R")}
	s, err := schedule.Serial(jobs, shopCenters(t, 1), ny(t, 12, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := schedule.Verify(jobs, shopCenters(t, 1), s); err != nil {
		t.Error(err)
	}
	// When each must first have the other's, neither can be.
	for i := range jobs {
		jobs[i].Operations[1].After = []string{"lay"}
	}
	if _, err := schedule.Serial(jobs, shopCenters(t, 1), ny(t, 12, 8, 0), nil); !errors.Is(err, schedule.ErrMoldDeadlock) {
		t.Errorf("error %v, want a deadlock", err)
	}
}

func TestSerialRefuses(t *testing.T) {
	centers := shopCenters(t, 1)
	job := func(ops ...schedule.Operation) schedule.Job { return schedule.Job{Key: "J", Operations: ops} }
	century := 100 * 366 * 24 * hour
	for _, k := range []struct {
		name    string
		jobs    []schedule.Job
		centers []schedule.Center
		want    error
	}{
		{"cycle", []schedule.Job{job(op("a", "A", hour, 0, "c"), op("b", "A", hour, 0, "a"), op("c", "A", hour, 0, "b"), op("d", "A", hour, 0, "c"))}, centers, schedule.ErrCycle},
		{"self", []schedule.Job{job(op("a", "A", hour, 0, "a"))}, centers, schedule.ErrCycle},
		{"unknown center", []schedule.Job{job(op("a", "Z", hour, 0))}, centers, schedule.ErrUnknownCenter},
		{"unknown predecessor", []schedule.Job{job(op("a", "A", hour, 0, "z"))}, centers, schedule.ErrUnknownPredecessor},
		{"two of a key", []schedule.Job{job(op("a", "A", hour, 0), op("a", "A", hour, 0))}, centers, schedule.ErrDuplicateKey},
		{"two jobs of a key", []schedule.Job{job(), job()}, centers, schedule.ErrDuplicateKey},
		{"no key", []schedule.Job{job(op("", "A", hour, 0))}, centers, schedule.ErrEmptyKey},
		{"labor nowhere", []schedule.Job{job(op("a", "", hour, 0))}, centers, schedule.ErrLaborNowhere},
		{"negative labor", []schedule.Job{job(op("a", "A", -hour, 0))}, centers, schedule.ErrNegativeWork},
		{"negative wait", []schedule.Job{job(op("a", "A", hour, -1))}, centers, schedule.ErrNegativeWork},
		{"century of labor", []schedule.Job{job(op("a", "A", century, 0))}, centers, schedule.ErrOutOfRange},
		{"too much labor", []schedule.Job{job(op("a", "A", 30*366*24*hour, 0))}, centers, schedule.ErrNothingOpens},
		{"risk", []schedule.Job{job(schedule.Operation{Key: "a", Risk: 1.5})}, centers, schedule.ErrRisk},
		{"no posts", nil, []schedule.Center{{Key: "A", Calendar: centers[0].Calendar}}, schedule.ErrNoPosts},
		{"no hours", nil, []schedule.Center{{Key: "A", Posts: 1}}, schedule.ErrCenterHours},
		{"started early", []schedule.Job{job(op("a", "A", hour, 0), schedule.Operation{Key: "b", After: []string{"a"}, Started: true})}, centers, schedule.ErrStartedEarly},
		{"too many", []schedule.Job{{Key: "J", Operations: make([]schedule.Operation, schedule.MaxOperations+1)}}, centers, schedule.ErrTooMany},
		{"held twice", []schedule.Job{{Key: "a", Holds: []string{"M"}}, {Key: "b", Holds: []string{"M"}}}, centers, schedule.ErrMoldHeldTwice},
	} {
		t.Run(k.name, func(t *testing.T) {
			if _, err := schedule.Serial(k.jobs, k.centers, ny(t, 12, 8, 0), nil); !errors.Is(err, k.want) {
				t.Fatalf("error %v, want %v", err, k.want)
			}
		})
	}
	var c *schedule.CycleError
	_, err := schedule.Serial([]schedule.Job{job(op("a", "A", hour, 0, "c"), op("b", "A", hour, 0, "a"), op("c", "A", hour, 0, "b"), op("d", "A", hour, 0, "c"))}, centers, ny(t, 12, 8, 0), nil)
	if !errors.As(err, &c) || !slices.Equal(c.Operations, []string{"a", "b", "c"}) {
		t.Errorf("cycle %+v in %v", c, err)
	}
	if _, err := schedule.Serial([]schedule.Job{job()}, centers, ny(t, 12, 8, 0), []int{1}); !errors.Is(err, schedule.ErrOrder) {
		t.Errorf("order: %v", err)
	}
	if _, err := schedule.Serial([]schedule.Job{job()}, centers, time.Time{}, nil); !errors.Is(err, schedule.ErrOutOfRange) {
		t.Errorf("year 1: %v", err)
	}
}

// drawShop draws a few centers on two calendars and jobs with random graphs.
func drawShop(t *rapid.T, tb testing.TB) ([]schedule.Job, []schedule.Center, time.Time) {
	loc := zone(tb, "America/New_York")
	centers := []schedule.Center{
		{Key: "A", Posts: rapid.IntRange(1, 3).Draw(t, "posts A"), Calendar: calendar(tb, loc, dayShifts(), schedule.Closure{From: date("2026-03-12"), To: date("2026-03-13")})},
		{Key: "B", Posts: 1, Calendar: calendar(tb, loc, nights())},
		{Key: "C", Posts: 2, Calendar: calendar(tb, loc, dayShifts())},
	}
	origin := time.Date(2026, 3, 5, 0, rapid.IntRange(0, 2000).Draw(t, "origin"), 0, 0, loc)
	held := map[string]bool{}
	var jobs []schedule.Job
	for k := range rapid.IntRange(1, 12).Draw(t, "jobs") {
		j := schedule.Job{Key: fmt.Sprint("J", k), Promised: origin.Add(time.Duration(rapid.IntRange(0, 500).Draw(t, "promise")) * hour)}
		for i := range rapid.IntRange(0, 8).Draw(t, "operations") {
			o := schedule.Operation{Key: fmt.Sprint("o", i), Kind: "k",
				WorkCenter: rapid.SampledFrom([]string{"", "A", "B", "C"}).Draw(t, "center"),
				Wait:       time.Duration(rapid.SampledFrom([]int{0, 0, 30, 1000}).Draw(t, "wait")) * minute,
				Mold:       rapid.SampledFrom([]string{"", "", "M1", "M2"}).Draw(t, "mold")}
			if o.WorkCenter != "" {
				o.Labor = time.Duration(rapid.IntRange(0, 600).Draw(t, "labor")) * minute
				o.Unbroken = rapid.IntRange(0, 2).Draw(t, "unbroken") == 0
			}
			for p := range i {
				if rapid.IntRange(0, 3).Draw(t, "edge") == 0 {
					o.After = append(o.After, fmt.Sprint("o", p))
				}
			}
			o.Started = len(o.After) == 0 && !held[o.Mold] && rapid.IntRange(0, 4).Draw(t, "started") == 0
			if rapid.IntRange(0, 5).Draw(t, "material") == 0 {
				at := origin.Add(time.Duration(rapid.IntRange(-10, 100).Draw(t, "material at")) * hour)
				o.MaterialReady = &at
			}
			if o.Mold != "" && o.Started {
				held[o.Mold] = true
			}
			if o.Mold != "" && !held[o.Mold] && len(j.Holds) == 0 && rapid.IntRange(0, 3).Draw(t, "holds") == 0 {
				held[o.Mold] = true
				j.Holds = []string{o.Mold}
			}
			j.Operations = append(j.Operations, o)
		}
		jobs = append(jobs, j)
	}
	return jobs, centers, origin
}

// Every schedule of a random shop is feasible by the verifier, the same twice,
// and its shares add up; one moved a minute too early is caught.
func TestSerialIsFeasible(t *testing.T) {
	deadlocks, checked := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		jobs, centers, origin := drawShop(rt, t)
		checked++
		s, err := schedule.Serial(jobs, centers, origin, nil)
		if errors.Is(err, schedule.ErrMoldDeadlock) {
			deadlocks++
			return
		}
		if err != nil {
			rt.Fatal(err)
		}
		if err := schedule.Verify(jobs, centers, s); err != nil {
			rt.Fatal(err)
		}
		again, err := schedule.Serial(jobs, centers, origin, nil)
		if err != nil || !reflect.DeepEqual(s, again) {
			rt.Fatalf("second run differs: %v", err)
		}
		for _, f := range s.Jobs {
			var sum time.Duration
			for _, x := range f.Critical.Shares {
				sum += x.Time
			}
			if sum != f.End.Sub(s.Origin) {
				rt.Fatalf("%s: shares add up to %v of %v", f.Job, sum, f.End.Sub(s.Origin))
			}
		}
		for i, p := range s.Placements {
			// A tight operation one minute earlier must break something.
			if p.Post < 0 || p.LaborEnd.Equal(p.Start) {
				continue
			}
			moved := s
			moved.Placements = slices.Clone(s.Placements)
			moved.Placements[i].Start = p.Start.Add(-minute)
			if schedule.Verify(jobs, centers, moved) == nil && p.Post >= 0 {
				// Only free when the minute before was out of hours.
				if w := centerOf(centers, p.WorkCenter).Calendar.WorkBetween(p.Start.Add(-minute), p.Start); w > 0 {
					rt.Fatalf("%s/%s began a minute early unseen", p.Job, p.Operation)
				}
			}
		}
	})
	if deadlocks*2 > checked {
		t.Errorf("%d of %d draws were deadlocks: the property is hardly tested", deadlocks, checked)
	}
}

func centerOf(centers []schedule.Center, key string) schedule.Center {
	return centers[slices.IndexFunc(centers, func(c schedule.Center) bool { return c.Key == key })]
}

// Work that must not be broken off, by hand. Monday 12 January 2026, shifts
// 08:00-12:00 and 12:30-16:30: the half hour at noon breaks nothing off, the night
// does.
//
//	mold   A 6 h               Mon 08:00-14:30
//	stage  A 3 h               does not fit before 16:30: Tue 08:00-11:00
//	trim   A 2 h, can stop     Mon 14:30-16:30, before it
//	skin   B 8 h               Mon 08:00-16:30
//	bulk   B 9 h               longer than any day: begins with one, Tue 08:00 to Wed 09:00
func TestUnbroken(t *testing.T) {
	wet := func(key, center string, labor time.Duration, after ...string) schedule.Operation {
		o := op(key, center, labor, 0, after...)
		o.Unbroken = true
		return o
	}
	jobs := []schedule.Job{
		{Key: "J1", Operations: []schedule.Operation{op("mold", "A", 6*hour, 0), wet("stage", "A", 3*hour, "mold"), op("trim", "A", 2*hour, 0, "mold")}},
		{Key: "J2", Operations: []schedule.Operation{wet("skin", "B", 8*hour), wet("bulk", "B", 9*hour, "skin")}},
	}
	centers := shopCenters(t, 1, 1)
	s, err := schedule.Serial(jobs, centers, ny(t, 12, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][2]time.Time{
		"mold": {ny(t, 12, 8, 0), ny(t, 12, 14, 30)}, "stage": {ny(t, 13, 8, 0), ny(t, 13, 11, 0)}, "trim": {ny(t, 12, 14, 30), ny(t, 12, 16, 30)},
		"skin": {ny(t, 12, 8, 0), ny(t, 12, 16, 30)}, "bulk": {ny(t, 13, 8, 0), ny(t, 14, 9, 0)},
	}
	for _, p := range s.Placements {
		if w := want[p.Operation]; !p.Start.Equal(w[0]) || !p.End.Equal(w[1]) {
			t.Errorf("%s %v to %v, want %v to %v", p.Operation, p.Start, p.End, w[0], w[1])
		}
	}
	if err := schedule.Verify(jobs, centers, s); err != nil {
		t.Error(err)
	}
	// From 14:30 on the shop is closed to the stage, not busy.
	wait := slices.IndexFunc(s.Jobs[0].Critical.Shares, func(x schedule.Share) bool { return x.Cause == schedule.CauseClosed })
	if wait < 0 || s.Jobs[0].Critical.Shares[wait].Time != 17*hour+30*minute {
		t.Errorf("shares %v", s.Jobs[0].Critical.Shares)
	}
	// Broken off at night, or a long one begun after noon: seen.
	for key, from := range map[string][2]time.Time{"stage": {ny(t, 12, 14, 30), ny(t, 13, 9, 0)}, "bulk": {ny(t, 12, 12, 30), ny(t, 13, 13, 30)}} {
		bad := s
		bad.Placements = slices.Clone(s.Placements)
		for i := range bad.Placements {
			if p := &bad.Placements[i]; p.Operation == key {
				p.Start, p.LaborEnd, p.End = from[0], from[1], from[1]
			}
		}
		alone := []schedule.Job{{Key: "J1", Operations: []schedule.Operation{wet("stage", "A", 3*hour)}}}
		if key == "bulk" {
			alone = []schedule.Job{{Key: "J2", Operations: []schedule.Operation{wet("bulk", "B", 9*hour)}}}
		}
		bad.Placements = slices.DeleteFunc(bad.Placements, func(p schedule.Placement) bool { return p.Operation != key })
		if err := schedule.Verify(alone, centers, bad); !errors.Is(err, schedule.ErrInfeasible) {
			t.Errorf("%s broken off: %v", key, err)
		}
	}
}

// Work that has to be followed soon, by hand. Shifts 08:00-12:00 and 12:30-16:30,
// Friday 16 January 2026, 10:00.
//
//	gelcoat A 1 h + 2 h    could be 10:00, but the stage does not fit before 16:30 then,
//	stage   B 5 h          nor before Monday: 67 h after it. Monday 08:00-09:00, and
//	                       the stage 11:00-16:30
//
// With 72 h to follow in, it is Friday 10:00 and the stage Monday 08:00. Where the
// hours never let it be, the last try stays.
func TestFollow(t *testing.T) {
	jobs := func(follow time.Duration) []schedule.Job {
		gelcoat, stage := op("gelcoat", "A", hour, 2*hour), op("stage", "B", 5*hour, 0, "gelcoat")
		gelcoat.Follow, gelcoat.Unbroken, stage.Unbroken = follow, true, true
		return []schedule.Job{{Key: "J", Operations: []schedule.Operation{gelcoat, stage, op("trim", "B", hour, 0, "stage")}}}
	}
	for follow, want := range map[time.Duration][2]time.Time{
		24 * hour: {ny(t, 19, 8, 0), ny(t, 19, 11, 0)},
		72 * hour: {ny(t, 16, 10, 0), ny(t, 19, 8, 0)},
		0:         {ny(t, 16, 10, 0), ny(t, 19, 8, 0)},
	} {
		centers := shopCenters(t, 1, 1)
		s, err := schedule.Serial(jobs(follow), centers, ny(t, 16, 10, 0), nil)
		if err != nil {
			t.Fatal(err)
		}
		for i, at := range want {
			if p := s.Placements[i]; !p.Start.Equal(at) {
				t.Errorf("to follow in %v: %s starts %v, want %v", follow, p.Operation, p.Start, at)
			}
		}
		if err := schedule.Verify(jobs(follow), centers, s); err != nil {
			t.Error(err)
		}
	}
	// A shop that cannot: 4 h of waiting, then at B at once, and B opens at 07:00 only
	// for an hour.
	days := func(from, to time.Duration) (out []schedule.Shift) {
		for d := time.Monday; d <= time.Friday; d++ {
			out = append(out, schedule.Shift{Weekday: d, Start: from, End: to})
		}
		return out
	}
	loc := zone(t, "America/New_York")
	never := []schedule.Center{{Key: "A", Posts: 1, Calendar: calendar(t, loc, days(8*hour, 16*hour))}, {Key: "B", Posts: 1, Calendar: calendar(t, loc, days(7*hour, 8*hour))}}
	spoiled := []schedule.Job{{Key: "J", Operations: []schedule.Operation{op("gelcoat", "A", hour, 4*hour), op("stage", "B", hour, 0, "gelcoat")}}}
	spoiled[0].Operations[0].Follow = hour
	s, err := schedule.Serial(spoiled, never, ny(t, 12, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := schedule.Verify(spoiled, never, s); err != nil {
		t.Error(err)
	}
	if wait := s.Placements[1].Start.Sub(s.Placements[0].End); wait <= hour {
		t.Errorf("follows %v after it: too easy", wait)
	}
}

// In a shop without queues that is open every day, whatever has to be followed within
// a day is: nothing is left to the last try. The work begins on a Friday or Saturday.
func TestFollowHolds(t *testing.T) {
	held := 0
	rapid.Check(t, func(rt *rapid.T) {
		var shifts []schedule.Shift
		for d := time.Monday; d <= time.Saturday; d++ {
			shifts = append(shifts, schedule.Shift{Weekday: d, Start: 7 * hour, End: 15 * hour})
		}
		c := calendar(t, time.UTC, shifts)
		draw := func(name string, from, to int) time.Duration {
			return time.Duration(rapid.IntRange(from, to).Draw(rt, name)) * minute
		}
		gelcoat, stage := op("gelcoat", "A", draw("gelcoat", 10, 120), draw("gel", 0, 240), "wax"), op("stage", "B", draw("stage", 10, 470), 0, "gelcoat", "glass")
		gelcoat.Unbroken, stage.Unbroken, gelcoat.Follow = true, true, 24*hour
		job := schedule.Job{Key: "J", Operations: []schedule.Operation{op("wax", "A", draw("wax", 0, 900), 0), op("glass", "B", draw("glass", 0, 900), 0), gelcoat, stage}}
		centers := []schedule.Center{{Key: "A", Posts: 1, Calendar: c}, {Key: "B", Posts: 1, Calendar: c}}
		s, err := schedule.Serial([]schedule.Job{job}, centers, ny(t, 16, 0, 0).Add(draw("start", 0, 2300)), nil)
		if err != nil {
			rt.Fatal(err)
		}
		if err := schedule.Verify([]schedule.Job{job}, centers, s); err != nil {
			rt.Fatal(err)
		}
		g, l := s.Placements[2], s.Placements[3]
		if wait := l.Start.Sub(g.End); wait > 24*hour {
			rt.Fatalf("gelcoat to %v, stage from %v: %v", g.End, l.Start, wait)
		}
		if g.Start.Sub(g.Ready) > 40*hour {
			held++
		}
	})
	if held == 0 {
		t.Error("nothing was held back over a Sunday: too easy")
	}
}

// The verifier sees each kind of breach.
func TestVerifyFinds(t *testing.T) {
	two := handJob()
	two.Key = "J2"
	jobs, centers := []schedule.Job{handJob(), two}, shopCenters(t, 1, 1)
	good, err := schedule.Serial(jobs, centers, ny(t, 12, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	find := func(job, key string) int {
		return slices.IndexFunc(good.Placements, func(p schedule.Placement) bool { return p.Job == job && p.Operation == key })
	}
	for name, spoil := range map[string]func(s *schedule.Schedule){
		"missing": func(s *schedule.Schedule) { s.Placements = s.Placements[1:] },
		"twice":   func(s *schedule.Schedule) { s.Placements[0] = s.Placements[1] },
		"origin":  func(s *schedule.Schedule) { s.Origin = s.Origin.Add(hour) },
		"wait cut": func(s *schedule.Schedule) {
			s.Placements[find("J1", "laminate")].End = s.Placements[find("J1", "laminate")].LaborEnd
		},
		"labor cut": func(s *schedule.Schedule) {
			p := &s.Placements[find("J1", "fit")]
			p.LaborEnd = p.LaborEnd.Add(-minute)
			p.End = p.LaborEnd
		},
		"two at once": func(s *schedule.Schedule) {
			a, b := find("J1", "frame"), find("J2", "frame")
			p := s.Placements[a]
			p.Job = "J2"
			s.Placements[b] = p
		},
		"wrong post":   func(s *schedule.Schedule) { s.Placements[find("J1", "fit")].Post = 1 },
		"out of hours": func(s *schedule.Schedule) { p := &s.Placements[find("J1", "fit")]; p.Start = p.Start.Add(-hour) },
		"precedence": func(s *schedule.Schedule) {
			p := &s.Placements[find("J1", "fit")]
			p.Start, p.LaborEnd, p.End = ny(t, 12, 14, 0), ny(t, 12, 15, 0), ny(t, 12, 15, 0)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := good
			s.Placements = slices.Clone(good.Placements)
			spoil(&s)
			if err := schedule.Verify(jobs, centers, s); !errors.Is(err, schedule.ErrInfeasible) {
				t.Fatalf("error %v", err)
			}
		})
	}
}

func ExampleSerial() {
	var shifts []schedule.Shift
	for d := time.Monday; d <= time.Friday; d++ {
		shifts = append(shifts, schedule.Shift{Weekday: d, Start: 8 * time.Hour, End: 16 * time.Hour})
	}
	c, err := schedule.NewCalendar(time.UTC, shifts, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	centers := []schedule.Center{{Key: "booth", Posts: 1, Calendar: c}, {Key: "bench", Posts: 2, Calendar: c}}
	job := schedule.Job{Key: "H-1", Operations: []schedule.Operation{
		{Key: "gelcoat", Kind: "gelcoat", WorkCenter: "booth", Labor: time.Hour, Wait: 3 * time.Hour},
		{Key: "laminate", Kind: "laminate", WorkCenter: "bench", Labor: 4 * time.Hour, Wait: 16 * time.Hour, After: []string{"gelcoat"}},
		{Key: "trim", Kind: "trim", WorkCenter: "bench", Labor: 2 * time.Hour, After: []string{"laminate"}},
	}}
	s, err := schedule.Serial([]schedule.Job{job}, centers, time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC), nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range s.Placements {
		fmt.Println(p.Operation, p.Start.Format("Mon 15:04"), "to", p.End.Format("Mon 15:04"))
	}
	fmt.Println("driver:", s.Jobs[0].Critical.Driver.Cause, s.Jobs[0].Critical.Driver.Key)
	// Output:
	// gelcoat Mon 08:00 to Mon 12:00
	// laminate Mon 12:00 to Tue 08:00
	// trim Tue 08:00 to Tue 10:00
	// driver: wait laminate
}

// A backlog long enough that lanes split, checked by the verifier.
func TestSerialLargeBacklog(t *testing.T) {
	jobs, centers := backlog(400), benchShop(t)
	s, err := schedule.Serial(jobs, centers, origin, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := schedule.Verify(jobs, centers, s); err != nil {
		t.Fatal(err)
	}
}

// Any graph is refused with an error or scheduled feasibly.
func FuzzSerial(f *testing.F) {
	f.Add([]byte{3, 1, 60, 0, 0, 1, 30, 10, 1, 2, 90, 0, 3})
	f.Add([]byte{2, 1, 60, 0, 2, 1, 30, 10, 1})
	f.Add([]byte{255, 0, 0, 0, 0})
	centers := shopCenters(f, 1, 2)
	f.Fuzz(func(t *testing.T, b []byte) {
		next := func() int {
			if len(b) == 0 {
				return 0
			}
			v := int(b[0])
			b = b[1:]
			return v
		}
		var jobs []schedule.Job
		for len(b) > 0 && len(jobs) < 8 {
			j := schedule.Job{Key: fmt.Sprint(len(jobs))}
			n := next() % 8
			for i := range n {
				o := schedule.Operation{Key: fmt.Sprint(i), WorkCenter: []string{"", "A", "B", "Z"}[min(3, next()%32/8)], Labor: time.Duration(next()-2) * 10 * minute, Wait: time.Duration(next()-1) * 10 * minute}
				if o.WorkCenter == "" {
					o.Labor = 0
				}
				for bits, p := next(), 0; p < n; p++ {
					if bits>>p&1 == 1 {
						o.After = append(o.After, fmt.Sprint(p))
					}
				}
				if m := next() % 4; m > 1 {
					o.Mold = fmt.Sprint(m)
				}
				j.Operations = append(j.Operations, o)
			}
			if h := next() % 8; h > 5 {
				j.Holds = []string{fmt.Sprint(h - 4)}
			}
			jobs = append(jobs, j)
		}
		s, err := schedule.Serial(jobs, centers, origin, nil)
		if err != nil {
			return
		}
		if err := schedule.Verify(jobs, centers, s); err != nil {
			t.Fatal(err)
		}
	})
}

// Work in progress keeps its post against a job of higher priority.
func TestStarted(t *testing.T) {
	jobs := []schedule.Job{
		{Key: "first", Promised: ny(t, 13, 0, 0), Operations: []schedule.Operation{op("work", "A", hour, 0)}},
		{Key: "second", Promised: ny(t, 20, 0, 0), Operations: []schedule.Operation{op("work", "A", 3*hour, 0)}},
	}
	jobs[1].Operations[0].Started = true
	s, err := schedule.Serial(jobs, shopCenters(t, 1), ny(t, 12, 8, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	if !s.Placements[1].Start.Equal(ny(t, 12, 8, 0)) || !s.Placements[0].Start.Equal(ny(t, 12, 11, 0)) {
		t.Errorf("in progress from %v, other from %v", s.Placements[1].Start, s.Placements[0].Start)
	}
	if err := schedule.Verify(jobs, shopCenters(t, 1), s); err != nil {
		t.Error(err)
	}
}
