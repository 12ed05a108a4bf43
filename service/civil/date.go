package civil

import (
	"fmt"
	"time"
)

// Date is a local calendar date, with no zone of its own.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf is the local date of an instant in a zone.
func DateOf(t time.Time, loc *time.Location) Date {
	y, m, d := t.In(loc).Date()
	return Date{Year: y, Month: m, Day: d}
}

// ParseDate reads the ISO 8601 extended calendar form, 2026-03-08.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Date{}, fmt.Errorf("date %q: want YYYY-MM-DD: %w", s, err)
	}
	return DateOf(t, time.UTC), nil
}

// IsZero reports whether the date was never set.
func (d Date) IsZero() bool { return d == Date{} }

// String writes the ISO 8601 extended calendar form.
func (d Date) String() string {
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Day)
}

// MarshalText writes what UnmarshalText reads.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads YYYY-MM-DD.
func (d *Date) UnmarshalText(b []byte) error {
	p, err := ParseDate(string(b))
	if err != nil {
		return err
	}
	*d = p
	return nil
}

// AddDays moves by whole days, backward when n is negative.
func (d Date) AddDays(n int) Date {
	return DateOf(time.Date(d.Year, d.Month, d.Day+n, 0, 0, 0, 0, time.UTC), time.UTC)
}

// Weekday of the date.
func (d Date) Weekday() time.Weekday {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Weekday()
}

// Compare is -1, 0 or +1 as d is before, equal to or after e.
func (d Date) Compare(e Date) int {
	switch {
	case d.Ordinal() < e.Ordinal():
		return -1
	case d.Ordinal() > e.Ordinal():
		return 1
	default:
		return 0
	}
}

// Valid reports whether the date exists in the Gregorian calendar, years 1 to
// 9999.
func (d Date) Valid() bool {
	return d.Year >= 1 && d.Year <= 9999 && d.AddDays(0) == d
}

// Ordinal numbers days since 1970-01-01; it orders dates and measures spans.
func (d Date) Ordinal() int64 {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Unix() / (24 * 60 * 60)
}

// At is the first instant at which a wall clock in loc shows the date at or
// past sinceMidnight. A time skipped by a spring change is the moment of the
// change; a time that comes twice in autumn is its first occurrence.
// sinceMidnight may pass 24 h and then falls on following days.
//
//	spring  01:59:59 | 03:00:00     02:30 -> the bar
//	autumn  01:30 .. 01:59:59 | 01:00:00 .. 01:30     01:30 -> the left one
func (d Date) At(sinceMidnight time.Duration, loc *time.Location) time.Time {
	// The wall figure read as if the zone were UTC.
	wall := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Add(sinceMidnight)
	// Offsets a day to either side. Zones do not change twice in two days.
	before := zoneOffset(wall.Add(-24*time.Hour), loc)
	after := zoneOffset(wall.Add(24*time.Hour), loc)
	early := wall.Add(-before)
	if before == after || zoneOffset(early, loc) == before {
		return early.In(loc)
	}
	late := wall.Add(-after)
	if zoneOffset(late, loc) == after {
		return late.In(loc)
	}
	change, _ := early.In(loc).ZoneBounds()
	return change.In(loc)
}

func zoneOffset(t time.Time, loc *time.Location) time.Duration {
	_, seconds := t.In(loc).Zone()
	return time.Duration(seconds) * time.Second
}
