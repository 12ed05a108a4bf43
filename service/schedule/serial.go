package schedule

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// Placement is an operation in a schedule. Labor runs from Start to LaborEnd
// at one post, inside the shifts; the wait follows, to End. Post is 0-based,
// -1 for an operation without labor at a center.
//
// Ready is the instant everything it waits for was there, and Cause with
// CauseKey say what came last: CausePredecessor (its key), CauseMaterial,
// CauseMold (its key) or CauseRelease.
type Placement struct {
	Job, Operation string
	WorkCenter     string
	Post           int
	Ready          time.Time
	Start          time.Time
	LaborEnd       time.Time
	End            time.Time
	Cause          Cause
	CauseKey       string
}

// Finish is the outcome for one job, in the order the jobs came in.
type Finish struct {
	Job   string
	Start time.Time
	End   time.Time
	// Late is End after Promised, zero without a promise or when in time.
	Late time.Duration
	// Critical is the chain of operations that decided End.
	Critical Critical
}

// Schedule places every operation of every job. Placements are by job in the
// order the jobs came in, and within a job in the order of its operations.
type Schedule struct {
	Origin     time.Time
	Placements []Placement
	Jobs       []Finish
}

// PriorityOrder is the order of serial generation: jobs that hold a mold,
// then by acceptance, then promised date (none after every one), then key.
//
// A job later in the order never moves an earlier one, so work that is taken on
// never moves what was promised before it: a request is placed behind the jobs
// there are, and has that same place once it is one of them.
func PriorityOrder(jobs []Job) []int {
	order := make([]int, len(jobs))
	for i := range order {
		order[i] = i
	}
	holds := make([]bool, len(jobs))
	for i := range jobs {
		holds[i] = len(jobs[i].held()) > 0
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return priority(&jobs[a], &jobs[b], holds[a], holds[b])
	})
	return order
}

func priority(x, y *Job, holdsX, holdsY bool) int {
	flag := func(a, b bool) int { // true first
		switch {
		case a == b:
			return 0
		case a:
			return -1
		default:
			return 1
		}
	}
	if c := flag(holdsX, holdsY); c != 0 {
		return c
	}
	if c := x.Accepted.Compare(y.Accepted); c != 0 {
		return c
	}
	if c := flag(!x.Promised.IsZero(), !y.Promised.IsZero()); c != 0 {
		return c
	}
	if c := x.Promised.Compare(y.Promised); c != 0 {
		return c
	}
	switch {
	case x.Key < y.Key:
		return -1
	case x.Key > y.Key:
		return 1
	}
	return 0
}

// Serial is a serial schedule generation scheme over work centers: job by job
// in the order given (nil: PriorityOrder), each operation at the earliest
// instant at which its predecessors are done, its material and mold are there
// and a post is free for the whole of its labor. An operation is interrupted
// only by the end of a shift and then goes on at the same post. A job later in
// the order may use time that earlier ones leave free, never move them.
//
// start is the earliest instant of any work, rounded up to a whole second, as
// are durations. Errors: *CenterError, *OperationError, *CycleError,
// ErrDuplicateKey, ErrMoldHeldTwice, ErrMoldDeadlock, ErrNothingOpens,
// ErrOutOfRange.
//
// Source of the scheme: J. E. Kelley, The critical-path method: resources
// planning and scheduling, in Muth and Thompson, Industrial Scheduling, 1963;
// R. Kolisch, European Journal of Operational Research 90 (1996) 320-333 (both
// from memory).
func Serial(jobs []Job, centers []Center, start time.Time, order []int) (Schedule, error) {
	if y := start.Year(); y < FirstYear || y > LastYear {
		return Schedule{}, fmt.Errorf("serial schedule: %w: start %v", ErrOutOfRange, start)
	}
	origin := wholeSecond(start)
	sh, routes, err := compileJobs(jobs, centers, origin)
	if err != nil {
		return Schedule{}, fmt.Errorf("serial schedule: %w", err)
	}
	if order == nil {
		order = PriorityOrder(jobs)
	} else if err := permutation(order, len(jobs)); err != nil {
		return Schedule{}, fmt.Errorf("serial schedule: %w", err)
	}
	durations := make([][]duration, len(routes))
	for k, r := range routes {
		durations[k] = estimates(r)
	}
	// A short axis is soon compiled; a backlog that leaves it gets a longer.
	for _, years := range []int{1, 6} {
		s, err := generate(sh, jobs, routes, durations, order, origin, years)
		if err == nil {
			return s, nil
		}
		if !errors.Is(err, ErrNothingOpens) {
			return Schedule{}, fmt.Errorf("serial schedule: %w", err)
		}
	}
	s, err := generate(sh, jobs, routes, durations, order, origin, HorizonYears)
	if err != nil {
		return Schedule{}, fmt.Errorf("serial schedule: %w", err)
	}
	return s, nil
}

// ErrOrder is an order that is not a permutation of the jobs.
var ErrOrder = errors.New("order is not a permutation of the jobs")

func permutation(order []int, n int) error {
	seen := make([]bool, n)
	for _, k := range order {
		if k < 0 || k >= n || seen[k] {
			return fmt.Errorf("%w: %d", ErrOrder, k)
		}
		seen[k] = true
	}
	if len(order) != n {
		return fmt.Errorf("%w: %d entries for %d jobs", ErrOrder, len(order), n)
	}
	return nil
}

func compileJobs(jobs []Job, centers []Center, origin time.Time) (*shop, []*route, error) {
	sh, err := newShop(centers)
	if err != nil {
		return nil, nil, err
	}
	routes := make([]*route, len(jobs))
	keys := make(map[string]bool, len(jobs))
	held := map[string]string{}
	for k := range jobs {
		j := &jobs[k]
		if keys[j.Key] {
			return nil, nil, fmt.Errorf("job %q: %w", j.Key, ErrDuplicateKey)
		}
		keys[j.Key] = true
		for _, m := range j.held() {
			if other, taken := held[m]; taken && other != j.Key {
				return nil, nil, fmt.Errorf("mold %q: %w: %q and %q", m, ErrMoldHeldTwice, other, j.Key)
			}
			held[m] = j.Key
		}
		if routes[k], err = compileRoute(j, sh, origin, sh.mold); err != nil {
			return nil, nil, err
		}
	}
	return sh, routes, nil
}

func estimates(r *route) []duration {
	d := make([]duration, len(r.steps))
	for i := range r.steps {
		d[i] = duration{r.steps[i].labor, r.steps[i].wait}
	}
	return d
}

func generate(sh *shop, jobs []Job, routes []*route, durations [][]duration, order []int, origin time.Time, years int) (Schedule, error) {
	axes := sh.compileAxes(origin, years)
	base := make([]int, len(jobs)+1)
	for k := range jobs {
		base[k+1] = base[k] + len(jobs[k].Operations)
	}
	s := Schedule{Origin: origin, Placements: make([]Placement, base[len(jobs)]), Jobs: make([]Finish, len(jobs))}
	var p planner
	fresh := func() *board { return newBoard(sh, axes, origin, years, 0) }
	_, err := p.placeAll(fresh, routes, order, durations, func(k int) error {
		p.report(axes, &jobs[k], routes[k], origin, s.Placements[base[k]:base[k+1]], &s.Jobs[k])
		return nil
	})
	return s, err
}

// report translates the slots of a job into instants and keys.
func (p *planner) report(axes []*axis, j *Job, r *route, origin time.Time, out []Placement, f *Finish) {
	at := func(s int32) time.Time { return origin.Add(time.Duration(s) * time.Second) }
	*f = Finish{Job: j.Key, Start: origin, End: origin}
	for i := range r.steps {
		st, sl := &r.steps[i], &p.slots[i]
		o := &j.Operations[st.operation]
		pl := Placement{Job: j.Key, Operation: o.Key, WorkCenter: o.WorkCenter, Post: int(sl.post),
			Ready: at(sl.ready), Start: at(sl.start), LaborEnd: at(sl.laborEnd), End: at(sl.end)}
		switch sl.from {
		case fromRelease:
			pl.Cause = CauseRelease
		case fromMaterial:
			pl.Cause = CauseMaterial
		case fromMold:
			pl.Cause, pl.CauseKey = CauseMold, o.Mold
		default:
			pl.Cause, pl.CauseKey = CausePredecessor, j.Operations[r.steps[sl.from].operation].Key
		}
		out[st.operation] = pl
		if i == 0 || pl.Start.Before(f.Start) {
			f.Start = pl.Start
		}
		if pl.End.After(f.End) {
			f.End = pl.End
		}
	}
	if !j.Promised.IsZero() && f.End.After(j.Promised) {
		f.Late = f.End.Sub(j.Promised)
	}
	f.Critical = critical(axes, j, r, p.slots)
}
