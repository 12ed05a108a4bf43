package schedule

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"
)

// Status says how a search ended.
type Status string

// The ends of a search.
const (
	Optimal       Status = "optimal"        // tardiness equals its lower bound
	BudgetReached Status = "budget_reached" // the budget of schedules is spent
)

// Improvement is the outcome of Improve.
type Improvement struct {
	Schedule Schedule
	Order    []int // the order of serial generation that gives it
	// Tardiness is the sum over the jobs of the time they end after their
	// promise; Before is that of PriorityOrder. LowerBound is the sum of what
	// each
	// job is late with a free post for every operation.
	Tardiness, Before, LowerBound time.Duration
	Generated                     int // schedules generated, the first included
	Status                        Status
}

// Improve searches orders of serial generation for less tardiness, and of
// equal tardiness for the smaller sum of ends, within budget generated
// schedules (at least one is). It begins with PriorityOrder, so it is never
// worse; each trial moves one job, a late one half the time, to another place,
// and is kept unless it is worse. Same input and seed, same result.
// Errors: those of Serial.
func Improve(jobs []Job, centers []Center, start time.Time, budget int, seed uint64) (Improvement, error) {
	first, err := Serial(jobs, centers, start, nil)
	if err != nil {
		return Improvement{}, fmt.Errorf("improve: %w", err)
	}
	best := Improvement{Schedule: first, Order: PriorityOrder(jobs), Generated: 1, Status: BudgetReached}
	for k := range first.Jobs {
		best.Before += first.Jobs[k].Late
	}
	best.Tardiness = best.Before
	t, err := newTrial(jobs, centers, first.Origin)
	if err != nil {
		return Improvement{}, fmt.Errorf("improve: %w", err)
	}
	rng := rand.New(rand.NewPCG(seed, 0x632be59bd9b4e019))
	order := slices.Clone(best.Order)
	score, err := t.score(order)
	if errors.Is(err, ErrNothingOpens) {
		t.lay(HorizonYears)
		score, err = t.score(order)
	}
	if err != nil {
		return Improvement{}, fmt.Errorf("improve: %w", err)
	}
	bound := t.bound()
	best.LowerBound = time.Duration(bound) * time.Second
	var next []int
	for best.Generated < budget && score.late > bound && len(jobs) > 1 {
		next = t.move(rng, append(next[:0], order...))
		s, err := t.score(next)
		best.Generated++
		if errors.Is(err, ErrMoldDeadlock) || errors.Is(err, ErrNothingOpens) {
			continue // this order does not work out, the one before does
		}
		if err != nil {
			return Improvement{}, fmt.Errorf("improve: %w", err)
		}
		if s.late < score.late || (s.late == score.late && s.ends <= score.ends) {
			score, order, next = s, next, order
		}
	}
	// One more pass reports the order found; it is the last trial again.
	if best.Schedule, err = Serial(jobs, centers, start, order); err != nil {
		return Improvement{}, fmt.Errorf("improve: %w", err)
	}
	best.Order, best.Tardiness = order, 0
	for k := range best.Schedule.Jobs {
		best.Tardiness += best.Schedule.Jobs[k].Late
	}
	if best.Tardiness <= best.LowerBound {
		best.Status = Optimal
	}
	return best, nil
}

// trial generates schedules for their score alone.
type trial struct {
	sh        *shop
	routes    []*route
	durations [][]duration
	axes      []*axis
	origin    time.Time
	years     int
	due       []int64 // seconds since the origin, or none
	late      []bool  // by job, in the last schedule generated
	planner   planner
}

type score struct{ late, ends int64 } // seconds

const noPromise = int64(1) << 62

func newTrial(jobs []Job, centers []Center, origin time.Time) (*trial, error) {
	sh, routes, err := compileJobs(jobs, centers, origin)
	if err != nil {
		return nil, err
	}
	t := &trial{sh: sh, routes: routes, origin: origin,
		late: make([]bool, len(jobs)), planner: planner{relief: relief{center: -1}}}
	for k, r := range routes {
		t.durations = append(t.durations, estimates(r))
		due := noPromise
		if !jobs[k].Promised.IsZero() {
			due = jobs[k].Promised.Unix() - origin.Unix()
		}
		t.due = append(t.due, due)
	}
	t.lay(6) // years; nearly every backlog fits
	return t, nil
}

func (t *trial) lay(years int) { t.years, t.axes = years, t.sh.compileAxes(t.origin, years) }

// bound is the tardiness that no order avoids: every operation as soon as its
// predecessors, release and material allow, as if there were posts and molds
// for all. What leaves the axis counts as ending with it.
func (t *trial) bound() int64 {
	sum := int64(0)
	var ends []int32
	for k, r := range t.routes {
		ends = append(ends[:0], make([]int32, len(r.steps))...)
		last := int64(0)
		for i := range r.steps {
			st := &r.steps[i]
			at := max(r.release, st.ready)
			if st.started {
				at = 0
			}
			for _, p := range st.after {
				at = max(at, ends[p])
			}
			if st.center >= 0 && st.labor > 0 {
				a := t.axes[st.center]
				at = a.end(min(a.work(at)+st.labor, a.total))
			}
			ends[i] = at + min(st.wait, maxSeconds-min(at, maxSeconds))
			last = max(last, int64(ends[i]))
		}
		if last > t.due[k] {
			sum += last - t.due[k]
		}
	}
	return sum
}

func (t *trial) score(order []int) (score, error) {
	var s score
	fresh := func() *board { return newBoard(t.sh, t.axes, t.origin, t.years, 0) }
	ends := make([]int64, len(order))
	_, err := t.planner.placeAll(fresh, t.routes, order, t.durations, func(k int) {
		ends[k] = 0
		for i := range t.planner.slots {
			ends[k] = max(ends[k], int64(t.planner.slots[i].end))
		}
	})
	for k, e := range ends {
		s.ends += e
		if t.late[k] = e > t.due[k]; t.late[k] {
			s.late += e - t.due[k]
		}
	}
	return s, err
}

// move takes one job out of the order and puts it back elsewhere: half the
// time a late one, earlier.
func (t *trial) move(rng *rand.Rand, order []int) []int {
	from, to := rng.IntN(len(order)), rng.IntN(len(order))
	if rng.IntN(2) == 0 {
		// The first late job at or after a random place, around the end.
		for k := range order {
			if at := (from + k) % len(order); t.late[order[at]] {
				from, to = at, rng.IntN(at+1)
				break
			}
		}
	}
	job := order[from]
	return slices.Insert(slices.Delete(order, from, from+1), to, job)
}
