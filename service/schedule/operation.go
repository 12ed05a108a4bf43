package schedule

import (
	"container/heap"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Errors of operation graphs and work centers. They come wrapped in an
// *OperationError, *CycleError or *CenterError; test them with errors.Is.
var (
	ErrCycle              = errors.New("operations wait for each other in a cycle")
	ErrUnknownPredecessor = errors.New("predecessor is not an operation of the job")
	ErrUnknownCenter      = errors.New("work center is not in the shop")
	ErrDuplicateKey       = errors.New("key is used twice")
	ErrEmptyKey           = errors.New("key is empty")
	ErrLaborNowhere       = errors.New("labor without a work center")
	ErrRisk               = errors.New("risk is not a probability")
	ErrNoPosts            = errors.New("work center has no posts")
	ErrCenterHours        = errors.New("work center has no hours")
	ErrTooMany            = errors.New("job has too many operations")
	ErrStopped            = errors.New("stopped before it was placed")
	ErrStartedEarly       = errors.New("operation has started before its predecessors are done")
	ErrMoldHeldTwice      = errors.New("mold is held by two jobs at once")
	ErrMoldDeadlock       = errors.New("jobs wait for molds they hold from each other")
)

// Operation is one step of a job.
//
// Labor is elapsed working time with the whole crew on it, at one post of the
// work center; Crew counts people, for person-hours. Wait follows the labor and
// runs by the clock: it leaves the post and keeps the mold. An operation with
// no work center only waits.
//
// Mold names a mold the part occupies. A job holds a mold from the start of
// its first operation that names it to the end (wait included) of its last:
// between gelcoat and demolding the part is in it even while nobody works.
//
// Risk is the probability that the operation takes RiskLabor and RiskWait
// more (rework); only scenarios draw it, a plan by estimates leaves it out.
type Operation struct {
	Key        string
	Kind       string
	WorkCenter string
	Labor      time.Duration
	Crew       int
	Wait       time.Duration
	After      []string
	Mold       string
	// MaterialReady is the earliest start, when material is on its way.
	MaterialReady *time.Time
	// Unbroken says that the labor must not stop once begun, like gelcoat and wet
	// laminate: it lies within one run of the center's shifts, with no pause over
	// MaxPause in it. Labor longer than any run of the week begins with one and
	// goes on like other labor: what is laid wet in several days has to be split
	// by who plans it.
	Unbroken bool
	// Follow is how long after its end what waits for it may begin at the latest: a
	// gelcoat that is not backed up within a day is spoiled. The operation is held
	// back until that can be, as far as a few tries find; 0: whenever. Of several
	// that wait for it the first in placement order counts.
	Follow time.Duration
	// Started says the operation is in progress at the schedule's start, with
	// Labor and Wait what is left of it: it keeps a post from the first
	// opening on, before anything else. All its predecessors are done, and
	// its job holds its mold.
	Started bool

	Risk                float64
	RiskLabor, RiskWait time.Duration
}

// MaxOperations bounds a job, so that placing one costs a second or two at most. A
// routing of a hatch has a few dozen; two hundred of them have a few thousand.
const MaxOperations = 20_000

// Job is an order's unfinished operations. Operations done are left out, and
// from the After lists too.
type Job struct {
	Key        string
	Promised   time.Time // zero: after every promised job
	Accepted   time.Time
	Release    time.Time // earliest start; zero: the schedule's start
	Operations []Operation
	// Weight is what an hour of this job's tardiness counts in Improve; below 1
	// it is 1.
	Weight int
	// Holds are molds with a part of this job in them at the schedule's
	// start. Jobs that hold a mold are placed before the others.
	Holds []string
}

// held are the molds with a part of the job in them at the start.
func (j *Job) held() []string {
	h := slices.Clone(j.Holds)
	for i := range j.Operations {
		if o := &j.Operations[i]; o.Started && o.Mold != "" && !slices.Contains(h, o.Mold) {
			h = append(h, o.Mold)
		}
	}
	return h
}

// Center is a work center: equal posts on one calendar.
type Center struct {
	Key      string
	Posts    int
	Calendar *Calendar
}

// OperationError says which operation of which job was refused and why.
type OperationError struct {
	Job, Operation string
	Detail         string
	Err            error
}

func (e *OperationError) Error() string {
	return fmt.Sprintf("job %q operation %q: %v: %s", e.Job, e.Operation, e.Err, e.Detail)
}
func (e *OperationError) Unwrap() error { return e.Err }

// CycleError names a cycle: each operation waits for the one before it, and
// the first for the last.
type CycleError struct {
	Job        string
	Operations []string
}

func (e *CycleError) Error() string {
	return fmt.Sprintf("job %q: %v: %s; drop one of these predecessors", e.Job, ErrCycle,
		strings.Join(append(slices.Clone(e.Operations), e.Operations[0]), " -> "))
}
func (e *CycleError) Unwrap() error { return ErrCycle }

// CenterError says which work center was refused and why.
type CenterError struct {
	Center string
	Err    error
}

func (e *CenterError) Error() string { return fmt.Sprintf("work center %q: %v", e.Center, e.Err) }
func (e *CenterError) Unwrap() error { return e.Err }

// topology is the order in which a job's operations are placed: predecessors
// first, and of those that are ready the one with the longest tail.
//
//	tail(i) = labor(i) + wait(i) + max over successors of tail
//
// It also gives the predecessors of each operation, by index.
func topology(j *Job) (order []int, preds [][]int, err error) {
	n := len(j.Operations)
	if n > MaxOperations {
		return nil, nil, fmt.Errorf("job %q: %w: %d, at most %d", j.Key, ErrTooMany, n, MaxOperations)
	}
	index := make(map[string]int, n)
	for i := range j.Operations {
		o := &j.Operations[i]
		if o.Key == "" {
			return nil, nil, &OperationError{Job: j.Key, Operation: o.Key, Err: ErrEmptyKey, Detail: fmt.Sprintf("operation %d", i)}
		}
		if k, dup := index[o.Key]; dup {
			return nil, nil, &OperationError{Job: j.Key, Operation: o.Key, Err: ErrDuplicateKey, Detail: fmt.Sprintf("operations %d and %d", k, i)}
		}
		index[o.Key] = i
	}
	preds = make([][]int, n)
	succs := make([][]int, n)
	for i := range j.Operations {
		for _, key := range j.Operations[i].After {
			p, ok := index[key]
			if !ok {
				return nil, nil, &OperationError{Job: j.Key, Operation: j.Operations[i].Key, Err: ErrUnknownPredecessor, Detail: fmt.Sprintf("%q", key)}
			}
			if !slices.Contains(preds[i], p) {
				preds[i] = append(preds[i], p)
				succs[p] = append(succs[p], i)
			}
		}
	}
	// Backward pass for the tails; what it cannot reach lies on a cycle or
	// before one.
	tail := make([]time.Duration, n)
	left := make([]int, n)
	var stack []int
	for i := range left {
		if left[i] = len(succs[i]); left[i] == 0 {
			stack = append(stack, i)
		}
	}
	seen := 0
	for len(stack) > 0 {
		i := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		seen++
		tail[i] += j.Operations[i].Labor + j.Operations[i].Wait
		for _, p := range preds[i] {
			tail[p] = max(tail[p], tail[i])
			if left[p]--; left[p] == 0 {
				stack = append(stack, p)
			}
		}
	}
	if seen < n {
		return nil, nil, &CycleError{Job: j.Key, Operations: cycle(j, succs, left)}
	}
	ready := &tailHeap{tail: tail}
	for i := range left {
		if left[i] = len(preds[i]); left[i] == 0 {
			ready.items = append(ready.items, i)
		}
	}
	heap.Init(ready)
	for ready.Len() > 0 {
		i := heap.Pop(ready).(int)
		order = append(order, i)
		for _, s := range succs[i] {
			if left[s]--; left[s] == 0 {
				heap.Push(ready, s)
			}
		}
	}
	return order, preds, nil
}

// cycle walks successors among the operations a backward pass did not reach:
// each of them has one, so the walk must meet itself.
func cycle(j *Job, succs [][]int, left []int) []string {
	at := slices.IndexFunc(left, func(k int) bool { return k > 0 })
	visited := map[int]int{}
	var walk []int
	for {
		if from, ok := visited[at]; ok {
			keys := make([]string, 0, len(walk)-from)
			for _, i := range walk[from:] {
				keys = append(keys, j.Operations[i].Key)
			}
			return keys
		}
		visited[at] = len(walk)
		walk = append(walk, at)
		at = succs[at][slices.IndexFunc(succs[at], func(s int) bool { return left[s] > 0 })]
	}
}

type tailHeap struct {
	items []int
	tail  []time.Duration
}

func (h *tailHeap) Len() int { return len(h.items) }
func (h *tailHeap) Less(a, b int) bool {
	x, y := h.items[a], h.items[b]
	if h.tail[x] != h.tail[y] {
		return h.tail[x] > h.tail[y]
	}
	return x < y
}
func (h *tailHeap) Swap(a, b int) { h.items[a], h.items[b] = h.items[b], h.items[a] }
func (h *tailHeap) Push(x any)    { h.items = append(h.items, x.(int)) }
func (h *tailHeap) Pop() any {
	x := h.items[len(h.items)-1]
	h.items = h.items[:len(h.items)-1]
	return x
}
