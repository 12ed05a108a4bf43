package rcpsp

import (
	"errors"
	"fmt"
	"slices"
)

// MaxHorizon bounds the sum of the durations: usage is kept per period.
const MaxHorizon = 100_000

// Errors of projects. They come wrapped; test them with errors.Is.
var (
	ErrShape    = errors.New("project lists differ in length")
	ErrCycle    = errors.New("activities wait for each other in a cycle")
	ErrNegative = errors.New("duration, demand or capacity is negative")
	ErrDemand   = errors.New("demand is above the capacity")
	ErrHorizon  = errors.New("durations add up to more than the horizon")
)

// Project is n activities on m renewable resources.
type Project struct {
	Duration   []int   // n
	Demand     [][]int // n x m
	Successors [][]int // n, of activity indices
	Capacity   []int   // m
}

// network is a project compiled for generation in one direction of time.
type network struct {
	n, m     int
	duration []int
	demand   []int // n*m
	capacity []int
	preds    [][]int
	succs    [][]int
	horizon  int
}

func compile(p *Project) (*network, []int, error) {
	n, m := len(p.Duration), len(p.Capacity)
	if len(p.Demand) != n || len(p.Successors) != n {
		return nil, nil, fmt.Errorf("%w: %d durations, %d demands, %d successor lists", ErrShape, n, len(p.Demand), len(p.Successors))
	}
	w := &network{n: n, m: m, duration: p.Duration, capacity: p.Capacity, succs: p.Successors, preds: make([][]int, n)}
	for r, c := range p.Capacity {
		if c < 0 {
			return nil, nil, fmt.Errorf("%w: capacity of resource %d is %d", ErrNegative, r, c)
		}
	}
	for i := range n {
		if p.Duration[i] < 0 {
			return nil, nil, fmt.Errorf("%w: duration of activity %d is %d", ErrNegative, i, p.Duration[i])
		}
		if p.Duration[i] > MaxHorizon-w.horizon {
			return nil, nil, fmt.Errorf("%w of %d periods", ErrHorizon, MaxHorizon)
		}
		w.horizon += p.Duration[i]
		if len(p.Demand[i]) != m {
			return nil, nil, fmt.Errorf("%w: activity %d demands %d of %d resources", ErrShape, i, len(p.Demand[i]), m)
		}
		for r, d := range p.Demand[i] {
			if d < 0 {
				return nil, nil, fmt.Errorf("%w: activity %d demands %d of resource %d", ErrNegative, i, d, r)
			}
			if d > p.Capacity[r] && p.Duration[i] > 0 {
				return nil, nil, fmt.Errorf("%w: activity %d demands %d of resource %d, which has %d", ErrDemand, i, d, r, p.Capacity[r])
			}
		}
		w.demand = append(w.demand, p.Demand[i]...)
		for _, s := range p.Successors[i] {
			if s < 0 || s >= n {
				return nil, nil, fmt.Errorf("%w: activity %d has successor %d of %d", ErrShape, i, s, n)
			}
			w.preds[s] = append(w.preds[s], i)
		}
	}
	order := w.topological()
	if len(order) < n {
		return nil, nil, fmt.Errorf("%w: %d of %d activities are on it or behind it", ErrCycle, n-len(order), n)
	}
	return w, order, nil
}

// topological order by Kahn's algorithm, lowest index first among the ready;
// shorter than n when there is a cycle.
func (w *network) topological() []int {
	left := make([]int, w.n)
	var ready, order []int
	for i := range left {
		if left[i] = len(w.preds[i]); left[i] == 0 {
			ready = append(ready, i)
		}
	}
	for len(ready) > 0 {
		i := ready[0]
		ready = ready[1:]
		order = append(order, i)
		for _, s := range w.succs[i] {
			if left[s]--; left[s] == 0 {
				ready = append(ready, s)
			}
		}
	}
	return order
}

// reversed is the network with time running backward.
func (w *network) reversed() *network {
	r := *w
	r.preds, r.succs = w.succs, w.preds
	return &r
}

// tails is, for each activity, the longest path from its start to the end.
//
//	tail(i) = d(i) + max over successors of tail
func (w *network) tails(order []int) []int {
	tail := make([]int, w.n)
	for _, i := range slices.Backward(order) {
		for _, s := range w.succs[i] {
			tail[i] = max(tail[i], tail[s])
		}
		tail[i] += w.duration[i]
	}
	return tail
}

// heads is, for each activity, its earliest start by precedence alone.
func (w *network) heads(order []int) []int {
	head := make([]int, w.n)
	for _, i := range order {
		for _, s := range w.succs[i] {
			head[s] = max(head[s], head[i]+w.duration[i])
		}
	}
	return head
}

// Check reports the first rule a vector of starts breaks, from the project's
// own lists: precedence, capacity in every period, no start before zero.
func Check(p *Project, start []int) error {
	if len(start) != len(p.Duration) {
		return fmt.Errorf("%w: %d starts for %d activities", ErrInfeasible, len(start), len(p.Duration))
	}
	end := 0
	for i, s := range start {
		if s < 0 {
			return fmt.Errorf("%w: activity %d starts at %d", ErrInfeasible, i, s)
		}
		end = max(end, s+p.Duration[i])
		for _, k := range p.Successors[i] {
			if start[k] < s+p.Duration[i] {
				return fmt.Errorf("%w: activity %d starts at %d, before %d ends at %d", ErrInfeasible, k, start[k], i, s+p.Duration[i])
			}
		}
	}
	for r, c := range p.Capacity {
		for t := range end {
			used := 0
			for i, s := range start {
				if s <= t && t < s+p.Duration[i] {
					used += p.Demand[i][r]
				}
			}
			if used > c {
				return fmt.Errorf("%w: period %d uses %d of resource %d, which has %d", ErrInfeasible, t, used, r, c)
			}
		}
	}
	return nil
}

// ErrInfeasible is a vector of starts that breaks a rule.
var ErrInfeasible = errors.New("schedule is not feasible")
