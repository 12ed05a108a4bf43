package rcpsp

import "slices"

// generator builds schedules and counts them: every call of serial is one.
type generator struct {
	forward, backward *network
	used              []int // horizon x m
	count, budget     int
	key               []int
}

func newGenerator(w *network, budget int) *generator {
	return &generator{forward: w, backward: w.reversed(), used: make([]int, (w.horizon+1)*w.m), budget: budget, key: make([]int, w.n)}
}

func (g *generator) spent() bool { return g.count >= g.budget }

// serial is the serial schedule generation scheme: in the order of the list,
// which respects precedence, each activity starts at the earliest period at
// which its predecessors have ended and every resource suffices throughout.
// It fills start and returns the makespan.
func (g *generator) serial(w *network, list, start []int) int {
	g.count++
	clear(g.used)
	makespan := 0
	for _, i := range list {
		d := w.duration[i]
		s := 0
		for _, p := range w.preds[i] {
			s = max(s, start[p]+w.duration[p])
		}
		if d > 0 {
			need := w.demand[i*w.m : (i+1)*w.m]
			// Move past the last period that lacks something.
			for t := s + d - 1; t >= s; t-- {
				row := g.used[t*w.m : (t+1)*w.m]
				for r, q := range need {
					if row[r]+q > w.capacity[r] {
						s = t + 1
						t = s + d // the loop takes one off
						break
					}
				}
			}
			for t := s; t < s+d; t++ {
				row := g.used[t*w.m : (t+1)*w.m]
				for r, q := range need {
					row[r] += q
				}
			}
		}
		start[i] = s
		makespan = max(makespan, s+d)
	}
	return makespan
}

// justify moves a schedule to the right and back to the left: activities by
// falling end on reversed time, then by rising start. It counts two schedules
// and never lengthens. list is left in the order of the new starts.
//
//	before  [1][2]..[4]      right  ..[1][2][4]     left  [1][2][4]
//	        [3]....          by end ....[3].        by start [3]...
func (g *generator) justify(list, start []int) int {
	f := g.forward
	for i := range start {
		g.key[i] = start[i] + f.duration[i]
	}
	g.sort(list, -1)
	g.serial(g.backward, list, start)
	// On reversed time a start is an end: rising start is falling end.
	for i := range start {
		g.key[i] = start[i] + f.duration[i]
	}
	g.sort(list, -1)
	m := g.serial(f, list, start)
	g.arrange(list, start)
	return m
}

// arrange orders list by start.
func (g *generator) arrange(list, start []int) {
	copy(g.key, start)
	g.sort(list, 1)
}

// sort orders list by key, rising or falling; activities of equal key keep
// their order when rising and reverse it when falling, so that precedence
// holds through activities of no duration.
func (g *generator) sort(list []int, direction int) {
	if direction < 0 {
		slices.Reverse(list)
	}
	// Insertion: lists are short and nearly in order.
	for i := 1; i < len(list); i++ {
		x := list[i]
		k := i
		for k > 0 && (g.key[list[k-1]]-g.key[x])*direction > 0 {
			list[k] = list[k-1]
			k--
		}
		list[k] = x
	}
}
