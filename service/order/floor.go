package order

import (
	"fmt"
	"time"

	"hatchwright/service/record"
)

// clockSlack is how far a record's times may lie ahead of the service's clock:
// clocks of tablets on the floor are rarely off by more (shop rule).
const clockSlack = 5 * time.Minute

// mostHours bounds the hours of one operation: a year and more of one person's
// work is a slip of the keyboard (shop rule).
const mostHours = 2000

// firstYear is the first year that work is recorded of: before it no order can have
// been taken, and a year 1 is a clock that was never set (shop rule).
const firstYear = 2000

// CheckWork says whether the times and hours of a record can be. The error is a
// *Refusal.
func CheckWork(started time.Time, finished *time.Time, hours *float64, now time.Time) error {
	at := func(pointer, detail string) error {
		return &Refusal{Reason: RecordOrder, Detail: detail, Pointer: pointer}
	}
	const ahead = "The record lies ahead of the service's clock. Check the clock of the device, and record what has happened."
	early := func(t time.Time) string {
		return fmt.Sprintf("The record is of the year %d; records begin with %d. Check the clock of the device, and record what has happened.", t.UTC().Year(), firstYear)
	}
	switch {
	case started.UTC().Year() < firstYear:
		return at("/started_at", early(started))
	case finished != nil && finished.UTC().Year() < firstYear:
		return at("/finished_at", early(*finished))
	case started.After(now.Add(clockSlack)):
		return at("/started_at", ahead)
	case finished != nil && finished.After(now.Add(clockSlack)):
		return at("/finished_at", ahead)
	case finished != nil && finished.Before(started):
		return at("/finished_at", "The operation finishes before it starts. Mend finished_at or started_at.")
	case finished == nil && hours != nil:
		return at("/hours", "Hours are recorded when the operation is finished. Add finished_at, or leave hours out.")
	case hours != nil && !(*hours >= 0 && *hours <= mostHours):
		return at("/hours", fmt.Sprintf("Hours are 0 to %d.", mostHours))
	}
	return nil
}

// Record puts an entry into an order's list of records. same is true when the list
// says so already. The error is a *Refusal: NoSuchOperation for one that is not
// planned, RecordFinal when a finished operation would change.
func Record(planned []record.Operation, list []record.OperationRecord, entry record.OperationRecord) (after []record.OperationRecord, same bool, err error) {
	known := false
	for _, p := range planned {
		known = known || p.Key == entry.Operation
	}
	if !known {
		return nil, false, refuse(NoSuchOperation, fmt.Sprintf("The order has no operation %q. Read the order for its operations.", entry.Operation))
	}
	for _, r := range list {
		if r.Operation != entry.Operation {
			after = append(after, r)
			continue
		}
		if sameWork(r, entry) {
			return list, true, nil
		}
		if r.FinishedAt != nil {
			return nil, false, refuse(RecordFinal, fmt.Sprintf("The operation %q was recorded as finished at %s already; a finished record stays.", r.Operation, r.FinishedAt.Format(time.RFC3339)))
		}
	}
	return append(after, entry), false, nil
}

func sameWork(a, b record.OperationRecord) bool {
	return a.StartedAt.Equal(b.StartedAt) &&
		(a.FinishedAt == nil) == (b.FinishedAt == nil) && (a.FinishedAt == nil || a.FinishedAt.Equal(*b.FinishedAt)) &&
		(a.Hours == nil) == (b.Hours == nil) && (a.Hours == nil || *a.Hours == *b.Hours)
}

// Finished counts the finished operations.
func Finished(list []record.OperationRecord) (n int) {
	for _, r := range list {
		if r.FinishedAt != nil {
			n++
		}
	}
	return n
}

// IsDate tells whether a text is a calendar date, ISO 8601 ("2027-03-05").
func IsDate(s string) bool {
	_, err := time.Parse(time.DateOnly, s)
	return err == nil
}
