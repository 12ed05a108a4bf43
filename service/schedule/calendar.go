package schedule

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"sync"
	"time"

	"hatchwright/service/civil"
)

// Horizon and range of calendars.
const (
	// HorizonYears bounds every look-ahead: work that does not fit within so
	// many years of its start is an error, not a date. Forty years hold the
	// backlog of ten thousand orders in a shop of a few people.
	HorizonYears = 40
	// FirstYear and LastYear bound the instants accepted; inside them an
	// instant and the horizon after it fit into 64-bit nanoseconds.
	FirstYear = 1900
	LastYear  = 2200
	// MaxPause is the longest break between two shifts over which work goes on that
	// must not be broken off: a meal, which the crew takes in turns (shop rule).
	MaxPause = time.Hour
	// MaxClosureDays is the longest single closure taken as a closure. A shop
	// shut for more than two years is closed for good (shop rule).
	MaxClosureDays = 731
)

// Errors of calendars. They come wrapped; test them with errors.Is.
var (
	ErrNoLocation      = errors.New("calendar has no time zone")
	ErrNoHours         = errors.New("calendar has no working hours")
	ErrShift           = errors.New("shift hours are out of range")
	ErrShiftOverlap    = errors.New("shifts overlap")
	ErrClosureDate     = errors.New("closure date does not exist")
	ErrClosureReversed = errors.New("closure ends before it starts")
	ErrClosureEndless  = errors.New("closure never ends")
	ErrNothingOpens    = errors.New("no working time within the horizon")
	ErrNegativeWork    = errors.New("work is negative")
	ErrOutOfRange      = errors.New("instant is outside the years a calendar covers")
)

// ShiftError says which shift was refused and why. Other is the index of the
// second shift of an overlap, otherwise -1.
type ShiftError struct {
	Index, Other int
	Detail       string
	Err          error
}

func (e *ShiftError) Error() string {
	return fmt.Sprintf("shift %d: %v: %s", e.Index, e.Err, e.Detail)
}
func (e *ShiftError) Unwrap() error { return e.Err }

// ClosureError says which closure was refused and why.
type ClosureError struct {
	Index  int
	Detail string
	Err    error
}

func (e *ClosureError) Error() string {
	return fmt.Sprintf("closure %d: %v: %s", e.Index, e.Err, e.Detail)
}
func (e *ClosureError) Unwrap() error { return e.Err }

// Shift is a weekly span of working hours. Start and End are wall-clock times
// since local midnight of Weekday; End may pass 24 h, a shift over midnight.
type Shift struct {
	Weekday    time.Weekday
	Start, End time.Duration
}

// Closure cancels every shift that starts on a local date in From..To, both
// inclusive. A shift that started the evening before runs to its end.
type Closure struct {
	From, To civil.Date
	Reason   string
}

// Interval is a span of time, End exclusive.
type Interval struct{ Start, End time.Time }

// Calendar tells working time from the rest. It is immutable to its callers
// and safe for concurrent use: years are compiled when first asked for.
type Calendar struct {
	loc    *time.Location
	shifts [7][]Shift // by weekday, by start
	closed []dayRange // disjoint, ascending
	years  sync.Map   // int -> *year
	// longest is what LongestRun tells.
	longest time.Duration
}

type dayRange struct{ from, to int64 } // ordinals, inclusive

// year holds the openings that start in one local year, in Unix nanoseconds,
// with the working time before each: a prefix sum for binary search.
type year struct {
	open, shut []int64
	before     []int64
	total      int64
}

// NewCalendar compiles a weekly pattern and its exceptions.
//
// Errors: ErrNoLocation; ErrNoHours when there is no shift; *ShiftError with
// ErrShift or ErrShiftOverlap; *ClosureError with ErrClosureDate,
// ErrClosureReversed or ErrClosureEndless (no end, or over MaxClosureDays).
func NewCalendar(loc *time.Location, shifts []Shift, closures []Closure) (*Calendar, error) {
	if loc == nil {
		return nil, fmt.Errorf("new calendar: %w: give the shop's zone", ErrNoLocation)
	}
	if len(shifts) == 0 {
		return nil, fmt.Errorf("new calendar: %w: give at least one shift", ErrNoHours)
	}
	c := &Calendar{loc: loc}
	if err := c.setShifts(shifts); err != nil {
		return nil, fmt.Errorf("new calendar: %w", err)
	}
	if err := c.setClosures(closures); err != nil {
		return nil, fmt.Errorf("new calendar: %w", err)
	}
	return c, nil
}

func (c *Calendar) setShifts(shifts []Shift) error {
	const day = 24 * time.Hour
	type span struct {
		from, to time.Duration // since the week's Sunday midnight
		index    int
	}
	spans := make([]span, 0, len(shifts))
	for i, s := range shifts {
		switch {
		case s.Weekday < time.Sunday || s.Weekday > time.Saturday:
			return &ShiftError{Index: i, Other: -1, Err: ErrShift, Detail: fmt.Sprintf("weekday %d is not 0 (Sunday) to 6", int(s.Weekday))}
		case s.Start < 0 || s.Start >= day:
			return &ShiftError{Index: i, Other: -1, Err: ErrShift, Detail: fmt.Sprintf("start %v is not within the day", s.Start)}
		case s.Start%time.Second != 0 || s.End%time.Second != 0:
			return &ShiftError{Index: i, Other: -1, Err: ErrShift, Detail: fmt.Sprintf("%v to %v is not in whole seconds", s.Start, s.End)}
		case s.End <= s.Start || s.End-s.Start > day:
			return &ShiftError{Index: i, Other: -1, Err: ErrShift, Detail: fmt.Sprintf("end %v must follow start %v by at most 24h; past midnight it goes on counting (30h is 06:00)", s.End, s.Start)}
		}
		at := time.Duration(s.Weekday) * day
		spans = append(spans, span{at + s.Start, at + s.End, i})
		c.shifts[s.Weekday] = append(c.shifts[s.Weekday], s)
	}
	slices.SortFunc(spans, func(a, b span) int {
		if a.from != b.from {
			if a.from < b.from {
				return -1
			}
			return 1
		}
		return a.index - b.index
	})
	for i := range spans {
		next := spans[(i+1)%len(spans)]
		from := next.from
		if i == len(spans)-1 {
			from += 7 * day
		}
		if spans[i].to > from {
			a, b := shifts[spans[i].index], shifts[next.index]
			return &ShiftError{Index: spans[i].index, Other: next.index, Err: ErrShiftOverlap,
				Detail: fmt.Sprintf("%v %v to %v runs into shift %d, %v %v to %v", a.Weekday, a.Start, a.End, next.index, b.Weekday, b.Start, b.End)}
		}
	}
	// Runs of shifts over two weeks, so that one over the week's end is whole.
	var run, last time.Duration
	ends := false
	for k := range 2 * len(spans) {
		x, week := spans[k%len(spans)], time.Duration(k/len(spans))*7*day
		if k > 0 && x.from+week-last > MaxPause {
			run, ends = 0, true
		}
		run, last = run+x.to-x.from, x.to+week
		c.longest = max(c.longest, run)
	}
	if !ends {
		c.longest = maxSeconds * time.Second
	}
	for d := range c.shifts {
		slices.SortFunc(c.shifts[d], func(a, b Shift) int {
			if a.Start < b.Start {
				return -1
			}
			return 1
		})
	}
	return nil
}

func (c *Calendar) setClosures(closures []Closure) error {
	all := make([]dayRange, 0, len(closures))
	for i, k := range closures {
		if !k.From.Valid() {
			return &ClosureError{Index: i, Err: ErrClosureDate, Detail: fmt.Sprintf("from %v", k.From)}
		}
		if k.To.IsZero() {
			return &ClosureError{Index: i, Err: ErrClosureEndless, Detail: fmt.Sprintf("from %v: give its last day", k.From)}
		}
		if !k.To.Valid() {
			return &ClosureError{Index: i, Err: ErrClosureDate, Detail: fmt.Sprintf("to %v", k.To)}
		}
		r := dayRange{k.From.Ordinal(), k.To.Ordinal()}
		if r.to < r.from {
			return &ClosureError{Index: i, Err: ErrClosureReversed, Detail: fmt.Sprintf("%v to %v: exchange the two", k.From, k.To)}
		}
		if days := r.to - r.from + 1; days > MaxClosureDays {
			return &ClosureError{Index: i, Err: ErrClosureEndless, Detail: fmt.Sprintf("%v to %v is %d days, over %d", k.From, k.To, days, MaxClosureDays)}
		}
		all = append(all, r)
	}
	slices.SortFunc(all, func(a, b dayRange) int {
		if a.from < b.from {
			return -1
		}
		if a.from > b.from {
			return 1
		}
		return 0
	})
	for _, r := range all {
		if n := len(c.closed); n > 0 && r.from <= c.closed[n-1].to+1 {
			c.closed[n-1].to = max(c.closed[n-1].to, r.to)
			continue
		}
		c.closed = append(c.closed, r)
	}
	return nil
}

// LongestClosed is the longest stretch of closures without a working day between them,
// both days included, and how many days it is; 0 without closures.
func (c *Calendar) LongestClosed() (from, to civil.Date, days int) {
	day := func(ordinal int64) civil.Date {
		return civil.Date{Year: 1970, Month: time.January, Day: 1}.AddDays(int(ordinal))
	}
	first := 0
	for i := range c.closed {
		if i > 0 {
			for n := c.closed[i-1].to + 1; n < c.closed[i].from; n++ {
				if c.IsWorkingDay(day(n)) {
					first = i
					break
				}
			}
		}
		if n := int(c.closed[i].to - c.closed[first].from + 1); n > days {
			from, to, days = day(c.closed[first].from), day(c.closed[i].to), n
		}
	}
	return from, to, days
}

// LongestRun is the most labor that fits between two pauses over MaxPause in the
// week's hours, by the wall clock: what work that must not be broken off can take.
// Of a shop that never closes for so long it is HorizonYears.
func (c *Calendar) LongestRun() time.Duration { return c.longest }

// Location is the zone of the calendar's wall clock.
func (c *Calendar) Location() *time.Location { return c.loc }

// IsWorkingDay reports whether a shift starts on the date.
func (c *Calendar) IsWorkingDay(d civil.Date) bool {
	return len(c.shifts[d.Weekday()]) > 0 && !c.isClosed(d.Ordinal())
}

// IsClosed reports whether a closure keeps the date shut, whatever the week says.
func (c *Calendar) IsClosed(d civil.Date) bool { return c.isClosed(d.Ordinal()) }

func (c *Calendar) isClosed(day int64) bool {
	i := sort.Search(len(c.closed), func(i int) bool { return c.closed[i].to >= day })
	return i < len(c.closed) && c.closed[i].from <= day
}

// WorkingDay is the first working day at or after the local date of t.
// Error: ErrNothingOpens past HorizonYears.
func (c *Calendar) WorkingDay(t time.Time) (civil.Date, error) {
	d := civil.DateOf(t, c.loc)
	for end := d.AddDays(HorizonYears * 366); d.Compare(end) <= 0; d = d.AddDays(1) {
		if c.IsWorkingDay(d) {
			return d, nil
		}
	}
	return civil.Date{}, fmt.Errorf("working day at or after %v: %w", civil.DateOf(t, c.loc), ErrNothingOpens)
}

func (c *Calendar) compiled(y int) *year {
	if v, ok := c.years.Load(y); ok {
		return v.(*year)
	}
	k := &year{}
	for d := (civil.Date{Year: y, Month: time.January, Day: 1}); d.Year == y; d = d.AddDays(1) {
		if !c.IsWorkingDay(d) {
			continue
		}
		for _, s := range c.shifts[d.Weekday()] {
			from, to := d.At(s.Start, c.loc).UnixNano(), d.At(s.End, c.loc).UnixNano()
			if to <= from {
				continue // skipped whole by a spring change
			}
			k.open, k.shut, k.before = append(k.open, from), append(k.shut, to), append(k.before, k.total)
			k.total += to - from
		}
	}
	v, _ := c.years.LoadOrStore(y, k)
	return v.(*year)
}

// ending is the first opening of the year that ends after ns.
func (k *year) ending(ns int64) int {
	return sort.Search(len(k.shut), func(i int) bool { return k.shut[i] > ns })
}

// done is the working time of the year before ns.
func (k *year) done(ns int64) int64 {
	i := k.ending(ns)
	if i == len(k.open) {
		return k.total
	}
	return k.before[i] + max(0, ns-k.open[i])
}

// at is the instant at which the working time of the year reaches work, > 0:
// the end of a shift rather than the start of the next.
func (k *year) at(work int64) int64 {
	i := sort.Search(len(k.before), func(i int) bool { return k.before[i] >= work }) - 1
	return k.open[i] + work - k.before[i]
}

func (c *Calendar) inRange(t time.Time) error {
	if y := t.Year(); y < FirstYear || y > LastYear {
		return fmt.Errorf("%w: %v is not within %d to %d", ErrOutOfRange, t, FirstYear, LastYear)
	}
	return nil
}

// Next is the first working instant at or after t, or the zero time where
// NextOpen has an error.
func (c *Calendar) Next(t time.Time) time.Time {
	n, err := c.NextOpen(t)
	if err != nil {
		return time.Time{}
	}
	return n
}

// NextOpen is the first working instant at or after t: t itself inside a
// shift, otherwise the start of the next one. The end of a shift is outside.
// Errors: ErrNothingOpens, ErrOutOfRange.
func (c *Calendar) NextOpen(t time.Time) (time.Time, error) {
	if err := c.inRange(t); err != nil {
		return time.Time{}, fmt.Errorf("next working instant: %w", err)
	}
	ns, y := t.UnixNano(), t.In(c.loc).Year()
	for n := y - 1; n <= y+HorizonYears; n++ {
		k := c.compiled(n)
		if i := k.ending(ns); i < len(k.open) {
			return c.time(max(ns, k.open[i])), nil
		}
	}
	return time.Time{}, fmt.Errorf("next working instant after %v: %w of %d years", t, ErrNothingOpens, HorizonYears)
}

// AddWork is the instant at which work begun at t is finished, when it runs
// only inside shifts. Work that fills a shift ends at the shift's end, and no
// work at all ends at t, working or not. O(log n) in the shifts of a year.
// Errors: ErrNegativeWork, ErrNothingOpens, ErrOutOfRange.
func (c *Calendar) AddWork(t time.Time, work time.Duration) (time.Time, error) {
	if work < 0 {
		return time.Time{}, fmt.Errorf("add work: %w: %v", ErrNegativeWork, work)
	}
	if err := c.inRange(t); err != nil {
		return time.Time{}, fmt.Errorf("add work: %w", err)
	}
	if work == 0 {
		return t.In(c.loc), nil
	}
	left, ns, y := int64(work), t.UnixNano(), t.In(c.loc).Year()
	for n := y - 1; n <= y+HorizonYears; n++ {
		k := c.compiled(n)
		done := k.done(ns)
		if left <= k.total-done {
			return c.time(k.at(done + left)), nil
		}
		left -= k.total - done
	}
	return time.Time{}, fmt.Errorf("add %v of work at %v: %w of %d years", work, t, ErrNothingOpens, HorizonYears)
}

// WorkBetween is the working time from a to b, negative when b is before a.
// Instants outside FirstYear..LastYear count as the end of that range.
func (c *Calendar) WorkBetween(a, b time.Time) time.Duration {
	if b.Before(a) {
		return -c.WorkBetween(b, a)
	}
	first, last := civil.Date{Year: FirstYear, Month: time.January, Day: 2}.At(0, c.loc), civil.Date{Year: LastYear, Month: time.December, Day: 30}.At(0, c.loc)
	if a.Before(first) {
		a = first
	}
	if b.After(last) {
		b = last
	}
	if !a.Before(b) {
		return 0
	}
	from, to := a.UnixNano(), b.UnixNano()
	var sum int64
	for n := a.In(c.loc).Year() - 1; n <= b.In(c.loc).Year(); n++ {
		k := c.compiled(n)
		sum += k.done(to) - k.done(from)
	}
	return time.Duration(sum)
}

// Openings are the working intervals that meet [from, to), cut to it, by time.
// Errors: ErrOutOfRange.
func (c *Calendar) Openings(from, to time.Time) ([]Interval, error) {
	if err := errors.Join(c.inRange(from), c.inRange(to)); err != nil {
		return nil, fmt.Errorf("openings: %w", err)
	}
	var out []Interval
	a, b := from.UnixNano(), to.UnixNano()
	for n := from.In(c.loc).Year() - 1; n <= to.In(c.loc).Year(); n++ {
		k := c.compiled(n)
		for i := k.ending(a); i < len(k.open) && k.open[i] < b; i++ {
			out = append(out, Interval{c.time(max(a, k.open[i])), c.time(min(b, k.shut[i]))})
		}
	}
	return out, nil
}

func (c *Calendar) time(ns int64) time.Time { return time.Unix(0, ns).In(c.loc) }

// Hours turns a figure in hours into a duration, to the nearest second.
// Errors: ErrNegativeWork; ErrOutOfRange for NaN and over a century.
func Hours(h float64) (time.Duration, error) {
	const century = 100 * 366 * 24
	switch {
	case math.IsNaN(h) || h > century:
		return 0, fmt.Errorf("%v hours: %w", h, ErrOutOfRange)
	case h < 0:
		return 0, fmt.Errorf("%v hours: %w", h, ErrNegativeWork)
	}
	return time.Duration(math.Round(h*3600)) * time.Second, nil
}
