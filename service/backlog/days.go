package backlog

import (
	"time"

	"hatchwright/service/civil"
)

// Days narrows what is asked of a plan to the shop's local dates, both included;
// zero ends are open.
type Days struct{ From, To civil.Date }

// MostDays is the longest span that is answered at once: a year, leap years too.
const MostDays = 366

// Count is the number of days, at least one in a span that is the right way round.
func (d Days) Count() int {
	return 1 + int(d.To.At(0, time.UTC).Sub(d.From.At(0, time.UTC))/(24*time.Hour))
}

// Holds reports whether a date is in a closed span.
func (d Days) Holds(day civil.Date) bool {
	return day.Compare(d.From) >= 0 && day.Compare(d.To) <= 0
}

// Meets reports whether any of an operation is in a closed span.
func (d Days) Meets(from, to time.Time, zone *time.Location) bool {
	start, end := d.From.At(0, zone), d.To.AddDays(1).At(0, zone)
	return from.Before(end) && (to.After(start) || to.Equal(from) && !from.Before(start))
}
