package rcpsp_test

import (
	"errors"
	"fmt"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"hatchwright/service/schedule/rcpsp"
)

func TestRefuses(t *testing.T) {
	good := func() *rcpsp.Project {
		return &rcpsp.Project{Duration: []int{1, 2}, Demand: [][]int{{1}, {1}}, Successors: [][]int{{1}, nil}, Capacity: []int{1}}
	}
	for name, k := range map[string]struct {
		spoil func(p *rcpsp.Project)
		want  error
	}{
		"cycle":              {func(p *rcpsp.Project) { p.Successors[1] = []int{0} }, rcpsp.ErrCycle},
		"self":               {func(p *rcpsp.Project) { p.Successors[1] = []int{1} }, rcpsp.ErrCycle},
		"negative duration":  {func(p *rcpsp.Project) { p.Duration[0] = -1 }, rcpsp.ErrNegative},
		"negative demand":    {func(p *rcpsp.Project) { p.Demand[0][0] = -1 }, rcpsp.ErrNegative},
		"negative capacity":  {func(p *rcpsp.Project) { p.Capacity[0] = -1 }, rcpsp.ErrNegative},
		"demand":             {func(p *rcpsp.Project) { p.Demand[0][0] = 2 }, rcpsp.ErrDemand},
		"lists":              {func(p *rcpsp.Project) { p.Demand = p.Demand[:1] }, rcpsp.ErrShape},
		"ragged":             {func(p *rcpsp.Project) { p.Demand[1] = nil }, rcpsp.ErrShape},
		"unknown successor":  {func(p *rcpsp.Project) { p.Successors[0] = []int{7} }, rcpsp.ErrShape},
		"horizon":            {func(p *rcpsp.Project) { p.Duration[0] = rcpsp.MaxHorizon }, rcpsp.ErrHorizon},
		"horizon, overflow":  {func(p *rcpsp.Project) { p.Duration[0], p.Duration[1] = 1<<62, 1<<62 }, rcpsp.ErrHorizon},
		"negative successor": {func(p *rcpsp.Project) { p.Successors[0] = []int{-1} }, rcpsp.ErrShape},
	} {
		t.Run(name, func(t *testing.T) {
			p := good()
			k.spoil(p)
			if _, err := rcpsp.Solve(p, 10, 1); !errors.Is(err, k.want) {
				t.Fatalf("error %v, want %v", err, k.want)
			}
		})
	}
}

func draw(t *rapid.T, most int) *rcpsp.Project {
	n := rapid.IntRange(0, most).Draw(t, "n")
	p := &rcpsp.Project{Capacity: []int{rapid.IntRange(1, 4).Draw(t, "c0"), rapid.IntRange(1, 4).Draw(t, "c1")}}
	for i := range n {
		p.Duration = append(p.Duration, rapid.IntRange(0, 5).Draw(t, "d"))
		p.Demand = append(p.Demand, []int{rapid.IntRange(0, p.Capacity[0]).Draw(t, "q0"), rapid.IntRange(0, p.Capacity[1]).Draw(t, "q1")})
		var s []int
		for k := i + 1; k < n; k++ {
			if rapid.IntRange(0, 3).Draw(t, "edge") == 0 {
				s = append(s, k)
			}
		}
		p.Successors = append(p.Successors, s)
	}
	return p
}

// Every result is feasible, within budget, between its bounds and repeatable.
func TestSolveIsFeasible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := draw(t, 12)
		budget := rapid.IntRange(1, 60).Draw(t, "budget")
		r, err := rcpsp.Solve(p, budget, 7)
		if err != nil {
			t.Fatal(err)
		}
		if err := rcpsp.Check(p, r.Start); err != nil {
			t.Fatal(err)
		}
		if r.Generated > budget || r.Makespan < r.LowerBound || (r.Status == rcpsp.Optimal) != (r.Makespan == r.LowerBound) {
			t.Fatalf("%+v with budget %d", r, budget)
		}
		if again, _ := rcpsp.Solve(p, budget, 7); !reflect.DeepEqual(r, again) {
			t.Fatalf("second run %+v, first %+v", again, r)
		}
	})
}

// On projects of up to six activities the optimum is known by trying every
// list: the best serial schedule over all lists is optimal (A. Sprecher,
// R. Kolisch, A. Drexl, European Journal of Operational Research 80 (1995)
// 94-102, active schedules; from memory). The oracle is a walk of its own.
func TestSolveSmallIsOptimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := draw(t, 6)
		r, err := rcpsp.Solve(p, 400, 3)
		if err != nil {
			t.Fatal(err)
		}
		if want := exhaustive(p); r.Makespan != want {
			t.Fatalf("makespan %d, optimum %d of %+v", r.Makespan, want, p)
		}
		if r.LowerBound > exhaustive(p) {
			t.Fatalf("bound %d above the optimum", r.LowerBound)
		}
	})
}

func exhaustive(p *rcpsp.Project) int {
	n := len(p.Duration)
	best := 1 << 30
	start := make([]int, n)
	var place func(done, at int)
	place = func(done, at int) {
		if done == 1<<n-1 {
			best = min(best, at)
			return
		}
	next:
		for i := range n {
			if done>>i&1 == 1 {
				continue
			}
			for k := range n {
				for _, s := range p.Successors[k] {
					if s == i && done>>k&1 == 0 {
						continue next
					}
				}
			}
			for s := 0; ; s++ {
				if fits(p, start, done, i, s) {
					start[i] = s
					place(done|1<<i, max(at, s+p.Duration[i]))
					break
				}
			}
		}
	}
	place(0, 0)
	return best
}

func fits(p *rcpsp.Project, start []int, done, i, s int) bool {
	for k := range start {
		for _, x := range p.Successors[k] {
			if x == i && start[k]+p.Duration[k] > s {
				return false
			}
		}
	}
	for r, c := range p.Capacity {
		for t := s; t < s+p.Duration[i]; t++ {
			used := p.Demand[i][r]
			for k := range start {
				if done>>k&1 == 1 && start[k] <= t && t < start[k]+p.Duration[k] {
					used += p.Demand[k][r]
				}
			}
			if used > c {
				return false
			}
		}
	}
	return true
}

func TestCheckFinds(t *testing.T) {
	p := &rcpsp.Project{Duration: []int{2, 2}, Demand: [][]int{{1}, {1}}, Successors: [][]int{{1}, nil}, Capacity: []int{1}}
	for _, start := range [][]int{{0}, {-1, 2}, {0, 1}, {2, 0}} {
		if err := rcpsp.Check(p, start); !errors.Is(err, rcpsp.ErrInfeasible) {
			t.Errorf("%v: %v", start, err)
		}
	}
	p.Successors[0] = nil
	if err := rcpsp.Check(p, []int{0, 1}); !errors.Is(err, rcpsp.ErrInfeasible) {
		t.Errorf("capacity: %v", err)
	}
	if err := rcpsp.Check(p, []int{0, 2}); err != nil {
		t.Error(err)
	}
}

func ExampleSolve() {
	// Three crews of two people each; only four people.
	p := &rcpsp.Project{Duration: []int{3, 2, 2}, Demand: [][]int{{2}, {2}, {2}}, Successors: [][]int{nil, nil, nil}, Capacity: []int{4}}
	r, err := rcpsp.Solve(p, 100, 1)
	fmt.Println(r.Makespan, r.LowerBound, r.Status, err)
	// Output: 4 4 optimal <nil>
}
