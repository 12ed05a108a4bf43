package backlog

import (
	"cmp"
	"slices"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/schedule"
)

// Passed tells whether a promise no longer holds: p80, the working day by which the
// order is done in 80 of 100 cases, lies beyond the working day after the promise, so
// that at least one whole working day is between. Less is noise of the sample and of
// the hour of the day.
//
//	promise | working day | p80    passed
//	promise | p80                  holds
//
// Error: ErrNothingOpens and ErrOutOfRange of package schedule, when no working day
// follows the promise.
func Passed(c *schedule.Calendar, promise, p80 civil.Date) (bool, error) {
	next, err := c.WorkingDay(promise.AddDays(1).At(0, c.Location()))
	if err != nil {
		return false, err
	}
	return p80.Compare(next) > 0, nil
}

// CauseBehind is time that went by with less done than was planned. Its key is "".
const CauseBehind schedule.Cause = "behind"

// Outlook is when an order is to be done, as it was seen at an instant.
type Outlook struct {
	Seen   time.Time
	End    time.Time
	Shares []schedule.Share // of the chain that decides the end; they add up to End - Seen
}

// Moved tells what made an order's end later from one outlook to a later one, most
// first. Shares that grew are causes; of the time between the two that part is one by
// which no share got smaller:
//
//	now.End - then.End = sum(now.Shares) - sum(then.Shares) + (now.Seen - then.Seen)
//	behind = (now.Seen - then.Seen) - sum of what shares got smaller, if above 0
//
// Shares of one cause are one, under the key that grew most. closed is how much of
// the time until the end the shop is closed and was not to be: so much of what work,
// queues and closed hours grew by is put down to it.
func Moved(then, now Outlook, closed time.Duration) []schedule.Share {
	type growth struct{ sum, most time.Duration }
	grown := map[schedule.Share]time.Duration{}
	for _, s := range now.Shares {
		grown[schedule.Share{Cause: s.Cause, Key: s.Key}] += s.Time
	}
	for _, s := range then.Shares {
		grown[schedule.Share{Cause: s.Cause, Key: s.Key}] -= s.Time
	}
	byCause := map[schedule.Cause]growth{}
	keys := map[schedule.Cause]string{}
	for k, d := range grown {
		g := byCause[k.Cause]
		g.sum += d
		if key, there := keys[k.Cause]; !there || d > g.most || d == g.most && k.Key < key {
			g.most, keys[k.Cause] = d, k.Key
		}
		byCause[k.Cause] = g
	}
	behind := now.Seen.Sub(then.Seen)
	var out []schedule.Share
	shut := time.Duration(0)
	for _, c := range []schedule.Cause{schedule.CauseClosed, schedule.CauseLabor, schedule.CauseQueue, schedule.CauseWait, schedule.CauseMaterial, schedule.CauseMold, schedule.CauseRelease} {
		d := byCause[c].sum
		if d <= 0 {
			behind += d
			continue
		}
		if c == schedule.CauseLabor || c == schedule.CauseQueue || c == schedule.CauseClosed {
			part := min(d, closed-shut)
			shut += part
			d -= part
		}
		if d > 0 {
			out = append(out, schedule.Share{Cause: c, Key: keys[c], Time: d})
		}
	}
	if shut > 0 { // closed hours of the calendar, not of a center
		out = append(out, schedule.Share{Cause: schedule.CauseClosed, Time: shut})
	}
	if behind > 0 {
		out = append(out, schedule.Share{Cause: CauseBehind, Time: behind})
	}
	slices.SortStableFunc(out, func(a, b schedule.Share) int { return cmp.Compare(b.Time, a.Time) })
	return out
}
