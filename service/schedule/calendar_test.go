package schedule_test

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"
	_ "time/tzdata" // the zone rules come with the test, not with the machine

	"pgregory.net/rapid"

	"hatchwright/service/civil"
	"hatchwright/service/schedule"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func date(s string) civil.Date {
	d, err := civil.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

// dayShifts is Monday to Friday, 08:00 to 12:00 and 12:30 to 16:30: 8 h a day.
func dayShifts() []schedule.Shift {
	var s []schedule.Shift
	for d := time.Monday; d <= time.Friday; d++ {
		s = append(s,
			schedule.Shift{Weekday: d, Start: 8 * time.Hour, End: 12 * time.Hour},
			schedule.Shift{Weekday: d, Start: 12*time.Hour + 30*time.Minute, End: 16*time.Hour + 30*time.Minute})
	}
	return s
}

// nights is every night 22:00 to 06:00.
func nights() []schedule.Shift {
	var s []schedule.Shift
	for d := time.Sunday; d <= time.Saturday; d++ {
		s = append(s, schedule.Shift{Weekday: d, Start: 22 * time.Hour, End: 30 * time.Hour})
	}
	return s
}

func calendar(t testing.TB, loc *time.Location, s []schedule.Shift, k ...schedule.Closure) *schedule.Calendar {
	t.Helper()
	c, err := schedule.NewCalendar(loc, s, k)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The instants of the changes are those of the IANA time zone database
// (Go's embedded copy): America/New_York 2026-03-08 07:00Z (-5 to -4) and
// 2026-11-01 06:00Z (-4 to -5); Europe/Berlin 2026-03-29 01:00Z (+1 to +2) and
// 2026-10-25 01:00Z (+2 to +1). Expected instants are worked by hand, in UTC.
func TestAddWork(t *testing.T) {
	ny, berlin := zone(t, "America/New_York"), zone(t, "Europe/Berlin")
	july := schedule.Closure{From: date("2026-07-03"), To: date("2026-07-06"), Reason: "Independence Day"}
	utc := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, c := range []struct {
		name string
		cal  *schedule.Calendar
		from time.Time
		work time.Duration
		want time.Time
	}{
		// Tue 2026-01-13 09:00 -5 = 14:00Z; 2 h later 16:00Z.
		{"inside a shift", calendar(t, ny, dayShifts()), utc("2026-01-13T14:00:00Z"), 2 * time.Hour, utc("2026-01-13T16:00:00Z")},
		// 3 h to noon, half an hour of break, 1 h more: 13:30 -5 = 18:30Z.
		{"over the break", calendar(t, ny, dayShifts()), utc("2026-01-13T14:00:00Z"), 4 * time.Hour, utc("2026-01-13T18:30:00Z")},
		// Ends with the shift: 12:00 -5 = 17:00Z, not 12:30.
		{"fills the shift", calendar(t, ny, dayShifts()), utc("2026-01-13T14:00:00Z"), 3 * time.Hour, utc("2026-01-13T17:00:00Z")},
		// Fri 2026-01-16 15:30 -5 = 20:30Z: 1 h Friday, 1 h Monday from 08:00: 09:00 -5 = 14:00Z.
		{"over a weekend", calendar(t, ny, dayShifts()), utc("2026-01-16T20:30:00Z"), 2 * time.Hour, utc("2026-01-19T14:00:00Z")},
		// Thu 2026-07-02 15:30 -4 = 19:30Z: 1 h; Fri to Mon closed; Tue 08:00 + 1 h = 09:00 -4 = 13:00Z.
		{"over a closure", calendar(t, ny, dayShifts(), july), utc("2026-07-02T19:30:00Z"), 2 * time.Hour, utc("2026-07-07T13:00:00Z")},
		// Begun on Saturday, work waits for Monday 08:00 -5 = 13:00Z.
		{"begun out of hours", calendar(t, ny, dayShifts()), utc("2026-01-17T15:00:00Z"), time.Hour, utc("2026-01-19T14:00:00Z")},
		// No work ends where it began, open or not.
		{"no work", calendar(t, ny, dayShifts()), utc("2026-01-17T15:00:00Z"), 0, utc("2026-01-17T15:00:00Z")},
		// Sat 2026-03-07 22:00 -5 = 03:00Z; 5 h = 08:00Z, which is 04:00 -4.
		{"night into spring, New York", calendar(t, ny, nights()), utc("2026-03-08T03:00:00Z"), 5 * time.Hour, utc("2026-03-08T08:00:00Z")},
		// That night is 03:00Z to 06:00 -4 = 10:00Z: 7 h. The 8th hour begins 22:00 -4 = 02:00Z.
		{"short night, New York", calendar(t, ny, nights()), utc("2026-03-08T03:00:00Z"), 8 * time.Hour, utc("2026-03-09T03:00:00Z")},
		// Sat 2026-10-31 22:00 -4 = 02:00Z to 06:00 -5 = 11:00Z: 9 h fit.
		{"long night, New York", calendar(t, ny, nights()), utc("2026-11-01T02:00:00Z"), 9 * time.Hour, utc("2026-11-01T11:00:00Z")},
		// Sat 2026-03-28 22:00 +1 = 21:00Z to 06:00 +2 = 04:00Z: 7 h. 8 h: 22:00 +2 = 20:00Z, plus 1.
		{"short night, Berlin", calendar(t, berlin, nights()), utc("2026-03-28T21:00:00Z"), 8 * time.Hour, utc("2026-03-29T21:00:00Z")},
		// Sat 2026-10-24 22:00 +2 = 20:00Z to 06:00 +1 = 05:00Z: 9 h.
		{"long night, Berlin", calendar(t, berlin, nights()), utc("2026-10-24T20:00:00Z"), 9 * time.Hour, utc("2026-10-25T05:00:00Z")},
		// Fri 2026-03-06 15:30 -5 = 20:30Z; Monday 08:00 is now -4 = 12:00Z; 13:00Z.
		{"weekend of the change", calendar(t, ny, dayShifts()), utc("2026-03-06T20:30:00Z"), 2 * time.Hour, utc("2026-03-09T13:00:00Z")},
		// New Year's Eve night: 2026-12-31 22:00 -5 = 03:00Z; 8 h to 11:00Z, 1 h more from 03:00Z next night.
		{"night over the year's end", calendar(t, ny, nights()), utc("2027-01-01T05:00:00Z"), 7 * time.Hour, utc("2027-01-02T04:00:00Z")},
		// 2,088 h are 261 days: 2026 has 261 weekdays, Thu 1 January to Thu 31 December, 16:30 -5 = 21:30Z.
		{"a year", calendar(t, ny, dayShifts()), utc("2026-01-01T05:00:00Z"), 2088 * time.Hour, utc("2026-12-31T21:30:00Z")},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.cal.AddWork(c.from, c.work)
			if err != nil {
				t.Fatal(err)
			}
			if !got.Equal(c.want) {
				t.Fatalf("AddWork(%v, %v) = %v, want %v", c.from, c.work, got.UTC(), c.want)
			}
			if c.work > 0 {
				if w := c.cal.WorkBetween(c.from, got); w != c.work {
					t.Fatalf("work between = %v, want %v", w, c.work)
				}
			}
		})
	}
}

func TestCureOverAWeekend(t *testing.T) {
	ny := zone(t, "America/New_York")
	c := calendar(t, ny, dayShifts())
	// Laminated Friday 14:30 to 16:30. Cure is 24 h by the clock: Saturday
	// 16:30, in the closed shop. Demolding starts Monday 08:00.
	laid, err := c.AddWork(time.Date(2026, 1, 16, 14, 30, 0, 0, ny), 2*time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	cured := laid.Add(24 * time.Hour)
	if want := time.Date(2026, 1, 17, 16, 30, 0, 0, ny); !cured.Equal(want) {
		t.Fatalf("cured %v, want %v", cured, want)
	}
	if got, want := c.Next(cured), time.Date(2026, 1, 19, 8, 0, 0, 0, ny); !got.Equal(want) {
		t.Fatalf("demold from %v, want %v", got, want)
	}
	// Over the spring change a 24 h cure from Saturday 16:30 ends Sunday 17:30.
	cured = time.Date(2026, 3, 7, 16, 30, 0, 0, ny).Add(24 * time.Hour)
	if want := time.Date(2026, 3, 8, 17, 30, 0, 0, ny); !cured.Equal(want) {
		t.Fatalf("cured %v, want %v", cured, want)
	}
}

func TestNextAndWorkingDays(t *testing.T) {
	ny := zone(t, "America/New_York")
	c := calendar(t, ny, dayShifts(), schedule.Closure{From: date("2026-12-24"), To: date("2027-01-01")})
	at := func(y int, m time.Month, d, h, min int) time.Time { return time.Date(y, m, d, h, min, 0, 0, ny) }
	for _, k := range []struct{ from, want time.Time }{
		{at(2026, 1, 13, 9, 0), at(2026, 1, 13, 9, 0)},
		{at(2026, 1, 13, 12, 0), at(2026, 1, 13, 12, 30)}, // an end is outside
		{at(2026, 1, 13, 16, 30), at(2026, 1, 14, 8, 0)},
		{at(2026, 12, 23, 16, 30), at(2027, 1, 4, 8, 0)}, // Fri 1 January closed, then a weekend
	} {
		if got := c.Next(k.from); !got.Equal(k.want) {
			t.Errorf("Next(%v) = %v, want %v", k.from, got, k.want)
		}
	}
	for s, want := range map[string]bool{
		"2026-12-23": true, "2026-12-24": false, "2027-01-01": false,
		"2027-01-02": false /* Saturday */, "2027-01-04": true,
	} {
		if c.IsWorkingDay(date(s)) != want {
			t.Errorf("IsWorkingDay(%s) = %v", s, !want)
		}
	}
	if d, err := c.WorkingDay(at(2026, 12, 24, 0, 0)); err != nil || d != date("2027-01-04") {
		t.Errorf("WorkingDay = %v, %v", d, err)
	}
}

// A closure cancels the shifts that start on its days: the night of the 23rd
// runs on into the 24th, the night of the 24th does not happen.
func TestClosureAndNightShift(t *testing.T) {
	ny := zone(t, "America/New_York")
	c := calendar(t, ny, nights(), schedule.Closure{From: date("2026-12-24"), To: date("2026-12-24")})
	got, err := c.Openings(time.Date(2026, 12, 23, 12, 0, 0, 0, ny), time.Date(2026, 12, 26, 3, 0, 0, 0, ny))
	if err != nil {
		t.Fatal(err)
	}
	want := []schedule.Interval{
		{Start: time.Date(2026, 12, 23, 22, 0, 0, 0, ny), End: time.Date(2026, 12, 24, 6, 0, 0, 0, ny)},
		{Start: time.Date(2026, 12, 25, 22, 0, 0, 0, ny), End: time.Date(2026, 12, 26, 3, 0, 0, 0, ny)},
	}
	if len(got) != len(want) {
		t.Fatalf("openings %v", got)
	}
	for i := range want {
		if !got[i].Start.Equal(want[i].Start) || !got[i].End.Equal(want[i].End) {
			t.Errorf("opening %d = %v, want %v", i, got[i], want[i])
		}
	}
}

func TestCalendarRefuses(t *testing.T) {
	ny := zone(t, "America/New_York")
	h := time.Hour
	day := []schedule.Shift{{Weekday: time.Monday, Start: 8 * h, End: 16 * h}}
	for _, k := range []struct {
		name   string
		loc    *time.Location
		shifts []schedule.Shift
		closed []schedule.Closure
		want   error
	}{
		{"no zone", nil, day, nil, schedule.ErrNoLocation},
		{"no hours", ny, nil, nil, schedule.ErrNoHours},
		{"empty shift", ny, []schedule.Shift{{Weekday: time.Monday, Start: 8 * h, End: 8 * h}}, nil, schedule.ErrShift},
		{"reversed shift", ny, []schedule.Shift{{Weekday: time.Monday, Start: 22 * h, End: 6 * h}}, nil, schedule.ErrShift},
		{"longer than a day", ny, []schedule.Shift{{Weekday: time.Monday, Start: 8 * h, End: 33 * h}}, nil, schedule.ErrShift},
		{"no such weekday", ny, []schedule.Shift{{Weekday: 7, Start: 8 * h, End: 9 * h}}, nil, schedule.ErrShift},
		{"overlap in a day", ny, append(day[:1:1], schedule.Shift{Weekday: time.Monday, Start: 15 * h, End: 17 * h}), nil, schedule.ErrShiftOverlap},
		{"twice the same", ny, append(day[:1:1], day[0]), nil, schedule.ErrShiftOverlap},
		{"overlap over the week's end", ny, []schedule.Shift{{Weekday: time.Saturday, Start: 20 * h, End: 32 * h}, {Weekday: time.Sunday, Start: 6 * h, End: 8 * h}}, nil, schedule.ErrShiftOverlap},
		{"reversed closure", ny, day, []schedule.Closure{{From: date("2026-07-06"), To: date("2026-07-03")}}, schedule.ErrClosureReversed},
		{"closure without end", ny, day, []schedule.Closure{{From: date("2026-07-06")}}, schedule.ErrClosureEndless},
		{"closure of a lifetime", ny, day, []schedule.Closure{{From: date("2026-07-06"), To: date("2096-07-06")}}, schedule.ErrClosureEndless},
		{"no such date", ny, day, []schedule.Closure{{From: civil.Date{Year: 2026, Month: 2, Day: 30}, To: date("2026-07-06")}}, schedule.ErrClosureDate},
	} {
		t.Run(k.name, func(t *testing.T) {
			if _, err := schedule.NewCalendar(k.loc, k.shifts, k.closed); !errors.Is(err, k.want) {
				t.Fatalf("error %v, want %v", err, k.want)
			}
		})
	}
	var overlap *schedule.ShiftError
	_, err := schedule.NewCalendar(ny, append(day[:1:1], day[0]), nil)
	if !errors.As(err, &overlap) || overlap.Index != 0 || overlap.Other != 1 {
		t.Fatalf("overlap names %+v", overlap)
	}
}

// By hand: Monday 5 January 2026 to Friday 1 January 2027 are 362 days, the weekend
// after it has no shifts, and Monday the 4th to Friday 14 January 2028 are 376: 740
// with the weekend. A Monday that is open breaks them apart.
func TestLongestClosed(t *testing.T) {
	ny := zone(t, "America/New_York")
	k := []schedule.Closure{{From: date("2027-01-04"), To: date("2028-01-14")}, {From: date("2026-01-05"), To: date("2027-01-01")}}
	if from, to, days := calendar(t, ny, dayShifts(), k...).LongestClosed(); from != date("2026-01-05") || to != date("2028-01-14") || days != 740 {
		t.Errorf("%v to %v, %d days", from, to, days)
	}
	k[0].From = date("2027-01-05")
	if from, to, days := calendar(t, ny, dayShifts(), k...).LongestClosed(); from != date("2027-01-05") || to != date("2028-01-14") || days != 375 {
		t.Errorf("%v to %v, %d days", from, to, days)
	}
	if _, _, days := calendar(t, ny, dayShifts()).LongestClosed(); days != 0 {
		t.Errorf("without closures %d days", days)
	}
}

// The longest run of the week's hours, by hand: pauses of up to an hour do not end
// one, nor does midnight.
func TestLongestRun(t *testing.T) {
	shift := func(d time.Weekday, from, to time.Duration) schedule.Shift {
		return schedule.Shift{Weekday: d, Start: from, End: to}
	}
	var day []schedule.Shift
	for d := time.Sunday; d <= time.Saturday; d++ {
		day = append(day, shift(d, 0, 24*hour))
	}
	for name, k := range map[string]struct {
		shifts []schedule.Shift
		want   time.Duration
	}{
		"a meal":            {[]schedule.Shift{shift(time.Monday, 7*hour, 12*hour), shift(time.Monday, 13*hour, 16*hour), shift(time.Friday, 7*hour, 11*hour)}, 8 * hour},
		"a long break":      {[]schedule.Shift{shift(time.Monday, 7*hour, 12*hour), shift(time.Monday, 13*hour+minute, 16*hour)}, 5 * hour},
		"over midnight":     {[]schedule.Shift{shift(time.Monday, 20*hour, 24*hour), shift(time.Tuesday, 0, 4*hour)}, 8 * hour},
		"over the week end": {[]schedule.Shift{shift(time.Saturday, 22*hour, 28*hour), shift(time.Sunday, 4*hour+30*minute, 10*hour)}, 11*hour + 30*minute},
		"never closed":      {day, schedule.HorizonYears * 366 * 24 * hour},
	} {
		if got := calendar(t, time.UTC, k.shifts).LongestRun(); got != k.want {
			t.Errorf("%s: %v, want %v", name, got, k.want)
		}
	}
}

func TestCalendarHorizon(t *testing.T) {
	ny := zone(t, "America/New_York")
	var k []schedule.Closure
	for y := 2026; y <= 2070; y++ {
		k = append(k, schedule.Closure{From: civil.Date{Year: y, Month: 1, Day: 1}, To: civil.Date{Year: y, Month: 12, Day: 31}})
	}
	c := calendar(t, ny, dayShifts(), k...)
	at := time.Date(2026, 6, 1, 0, 0, 0, 0, ny)
	if _, err := c.NextOpen(at); !errors.Is(err, schedule.ErrNothingOpens) {
		t.Errorf("NextOpen: %v", err)
	}
	if !c.Next(at).IsZero() {
		t.Error("Next finds an opening")
	}
	if _, err := c.AddWork(at, time.Hour); !errors.Is(err, schedule.ErrNothingOpens) {
		t.Errorf("AddWork: %v", err)
	}
	if _, err := c.WorkingDay(at); !errors.Is(err, schedule.ErrNothingOpens) {
		t.Errorf("WorkingDay: %v", err)
	}
	if _, err := c.AddWork(at, -1); !errors.Is(err, schedule.ErrNegativeWork) {
		t.Errorf("negative: %v", err)
	}
	if _, err := c.AddWork(time.Time{}, 1); !errors.Is(err, schedule.ErrOutOfRange) {
		t.Errorf("year 1: %v", err)
	}
}

// AddWork and WorkBetween against a walk minute by minute.
func TestAddWorkAgainstMinutes(t *testing.T) {
	ny := zone(t, "America/New_York")
	rapid.Check(t, func(t *rapid.T) {
		var shifts []schedule.Shift
		for d := time.Sunday; d <= time.Saturday; d++ {
			if !rapid.Bool().Draw(t, "on") {
				continue
			}
			start := rapid.IntRange(0, 23*60).Draw(t, "start")
			length := rapid.IntRange(1, 24*60-start).Draw(t, "length")
			shifts = append(shifts, schedule.Shift{Weekday: d, Start: time.Duration(start) * time.Minute, End: time.Duration(start+length) * time.Minute})
		}
		if len(shifts) == 0 {
			t.Skip("no hours")
		}
		c, err := schedule.NewCalendar(ny, shifts, []schedule.Closure{{From: date("2026-03-10"), To: date("2026-03-11")}})
		if err != nil {
			t.Fatal(err)
		}
		open := func(at time.Time) bool {
			l := at.In(ny)
			if y, m, d := l.Date(); y == 2026 && m == 3 && (d == 10 || d == 11) {
				return false
			}
			// By instants: in the hour that the autumn change repeats, wall-clock hours
			// alone do not say which of the two is meant; Date.At does, and has a table
			// of its own.
			day := civil.DateOf(at, ny)
			for _, s := range shifts {
				if s.Weekday == l.Weekday() && !at.Before(day.At(s.Start, ny)) && at.Before(day.At(s.End, ny)) {
					return true
				}
			}
			return false
		}
		from := time.Date(2026, 3, rapid.IntRange(5, 9).Draw(t, "day"), 0, rapid.IntRange(0, 1439).Draw(t, "minute"), 0, 0, ny)
		work := rapid.IntRange(1, 30*60).Draw(t, "work")
		end, left := from, work
		for ; left > 0; end = end.Add(time.Minute) {
			if open(end) {
				left--
			}
		}
		got, err := c.AddWork(from, time.Duration(work)*time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		if !got.Equal(end) {
			t.Fatalf("AddWork(%v, %d min) = %v, the walk says %v", from, work, got, end)
		}
		if w := c.WorkBetween(from, got); w != time.Duration(work)*time.Minute {
			t.Fatalf("WorkBetween = %v, want %d min", w, work)
		}
	})
}

func ExampleCalendar_AddWork() {
	var shifts []schedule.Shift
	for d := time.Monday; d <= time.Friday; d++ {
		shifts = append(shifts, schedule.Shift{Weekday: d, Start: 8 * time.Hour, End: 16 * time.Hour})
	}
	c, err := schedule.NewCalendar(time.UTC, shifts, []schedule.Closure{
		{From: civil.Date{Year: 2026, Month: 1, Day: 19}, To: civil.Date{Year: 2026, Month: 1, Day: 19}, Reason: "stock-taking"},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	end, err := c.AddWork(time.Date(2026, 1, 16, 15, 0, 0, 0, time.UTC), 2*time.Hour)
	fmt.Println(end.Format("Mon 2006-01-02 15:04"), err)
	// Output: Tue 2026-01-20 09:00 <nil>
}

func BenchmarkAddWork(b *testing.B) {
	c := calendar(b, zone(b, "America/New_York"), dayShifts())
	at := time.Date(2026, 1, 13, 9, 0, 0, 0, c.Location())
	var sum int64
	for b.Loop() {
		end, err := c.AddWork(at, 300*time.Hour)
		if err != nil {
			b.Fatal(err)
		}
		sum += end.Unix()
	}
	if sum == 0 {
		b.Fatal("no work done")
	}
}

func TestHours(t *testing.T) {
	for h, want := range map[float64]time.Duration{0: 0, 1.5: 90 * time.Minute, 0.0001: 0, 0.001: 4 * time.Second} {
		if got, err := schedule.Hours(h); err != nil || got != want {
			t.Errorf("Hours(%v) = %v, %v, want %v", h, got, err, want)
		}
	}
	for h, want := range map[float64]error{-1: schedule.ErrNegativeWork, math.NaN(): schedule.ErrOutOfRange, math.Inf(1): schedule.ErrOutOfRange, 1e308: schedule.ErrOutOfRange} {
		if _, err := schedule.Hours(h); !errors.Is(err, want) {
			t.Errorf("Hours(%v): %v, want %v", h, err, want)
		}
	}
}

// Work outside the covered years is no work; backward is negative.
func TestWorkBetweenEnds(t *testing.T) {
	c := calendar(t, time.UTC, dayShifts())
	a, b := time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC), time.Date(2026, 1, 13, 8, 0, 0, 0, time.UTC)
	if w := c.WorkBetween(b, a); w != -8*time.Hour {
		t.Errorf("backward %v", w)
	}
	if w := c.WorkBetween(time.Time{}, time.Date(1800, 1, 1, 0, 0, 0, 0, time.UTC)); w != 0 {
		t.Errorf("before all years %v", w)
	}
	if w := c.WorkBetween(time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2400, 1, 1, 0, 0, 0, 0, time.UTC)); w != 0 {
		t.Errorf("after all years %v", w)
	}
	if _, err := c.Openings(time.Time{}, a); !errors.Is(err, schedule.ErrOutOfRange) {
		t.Errorf("openings: %v", err)
	}
}

// Whatever the hours and closures, a calendar is refused or keeps its rules.
func FuzzCalendar(f *testing.F) {
	f.Add(1, int64(8*3600), int64(16*3600), 2, int64(22*3600), int64(30*3600), 10, 3, int64(1_773_000_000), int64(36000))
	f.Add(0, int64(0), int64(24*3600), 6, int64(23*3600), int64(47*3600), -5, 900, int64(1_793_500_000), int64(1))
	f.Add(6, int64(20*3600), int64(32*3600), 0, int64(6*3600), int64(8*3600), 0, 0, int64(0), int64(1<<40))
	loc := zone(f, "America/New_York")
	f.Fuzz(func(t *testing.T, w1 int, s1, e1 int64, w2 int, s2, e2 int64, closed, days int, at, work int64) {
		sec := func(s int64) time.Duration { return time.Duration(s%1e6) * time.Second }
		c, err := schedule.NewCalendar(loc, []schedule.Shift{
			{Weekday: time.Weekday(w1), Start: sec(s1), End: sec(e1)}, {Weekday: time.Weekday(w2), Start: sec(s2), End: sec(e2)},
		}, []schedule.Closure{{From: date("2026-06-01").AddDays(closed % 1000), To: date("2026-06-01").AddDays(closed%1000 + days%1000)}})
		if err != nil {
			return
		}
		from := time.Unix(at%4e9, 0)
		d := time.Duration(work%1e8) * time.Second
		end, err := c.AddWork(from, d)
		if err != nil {
			return
		}
		if d > 0 && c.WorkBetween(from, end) != d {
			t.Fatalf("AddWork(%v, %v) = %v, work between %v", from, d, end, c.WorkBetween(from, end))
		}
		if n := c.Next(end); !n.IsZero() && (n.Before(end) || c.WorkBetween(end, n) != 0) {
			t.Fatalf("Next(%v) = %v", end, n)
		}
	})
}
