package schedule

import (
	"fmt"
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
	open, shut []int32 // clock
	before     []int32 // work done before the opening
	total      int32
	runEnd     []int32 // by opening: work done at the end of its run, see Calendar.LongestRun
	longest    int32   // the longest run of the week's hours
	byDay      []int32 // first opening that ends after the day's start
	byWork     []int32 // last opening with before <= bucket's start
}

const workBucket = 13 // log2 of seconds: two hours and a quarter per table entry

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
			a.open, a.shut, a.before = append(a.open, int32(from)), append(a.shut, int32(to)), append(a.before, a.total)
			a.total += int32(to - from)
		}
	}
	a.runs(c.LongestRun())
	i := int32(0)
	for day := int64(0); day <= limit/secondsPerDay; day++ {
		for int(i) < len(a.shut) && int64(a.shut[i]) <= day*secondsPerDay {
			i++
		}
		a.byDay = append(a.byDay, i)
	}
	i = 0
	for w := int64(0); w <= int64(a.total); w += 1 << workBucket {
		for int(i)+1 < len(a.before) && int64(a.before[i+1]) <= w {
			i++
		}
		a.byWork = append(a.byWork, i)
	}
	return a
}

// runs tells of each opening where its run ends.
func (a *axis) runs(longest time.Duration) {
	a.longest = int32(longest / time.Second)
	a.runEnd = make([]int32, len(a.open))
	end := a.total
	for i := len(a.open) - 1; i >= 0; i-- {
		if i+1 < len(a.open) && a.open[i+1]-a.shut[i] > int32(MaxPause/time.Second) {
			end = a.before[i+1]
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
	i := a.opening(w)
	if n > a.longest {
		if w == 0 || i > 0 && a.before[i] == w && a.runEnd[i-1] == w {
			return w
		}
		return a.runEnd[i]
	}
	for a.runEnd[i]-w < n {
		if w = a.runEnd[i]; w == a.total {
			return w
		}
		for a.before[i] < w {
			i++
		}
	}
	return w
}

// opening is the last that begins with or before work w < total.
func (a *axis) opening(w int32) int {
	i := int(a.byWork[w>>workBucket])
	for i+1 < len(a.before) && a.before[i+1] <= w {
		i++
	}
	return i
}

// work is the working time before the clock reading, total at the axis' end.
func (a *axis) work(clock int32) int32 {
	day := int(clock / secondsPerDay)
	if day >= len(a.byDay) {
		return a.total
	}
	i := int(a.byDay[day])
	for i < len(a.shut) && a.shut[i] <= clock {
		i++
	}
	if i == len(a.shut) {
		return a.total
	}
	return a.before[i] + max(0, clock-a.open[i])
}

// begin is the clock reading at which work after w starts: at the boundary of
// two shifts, the later one's start. w < total.
func (a *axis) begin(w int32) int32 {
	i := a.opening(w)
	return a.open[i] + w - a.before[i]
}

// end is the clock reading at which work reaches w: at the boundary of two
// shifts, the earlier one's end. 0 < w <= total.
func (a *axis) end(w int32) int32 {
	i := int(a.byWork[(w-1)>>workBucket])
	for i+1 < len(a.before) && a.before[i+1] < w {
		i++
	}
	return a.open[i] + w - a.before[i]
}

// span is begin(from) and end(to), from < to.
func (a *axis) span(from, to int32) (start, end int32) {
	i := a.opening(from)
	start = a.open[i] + from - a.before[i]
	if to-from > 1<<workBucket {
		i = int(a.byWork[(to-1)>>workBucket])
	}
	for i+1 < len(a.before) && a.before[i+1] < to {
		i++
	}
	return start, a.open[i] + to - a.before[i]
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

// maxSeconds is the longest duration and the last clock reading: the horizon.
const maxSeconds = HorizonYears * 366 * secondsPerDay
