package schedule

import (
	"cmp"
	"errors"
	"fmt"
	"math"
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
	// Tardiness is the sum over the jobs of the hours they end after their
	// promise, each times its weight; Before is that of PriorityOrder.
	// LowerBound is the sum with a free post and mold for every operation.
	Tardiness, Before, LowerBound float64
	Generated                     int // schedules generated, the first included
	Budget                        int
	Status                        Status
}

// Improve searches orders of serial generation for less weighted tardiness, of
// equal tardiness for the earlier end of all work, and of equal ends for the
// smaller sum of ends, within budget generated schedules (at least one is). It
// begins with PriorityOrder, so it is never worse, and tries orders by urgency;
// after that each trial moves one job, a late one half the time, to another
// place, and is kept unless it is worse. It stops when the tardiness is its lower bound: what is in time is left alone.
//
// Jobs that hold a mold stay ahead of all others, and operations that have
// started where they are. Same input and seed, same result. Errors: those of
// Serial.
func Improve(jobs []Job, centers []Center, start time.Time, budget int, seed uint64) (Improvement, error) {
	first, err := Serial(jobs, centers, start, nil)
	if err != nil {
		return Improvement{}, fmt.Errorf("improve: %w", err)
	}
	order := PriorityOrder(jobs)
	best := Improvement{Schedule: first, Order: order, Generated: 1, Budget: budget, Status: BudgetReached}
	t, err := newTrial(jobs, centers, first.Origin)
	if err != nil {
		return Improvement{}, fmt.Errorf("improve: %w", err)
	}
	score := t.scoreOf(first)
	if t.lay(6); score.end > 5*366*secondsPerDay { // years; nearly every backlog fits
		t.lay(HorizonYears)
	}
	bound := t.bound()
	best.Before, best.LowerBound = hoursOf(score.late), hoursOf(bound)
	rng := rand.New(rand.NewPCG(seed, 0x632be59bd9b4e019))
	order = slices.Clone(order)
	var next []int
	improved := false
	try := func() error {
		s, err := t.score(next, score)
		best.Generated++
		switch {
		case errors.Is(err, ErrMoldDeadlock) || errors.Is(err, ErrNothingOpens):
			return nil // this order does not work out, the one before does
		case err != nil:
			return fmt.Errorf("improve: %w", err)
		case !score.less(s):
			score, order, next = s, next, order
			improved = true
			t.keep()
		}
		return nil
	}
	for _, ahead := range lookAhead {
		if best.Generated >= budget || score.late <= bound {
			break
		}
		if next = t.urgency(best.Order, ahead); next == nil {
			break
		}
		if err := try(); err != nil {
			return Improvement{}, err
		}
	}
	for best.Generated < budget && score.late > bound && t.held+1 < len(jobs) {
		next = t.move(rng, append(next[:0], order...))
		if err := try(); err != nil {
			return Improvement{}, err
		}
	}
	if improved {
		// One more pass reports the order found; it is the last one kept again.
		if best.Schedule, err = Serial(jobs, centers, start, order); err != nil {
			return Improvement{}, fmt.Errorf("improve: %w", err)
		}
	}
	best.Order, best.Tardiness = order, hoursOf(t.scoreOf(best.Schedule).late)
	if best.Tardiness <= best.LowerBound {
		best.Status = Optimal
	}
	return best, nil
}

func hoursOf(seconds int64) float64 { return float64(seconds) / 3600 }

// trial generates schedules for their score alone.
type trial struct {
	sh        *shop
	routes    []*route
	durations [][]duration
	axes      []*axis
	origin    time.Time
	years     int
	due       []int64 // seconds since the origin, or none
	weight    []int64
	alone     []int64 // seconds a job takes with a post for every operation
	held      int     // jobs that hold a mold: the first of every order
	late      []bool  // by job, in the schedule kept
	tried     []bool  // the same in the last one generated
	planner   planner
}

// score is what is compared of schedules, the first that differs.
type score struct{ late, end, ends int64 } // seconds, late weighted

func (a score) less(b score) bool {
	return cmp.Or(cmp.Compare(a.late, b.late), cmp.Compare(a.end, b.end), cmp.Compare(a.ends, b.ends)) < 0
}

const noPromise = int64(1) << 62

// errWorse ends a schedule that can only become worse than the one kept.
var errWorse = errors.New("worse than the one kept")

func newTrial(jobs []Job, centers []Center, origin time.Time) (*trial, error) {
	sh, routes, err := compileJobs(jobs, centers, origin)
	if err != nil {
		return nil, err
	}
	t := &trial{sh: sh, routes: routes, origin: origin,
		late: make([]bool, len(jobs)), tried: make([]bool, len(jobs))}
	for k, r := range routes {
		t.durations = append(t.durations, estimates(r))
		due := noPromise
		if !jobs[k].Promised.IsZero() {
			due = jobs[k].Promised.Unix() - origin.Unix()
		}
		t.due, t.weight = append(t.due, due), append(t.weight, int64(max(1, jobs[k].Weight)))
		if len(jobs[k].held()) > 0 {
			t.held++
		}
	}
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
				w := a.work(at)
				if st.unbroken && !st.started {
					w = a.whole(w, st.labor)
				}
				at = a.end(min(w+st.labor, a.total))
			}
			ends[i] = at + min(st.wait, maxSeconds-min(at, maxSeconds))
			last = max(last, int64(ends[i]))
		}
		if last > t.due[k] {
			sum += t.weight[k] * (last - t.due[k])
		}
		t.alone = append(t.alone, last)
	}
	return sum
}

// scoreOf scores a whole schedule and keeps who is late in it.
func (t *trial) scoreOf(s Schedule) score {
	var out score
	for k := range s.Jobs {
		t.count(&out, k, s.Jobs[k].End.Unix()-t.origin.Unix())
	}
	t.keep()
	return out
}

func (t *trial) count(s *score, k int, end int64) {
	s.end, s.ends = max(s.end, end), s.ends+end
	if t.tried[k] = end > t.due[k]; t.tried[k] {
		s.late += t.weight[k] * (end - t.due[k])
	}
}

// keep takes the last schedule generated as the one that moves start from.
func (t *trial) keep() { t.late, t.tried = t.tried, t.late }

// score generates the schedule of an order; it gives up as soon as that is worse
// than kept, and then gives a score that is worse too.
func (t *trial) score(order []int, kept score) (score, error) {
	var s score
	fresh := func() *board {
		s = score{}
		return newBoard(t.sh, t.axes, t.origin, t.years, 0)
	}
	_, err := t.planner.placeAll(fresh, t.routes, order, t.durations, func(k int) error {
		end := int64(0)
		for i := range t.planner.slots {
			end = max(end, int64(t.planner.slots[i].end))
		}
		if t.count(&s, k, end); s.late > kept.late {
			return errWorse
		}
		return nil
	})
	if errors.Is(err, errWorse) {
		return s, nil
	}
	return s, err
}

// move takes one job out of the order and puts it back elsewhere: half the
// time a late one, earlier. Jobs that hold a mold stay where they are.
func (t *trial) move(rng *rand.Rand, order []int) []int {
	free := len(order) - t.held
	from, to := t.held+rng.IntN(free), t.held+rng.IntN(free)
	if rng.IntN(2) == 0 {
		// The first late job at or after a random place, around the end.
		for k := range free {
			if at := t.held + (from-t.held+k)%free; t.late[order[at]] {
				from, to = at, t.held+rng.IntN(at-t.held+1)
				break
			}
		}
	}
	job := order[from]
	return slices.Insert(slices.Delete(order, from, from+1), to, job)
}

// lookAhead are the factors k of urgency that are tried: from near to far, the
// last about the shortest work first.
var lookAhead = [...]float64{0.5, 1, 2, 4, 8, 32}

// urgency is an order by the apparent tardiness cost: the most urgent job next,
// at the time t that the labor of those before takes at the fullest center.
//
//	urgency = w/p exp(-max(0, d - l - t) / (k p_mean))
//
// w weight, p labor there by the clock, d promise, l the time the job takes alone.
// Jobs that hold a mold stay ahead, in the order given. Without centers it is nil.
//
// Source: A. P. J. Vepsalainen, T. E. Morton, Management Science 33 (1987)
// 1035-1047 (from memory).
func (t *trial) urgency(from []int, k float64) []int {
	order := slices.Clone(from)
	p, sum := t.pace()
	if p == nil {
		return nil
	}
	far, at := k*sum/float64(len(order)), 0.0
	for i := range order[:t.held] {
		at += p[order[i]]
	}
	for i := t.held; i < len(order); i++ {
		best, most := i, math.Inf(-1)
		for j := i; j < len(order); j++ {
			n := order[j]
			slack := max(0, float64(t.due[n]-t.alone[n])-at)
			if u := math.Log(float64(t.weight[n])/p[n]) - slack/far; u > most {
				best, most = j, u
			}
		}
		next := order[best]
		copy(order[i+1:best+1], order[i:best])
		order[i] = next
		at += p[next]
	}
	return order
}

// pace is what each job takes of the fullest work center, seconds of the clock: its
// labor there over the posts and over the center's share of open hours; and the
// sum.
func (t *trial) pace() (p []float64, sum float64) {
	for c := range t.sh.list {
		a := t.axes[c]
		if a.total == 0 {
			continue
		}
		by := float64(t.sh.list[c].Posts) * float64(a.total) / float64(t.origin.AddDate(t.years, 0, 0).Unix()-t.origin.Unix())
		q, all := make([]float64, len(t.routes)), 0.0
		for i, r := range t.routes {
			for j := range r.steps {
				if r.steps[j].center == c {
					q[i] += float64(r.steps[j].labor) / by
				}
			}
			q[i] = max(1, q[i])
			all += q[i]
		}
		if all > sum {
			p, sum = q, all
		}
	}
	return p, sum
}
