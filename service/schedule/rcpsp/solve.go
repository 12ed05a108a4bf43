package rcpsp

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Status says how a search ended.
type Status int

// The ends of a search.
const (
	Optimal       Status = iota // the makespan equals a lower bound
	BudgetReached               // every schedule of the budget has been generated
)

func (s Status) String() string {
	if s == Optimal {
		return "optimal"
	}
	return "budget reached"
}

// Result is the best schedule of a search. Generated counts every pass of the
// generation scheme, forward or backward.
type Result struct {
	Start      []int
	Makespan   int
	LowerBound int
	Generated  int
	Status     Status
}

// Parameters of the search: first choices, usual for the method, not tuned on
// any set of instances.
const (
	population = 24   // individuals
	sampling   = 1.0  // exponent of the regret; 1 is Drexl's, larger is greedier
	mutation   = 0.05 // chance of moving an activity of a child
)

// Solve searches a project for a schedule of short makespan within budget
// generated schedules (at least one is). A population of activity lists begins
// with the latest-finish rule and regret-based samples of it, then children of
// two-point crossover and moves replace the worst; each schedule is justified
// right and left. It stops at a lower bound. Same project, budget and seed,
// same result.
func Solve(p *Project, budget int, seed uint64) (Result, error) {
	w, order, err := compile(p)
	if err != nil {
		return Result{}, err
	}
	s := &search{generator: newGenerator(w, max(1, budget)), rng: rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15)), tail: w.tails(order)}
	s.bound = lowerBound(w, order, s.tail)
	s.best = math.MaxInt
	s.run()
	return s.result(), nil
}

type individual struct {
	list     []int
	makespan int
}

type search struct {
	*generator
	rng   *rand.Rand
	tail  []int
	bound int

	best      int
	bestStart []int
	pool      []individual
}

func (s *search) result() Result {
	r := Result{Start: s.bestStart, Makespan: s.best, LowerBound: s.bound, Generated: s.count, Status: BudgetReached}
	if s.best == s.bound {
		r.Status = Optimal
	}
	return r
}

func (s *search) done() bool { return s.best == s.bound || s.spent() }

// evaluate generates a list's schedule and, while the budget lasts, justifies
// it; the list is left in the order of the starts.
func (s *search) evaluate(list []int) individual {
	start := make([]int, len(list))
	m := s.serial(s.forward, list, start)
	s.arrange(list, start)
	s.keep(m, start)
	if !s.done() && s.count+2 <= s.budget {
		m = s.justify(list, start)
		s.keep(m, start)
	}
	return individual{list, m}
}

func (s *search) keep(m int, start []int) {
	if m < s.best {
		s.best, s.bestStart = m, slices.Clone(start)
	}
}

func (s *search) run() {
	for k := 0; k < population && !s.done(); k++ {
		s.pool = append(s.pool, s.evaluate(s.sample(k > 0)))
	}
	for !s.done() {
		a, b := s.pick(), s.pick()
		child := s.cross(s.pool[a].list, s.pool[b].list)
		s.mutate(child)
		s.replace(s.evaluate(child))
	}
}

// pick is a tournament of two.
func (s *search) pick() int {
	a, b := s.rng.IntN(len(s.pool)), s.rng.IntN(len(s.pool))
	if s.pool[b].makespan < s.pool[a].makespan {
		return b
	}
	return a
}

// sample builds a list by the latest finish time, activity by activity among
// those whose predecessors are in it; at random with the regret as the weight.
//
//	regret(i) = max over ready of lft - lft(i),  weight = (1 + regret)^sampling
//
// lft(i) = -tail(i) + d(i) up to a constant.
func (s *search) sample(random bool) []int {
	w := s.forward
	left := make([]int, w.n)
	var ready, list []int
	for i := range left {
		if left[i] = len(w.preds[i]); left[i] == 0 {
			ready = append(ready, i)
		}
	}
	weight := make([]float64, 0, w.n)
	lft := func(i int) int { return w.duration[i] - s.tail[i] }
	for len(ready) > 0 {
		at := 0
		if !random {
			for k := range ready {
				if lft(ready[k]) < lft(ready[at]) {
					at = k
				}
			}
		} else {
			worst := math.MinInt
			for _, i := range ready {
				worst = max(worst, lft(i))
			}
			weight = weight[:0]
			sum := 0.0
			for _, i := range ready {
				q := math.Pow(1+float64(worst-lft(i)), sampling)
				sum += q
				weight = append(weight, q)
			}
			x := s.rng.Float64() * sum
			for at = 0; at < len(ready)-1; at++ {
				if x -= weight[at]; x < 0 {
					break
				}
			}
		}
		i := ready[at]
		ready = append(ready[:at], ready[at+1:]...)
		list = append(list, i)
		for _, k := range w.succs[i] {
			if left[k]--; left[k] == 0 {
				ready = append(ready, k)
			}
		}
	}
	return list
}

// cross takes positions up to q1 and from q2 in the mother's order, between
// them in the father's: precedence holds, for each part keeps the order of a
// list in which it holds.
func (s *search) cross(mother, father []int) []int {
	n := len(mother)
	q1, q2 := s.rng.IntN(n+1), s.rng.IntN(n+1)
	if q1 > q2 {
		q1, q2 = q2, q1
	}
	child := make([]int, 0, n)
	in := make([]bool, n)
	add := func(from []int, until int) {
		for _, i := range from {
			if len(child) >= until {
				return
			}
			if !in[i] {
				in[i] = true
				child = append(child, i)
			}
		}
	}
	add(mother, q1)
	add(father, q2)
	add(mother, n)
	return child
}

// mutate moves activities to a random place between their predecessors and
// successors.
func (s *search) mutate(list []int) {
	w := s.forward
	at := make([]int, len(list))
	for k, i := range list {
		at[i] = k
	}
	for _, i := range slices.Clone(list) {
		if s.rng.Float64() >= mutation {
			continue
		}
		lo, hi := 0, len(list)-1
		for _, p := range w.preds[i] {
			lo = max(lo, at[p]+1)
		}
		for _, k := range w.succs[i] {
			hi = min(hi, at[k]-1)
		}
		from, to := at[i], lo+s.rng.IntN(hi-lo+1)
		for ; from < to; from++ {
			list[from] = list[from+1]
			at[list[from]] = from
		}
		for ; from > to; from-- {
			list[from] = list[from-1]
			at[list[from]] = from
		}
		list[to] = i
		at[i] = to
	}
}

// replace puts a child in the place of the worst, unless it is worse still or
// in the population already.
func (s *search) replace(c individual) {
	worst := 0
	for k := range s.pool {
		if s.pool[k].makespan == c.makespan && slices.Equal(s.pool[k].list, c.list) {
			return
		}
		if s.pool[k].makespan >= s.pool[worst].makespan {
			worst = k
		}
	}
	if c.makespan <= s.pool[worst].makespan {
		s.pool[worst] = c
	}
}

// lowerBound is the larger of the longest path and, for each resource, the
// work over the capacity between the earliest head and the shortest tail of
// those who use it.
//
//	LB1 = max over i of head(i) + tail(i)
//	LB2 = max over r of min head + ceil(sum d q / c) + min (tail - d)
func lowerBound(w *network, order, tail []int) int {
	head := w.heads(order)
	lb := 0
	for i := range head {
		lb = max(lb, head[i]+tail[i])
	}
	for r, c := range w.capacity {
		work, first, last := 0, math.MaxInt, math.MaxInt
		for i := range head {
			if q := w.demand[i*w.m+r]; q > 0 && w.duration[i] > 0 {
				work += q * w.duration[i]
				first, last = min(first, head[i]), min(last, tail[i]-w.duration[i])
			}
		}
		if work > 0 {
			lb = max(lb, first+(work+c-1)/c+last)
		}
	}
	return lb
}
