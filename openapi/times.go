package openapi

import (
	"fmt"
	"strings"
	"time"
)

// FirstYear and LastYear bound every date and time that a request may hold. Beyond
// them a date is a slip of the keyboard, and arithmetic on it overflows somewhere: a
// count of nanoseconds ends in 2262, some databases' years in 9999.
const (
	FirstYear = 1970
	LastYear  = 2199
)

// TimeError says why a text is no date or no time of the wire, and how to mend it.
type TimeError struct {
	Message string
	Beyond  bool // it is one, but of a year that is not taken
}

func (e *TimeError) Error() string { return e.Message }

// Forms of the wire, in words.
const (
	dateForm = "This must be a date, like 2027-03-15."
	timeForm = "This must be a time with its offset, like 2027-03-15T08:00:00-04:00."
)

// ParseDate reads a date as the document has it: the full-date of RFC 3339, a day
// that exists, from FirstYear to LastYear. It is the first instant of the day in UTC.
// Errors are *TimeError.
func ParseDate(text string) (time.Time, error) {
	var d digits
	rest := d.take(text, "dddd-dd-dd")
	if d.wrong || rest != "" {
		return time.Time{}, &TimeError{Message: dateForm}
	}
	year, month, day := d.read[0], d.read[1], d.read[2]
	if err := checkDay(year, month, day); err != nil {
		return time.Time{}, err
	}
	return time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC), nil
}

// ParseTime reads a time as the document has it: the date-time of RFC 3339 with T, Z
// and at most nine digits behind the point, an instant of a day that exists, from
// FirstYear to LastYear. A leap second is refused: no clock of this service shows
// one. Errors are *TimeError.
func ParseTime(text string) (time.Time, error) {
	var d digits
	rest := d.take(text, "dddd-dd-ddTdd:dd:dd")
	if d.wrong {
		if _, err := ParseDate(text); err == nil {
			return time.Time{}, &TimeError{Message: "This is a date alone; add the time of day and its offset, like 2027-03-15T08:00:00-04:00."}
		}
		return time.Time{}, &TimeError{Message: timeForm}
	}
	nanoseconds := 0
	if after, ok := strings.CutPrefix(rest, "."); ok {
		places := 0
		for places < len(after) && isDigit(after[places]) {
			places++
		}
		switch {
		case places == 0:
			return time.Time{}, &TimeError{Message: timeForm}
		case places > 9:
			return time.Time{}, &TimeError{Message: "Give the seconds with nine decimals at most, like 2027-03-15T08:00:00.123Z."}
		}
		for i := range 9 {
			nanoseconds *= 10
			if i < places {
				nanoseconds += int(after[i] - '0')
			}
		}
		rest = after[places:]
	}
	zone := time.UTC
	var offset digits
	switch {
	case rest == "Z":
	case rest == "":
		return time.Time{}, &TimeError{Message: "The offset is missing; add Z for UTC or one like -04:00."}
	case rest[0] == ' ' && len(rest) == len(" 05:00"):
		return time.Time{}, &TimeError{Message: "There is a blank where the offset has its sign; write %2B for + in a URL."}
	case rest[0] == '+' || rest[0] == '-':
		after := offset.take(rest[1:], "dd:dd")
		if offset.wrong || after != "" || offset.read[0] > 23 || offset.read[1] > 59 {
			return time.Time{}, &TimeError{Message: "The offset must be Z or hours and minutes like -04:00, from -23:59 to +23:59."}
		}
		seconds := offset.read[0]*3600 + offset.read[1]*60
		if rest[0] == '-' {
			seconds = -seconds
		}
		zone = time.FixedZone("", seconds)
	default:
		return time.Time{}, &TimeError{Message: timeForm}
	}
	year, month, day, hour, minute, second := d.read[0], d.read[1], d.read[2], d.read[3], d.read[4], d.read[5]
	if err := checkDay(year, month, day); err != nil {
		return time.Time{}, err
	}
	if hour > 23 || minute > 59 || second > 59 {
		return time.Time{}, &TimeError{Message: "The time of day must be from 00:00:00 to 23:59:59; leap seconds are not taken."}
	}
	t := time.Date(year, time.Month(month), day, hour, minute, second, nanoseconds, zone)
	if y := t.UTC().Year(); y < FirstYear || y > LastYear {
		return time.Time{}, beyond()
	}
	return t, nil
}

func beyond() *TimeError {
	return &TimeError{Beyond: true, Message: fmt.Sprintf("The year must be from %d to %d.", FirstYear, LastYear)}
}

// checkDay refuses what is no day of the Gregorian calendar, or one of another year.
func checkDay(year, month, day int) error {
	if month < 1 || month > 12 {
		return &TimeError{Message: fmt.Sprintf("There is no month %02d; months are 01 to 12.", month)}
	}
	// The day before the first of the next month is the last of this one.
	if last := time.Date(year, time.Month(month)+1, 0, 0, 0, 0, 0, time.UTC).Day(); day < 1 || day > last {
		return &TimeError{Message: fmt.Sprintf("There is no such day: %s %d has the days 01 to %d.", time.Month(month), year, last)}
	}
	if year < FirstYear || year > LastYear {
		return beyond()
	}
	return nil
}

// digits reads numbers of a fixed form: each run of d is one, and everything else
// stands for itself.
type digits struct {
	read  []int
	wrong bool
}

func (d *digits) take(text, form string) (rest string) {
	for i := range len(form) {
		if i >= len(text) || form[i] != 'd' && text[i] != form[i] || form[i] == 'd' && !isDigit(text[i]) {
			d.wrong = true
			return text
		}
		if form[i] != 'd' {
			continue
		}
		if i == 0 || form[i-1] != 'd' {
			d.read = append(d.read, 0)
		}
		d.read[len(d.read)-1] = d.read[len(d.read)-1]*10 + int(text[i]-'0')
	}
	return text[len(form):]
}

func isDigit(b byte) bool { return b >= '0' && b <= '9' }
