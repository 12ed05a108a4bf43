package schedule

import (
	"fmt"
	"math"
	"time"
)

// axis lays a calendar's working time end to end, in seconds from an origin.
// On it an operation is one unbroken stretch: it stops at a shift's end and
// goes on at the next start without a rule of its own.
//
//	clock  ..[====]......[====]..........[====]
//	work     [====][====][====]
//
// Clock and work are int32 seconds: 68 years, more than HorizonYears.
type axis struct {
	openings []opening // one more than there are, never reached, ends every search
	total    int32
	longest  int32   // the longest run of the week's hours
	runEnd   []int32 // by opening: work done at the end of its run, see Calendar.LongestRun
	byClock  []int32 // first opening that shuts after the bucket begins
	byWork   []int32 // last opening with before <= the bucket's begin
}

// opening is a stretch of working time by the clock, and the work done before it.
type opening struct{ open, shut, before int32 }

const bucket = 13 // log2 of seconds: two hours and a quarter per table entry

// newAxis compiles years years of a calendar from an instant on whole seconds.
func newAxis(c *Calendar, origin time.Time, years int) *axis {
	a := &axis{}
	zero := origin.Unix()
	limit := origin.AddDate(years, 0, 0).Unix() - zero
	first := origin.In(c.loc).Year()
	for y := first - 1; y <= first+years; y++ {
		k := c.compiled(y)
		for i := range k.open {
			// Shifts and the origin are on whole seconds.
			from, to := k.open[i]/int64(time.Second)-zero, k.shut[i]/int64(time.Second)-zero
			from, to = max(from, 0), min(to, limit)
			if to <= from {
				continue
			}
			a.openings = append(a.openings, opening{int32(from), int32(to), a.total})
			a.total += int32(to - from)
		}
	}
	a.runs(c.LongestRun())
	a.openings = append(a.openings, opening{math.MaxInt32, math.MaxInt32, a.total})
	i := int32(0)
	for at := int64(0); at <= limit; at += 1 << bucket {
		for int64(a.openings[i].shut) <= at {
			i++
		}
		a.byClock = append(a.byClock, i)
	}
	i = 0
	for w := int64(0); w <= int64(a.total); w += 1 << bucket {
		for int(i)+2 < len(a.openings) && int64(a.openings[i+1].before) <= w {
			i++
		}
		a.byWork = append(a.byWork, i)
	}
	return a
}

// runs tells of each opening where its run ends.
func (a *axis) runs(longest time.Duration) {
	a.longest = int32(longest / time.Second)
	a.runEnd = make([]int32, len(a.openings))
	end := a.total
	for i := len(a.openings) - 1; i >= 0; i-- {
		if i+1 < len(a.openings) && a.openings[i+1].open-a.openings[i].shut > int32(MaxPause/time.Second) {
			end = a.openings[i+1].before
		}
		a.runEnd[i] = end
	}
}

// whole is the earliest start at or after w of n that is within one run, or, of more
// than the longest run of the week, that begins with one. It is total or more where
// there is none.
func (a *axis) whole(w, n int32) int32 {
	if w >= a.total {
		return w
	}
	i := a.at(w)
	if n > a.longest {
		if w == 0 || i > 0 && a.openings[i].before == w && a.runEnd[i-1] == w {
			return w
		}
		return a.runEnd[i]
	}
	for a.runEnd[i]-w < n {
		if w = a.runEnd[i]; w == a.total {
			return w
		}
		for a.openings[i].before < w {
			i++
		}
	}
	return w
}

// at is the last opening that begins with or before work w < total.
func (a *axis) at(w int32) int32 {
	i := a.byWork[w>>bucket]
	for a.openings[i+1].before <= w {
		i++
	}
	return i
}

// work is the working time before the clock reading, total at the axis' end.
func (a *axis) work(clock int32) int32 {
	if int(clock>>bucket) >= len(a.byClock) {
		return a.total
	}
	i := a.byClock[clock>>bucket]
	for a.openings[i].shut <= clock {
		i++
	}
	return a.openings[i].before + max(0, clock-a.openings[i].open)
}

// begin is the clock reading at which work after w starts: at the boundary of
// two shifts, the later one's start. w < total.
func (a *axis) begin(w int32) int32 {
	i := a.at(w)
	return a.openings[i].open + w - a.openings[i].before
}

// end is the clock reading at which work reaches w: at the boundary of two
// shifts, the earlier one's end. 0 < w <= total.
func (a *axis) end(w int32) int32 {
	i := a.byWork[(w-1)>>bucket]
	for a.openings[i+1].before < w {
		i++
	}
	return a.openings[i].open + w - a.openings[i].before
}

// span is begin(from) and end(to), from < to.
func (a *axis) span(from, to int32) (start, end int32) {
	i := a.at(from)
	start = a.openings[i].open + from - a.openings[i].before
	if to-from > 1<<bucket {
		i = a.byWork[(to-1)>>bucket]
	}
	for a.openings[i+1].before < to {
		i++
	}
	return start, a.openings[i].open + to - a.openings[i].before
}

// seconds rounds a duration up to whole seconds.
func seconds(d time.Duration) (int32, error) {
	s := int64((d + time.Second - 1) / time.Second)
	if d < 0 {
		return 0, ErrNegativeWork
	}
	if s > maxSeconds {
		return 0, fmt.Errorf("%w: %v is over %d years", ErrOutOfRange, d, HorizonYears)
	}
	return int32(s), nil
}

const secondsPerDay = 24 * 60 * 60

// maxSeconds is the longest duration and the last clock reading: the horizon.
const maxSeconds = HorizonYears * 366 * secondsPerDay
