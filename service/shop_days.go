package service

import (
	"fmt"
	"time"

	"hatchwright/service/fault"
	"hatchwright/service/schedule"
)

// Days narrows what is asked of a plan to the shop's local dates, both included;
// zero ends are open.
type Days struct{ From, To schedule.Date }

// MostDays is the longest span that is answered at once: a year, leap years too.
const MostDays = 366

// count is the number of days, at least one in a span that is the right way round.
func (d Days) count() int {
	return 1 + int(d.To.At(0, time.UTC).Sub(d.From.At(0, time.UTC))/(24*time.Hour))
}

// within closes the open ends: from the day on which the plan begins to the last day
// of its work, at most most days. Ends that were given stay, and are refused where no
// plan can answer them.
func (d Days) within(first, last schedule.Date, most int) (Days, error) {
	switch {
	case !d.From.IsZero() && !d.To.IsZero() && d.To.Compare(d.From) < 0:
		return d, badDay("to", "turned_round", "This is before from (%v). Turn the two round, or leave one out.", d.From)
	case !d.From.IsZero() && d.From.Compare(first.AddDays(schedule.HorizonYears*365)) > 0:
		return d, badDay("from", "too_far", "No plan reaches that far: give a day within %d years of today, %v.", schedule.HorizonYears, first)
	}
	openFrom, openTo := d.From.IsZero(), d.To.IsZero()
	if openFrom {
		d.From = first
		if !openTo && d.To.Compare(first) < 0 {
			d.From = d.To
		}
	}
	if openTo {
		if d.To = last; d.To.Compare(d.From) < 0 {
			d.To = d.From
		}
		if end := d.From.AddDays(most - 1); d.To.Compare(end) > 0 {
			d.To = end
		}
	}
	if d.count() > MostDays {
		return d, badDay("to", "span_too_long", "From %v to %v are %d days; at most %d are answered at once. Ask for less, and for the rest after it.", d.From, d.To, d.count(), MostDays)
	}
	return d, nil
}

// holds reports whether a date is in a closed span.
func (d Days) holds(day schedule.Date) bool {
	return day.Compare(d.From) >= 0 && day.Compare(d.To) <= 0
}

// meets reports whether any of an operation is in a closed span.
func (d Days) meets(from, to time.Time, zone *time.Location) bool {
	start, end := d.From.At(0, zone), d.To.AddDays(1).At(0, zone)
	return from.Before(end) && (to.After(start) || to.Equal(from) && !from.Before(start))
}

func badDay(parameter, code, message string, a ...any) error {
	return &fault.Error{Kind: fault.Invalid, Detail: "The days do not make a span; see errors.", Fields: []fault.Field{{Parameter: parameter, Code: code, Message: fmt.Sprintf(message, a...)}}}
}

// days is from which date to which the backlog has work, with its first day even
// where there is none.
func (b *Backlog) days() (first, last schedule.Date) {
	zone := b.engine.Location()
	first = schedule.DateOf(b.MadeAt, zone)
	last = first
	for _, f := range b.plan.Jobs {
		if d := schedule.DateOf(f.End, zone); d.Compare(last) > 0 {
			last = d
		}
	}
	return first, last
}
