package schedule

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"sort"
)

// lineup places one new job in several scenarios side by side, step by step, by the
// rules of planner: what a step needs is looked up once for all of them, and the
// processor need not wait for one scenario's gaps before it asks for the next one's.
// It is the scratch memory of that, and where a "what if" leaves something out.
//
// A column is a value by scenario; who lists the scenarios that a pass is about.
type lineup struct {
	*Profiles
	route     *route
	what      relief
	spare     [1]row // the post that a "what if" adds
	first     int    // the scenario of each column's first value
	placed    []places
	molds     []stays   // by local mold
	inMold    [][]int32 // by local mold, the steps in it
	taken     [][]taken // by center, by post, the added one too
	followers []int32   // steps that have to follow another soon

	all, late, some, rest, moved []uint8 // lists of scenarios
	from                         column

	going func() bool // asked every askEvery operations; nil: always
	since int         // operations placed since it was asked
}

// askEvery is how many operations are placed, in a column of scenarios each, until it
// is asked again whether to go on: a millisecond or so, also when steps are held back.
const askEvery = 64

// side is how many scenarios are placed side by side.
const side = 16

// column is a value by scenario: masked, the index is known to be within it.
type column [side]int32

const mask = side - 1

// places are the slots of a step by scenario.
type places [side]slot

// stays are about a mold: its earliest first use, the first use found, -1 before it,
// and the end of the last.
type stays struct{ bound, first, last column }

// taken is what the job's steps take of a post: so many stretches, the end of the last,
// and the stretches, room for most of them in each scenario.
type taken struct {
	count, last column
	most        int
	gaps        []gap
}

func (p *Profiles) newLineup(r *route, what relief) *lineup {
	l := &lineup{Profiles: p, route: r, what: what, placed: make([]places, len(r.steps)), molds: make([]stays, len(r.molds)), inMold: make([][]int32, len(r.molds)), taken: make([][]taken, len(p.axes))}
	if what.center >= 0 {
		l.spare[0] = row{end: p.axes[what.center].total}
	}
	most := make([]int, len(p.axes))
	for i := range r.steps {
		if c := r.steps[i].center; c >= 0 {
			most[c]++
		}
		if m := r.steps[i].mold; m >= 0 {
			l.inMold[m] = append(l.inMold[m], int32(i))
		}
		if r.steps[i].follows >= 0 {
			l.followers = append(l.followers, int32(i))
		}
	}
	for c, n := range most {
		if n > 0 {
			l.taken[c] = make([]taken, len(p.rows[c])+1)
		}
		for k := range l.taken[c] {
			l.taken[c][k].most, l.taken[c][k].gaps = n, make([]gap, side*n)
		}
	}
	for _, list := range []*[]uint8{&l.all, &l.late, &l.some, &l.rest, &l.moved} {
		*list = make([]uint8, side)
	}
	return l
}

// draw begins with the scenarios from first on, no more than one column of them, and
// the durations that they have.
func (l *lineup) draw(first int, smp sampler, root *rand.PCG) {
	l.first = first
	l.all = l.all[:min(side, len(l.futures)-first)]
	var streams [side]stream
	for s := range l.all {
		l.all[s] = uint8(s)
		streams[s] = nextStream(root)
	}
	for i := range smp {
		k, t := &smp[i], &l.placed[i]
		for s, shared := range l.shared[first : first+len(l.all)] {
			t[s&mask].duration = k.draw(streams[s&mask], shared[k.share])
		}
	}
}

// place finds the earliest slot of every step in every scenario, as planner.place
// does in one.
func (l *lineup) place() error {
	for m, number := range l.route.molds {
		for _, s := range l.all {
			free := int32(0)
			if future := &l.futures[l.first+int(s)]; number < len(future.reserved) && !l.what.mold {
				free = future.reserved[number]
			}
			l.molds[m].bound[s&mask] = free
		}
	}
	for who := l.all; len(who) > 0; {
		if err := l.pass(who); err != nil {
			return err
		}
		moved := l.moved[:0]
		for _, s := range who {
			m, err := l.makeWay(s)
			if err != nil {
				return err
			}
			if m {
				moved = append(moved, s)
			}
		}
		who = moved
	}
	return nil
}

// makeWay raises the bounds of the molds that other jobs have parts in when this one
// would have one in them.
func (l *lineup) makeWay(s uint8) (moved bool, err error) {
	future := &l.futures[l.first+int(s)]
	s &= mask
	for m, number := range l.route.molds {
		k := &l.molds[m]
		if k.first[s] < 0 || number >= len(future.molds) || l.what.mold {
			continue
		}
		others := future.molds[number]
		i := sort.Search(len(others), func(i int) bool { return others[i].end > k.first[s] })
		if k.first[s] < k.last[s] && i < len(others) && others[i].start < k.last[s] {
			if k.bound[s] >= others[i].end {
				return false, fmt.Errorf("job %q: %w", l.route.key, ErrMoldDeadlock)
			}
			k.bound[s] = others[i].end
			moved = true
		}
	}
	return moved, nil
}

func (l *lineup) pass(who []uint8) error {
	for m := range l.molds {
		for _, s := range who {
			l.molds[m].first[s&mask], l.molds[m].last[s&mask] = -1, 0
		}
	}
	for c := range l.taken {
		for k := range l.taken[c] {
			t := &l.taken[c][k]
			for _, s := range who {
				t.count[s&mask], t.last[s&mask] = 0, 0
			}
		}
	}
	for i := range l.route.steps {
		st := &l.route.steps[i]
		if l.since++; l.since >= askEvery {
			if l.since = 0; l.going != nil && !l.going() {
				return ErrStopped
			}
		}
		if err := l.put(i, who, nil); err != nil {
			return err
		}
		if st.follows >= 0 {
			if err := l.holdBack(int(st.follows), i, who); err != nil {
				return err
			}
		}
		if st.mold >= 0 {
			for _, s := range who {
				l.molds[st.mold].use(&l.placed[i], s&mask)
			}
		}
	}
	return nil
}

// use is of the mold by a step.
func (k *stays) use(t *places, s uint8) {
	if k.first[s] < 0 || t[s].start < k.first[s] {
		k.first[s] = t[s].start
	}
	k.last[s] = max(k.last[s], t[s].end)
}

// put places step i; from, where it is given, is the least work on its center's axis
// that its labor begins at.
func (l *lineup) put(i int, who []uint8, from *column) error {
	st, t := &l.route.steps[i], &l.placed[i]
	l.ready(st, t, who)
	at := who
	if st.center < 0 {
		at = nil
	} else if k := slices.IndexFunc(who, func(s uint8) bool { return t[s&mask].labor == 0 }); k >= 0 {
		// Nearly always all of them have labor, or none.
		at = append(l.some[:0], who[:k]...)
		for _, s := range who[k:] {
			if t[s&mask].labor > 0 {
				at = append(at, s)
			}
		}
	}
	if len(at) < len(who) {
		for _, s := range who {
			sl := &t[s&mask]
			sl.start, sl.laborEnd = sl.ready, sl.ready
			sl.asked, sl.work, sl.post = 0, 0, -1
		}
	}
	if len(at) > 0 {
		if err := l.work(st, t, at, from); err != nil {
			return err
		}
	}
	for _, s := range who {
		sl := &t[s&mask]
		if sl.wait > l.longest-sl.laborEnd {
			return fmt.Errorf("job %q: %w of %d years", l.route.key, ErrNothingOpens, HorizonYears)
		}
		sl.end = sl.laborEnd + sl.wait
	}
	return nil
}

// ready is the instant that all a step waits for is there.
func (l *lineup) ready(st *step, t *places, who []uint8) {
	if len(st.after) == 0 {
		for _, s := range who {
			t[s&mask].ready, t[s&mask].from = l.route.release, fromRelease
		}
	}
	for n, k := range st.after {
		before := &l.placed[k]
		if n == 0 { // it ends no earlier than the release
			for _, s := range who {
				t[s&mask].ready, t[s&mask].from = before[s&mask].end, k
			}
			continue
		}
		for _, s := range who {
			t[s&mask].later(before[s&mask].end, k)
		}
	}
	if st.ready > l.route.release && !l.what.material {
		for _, s := range who {
			t[s&mask].later(st.ready, fromMaterial)
		}
	}
	if st.mold >= 0 {
		bound := &l.molds[st.mold].bound
		for _, s := range who {
			t[s&mask].later(bound[s&mask], fromMold)
		}
	}
}

// later puts ready off to what else a step waits for.
func (sl *slot) later(end, from int32) {
	if end > sl.ready {
		sl.ready, sl.from = end, from
	}
}

// work places the labor of a step, which is some in all of the scenarios.
func (l *lineup) work(st *step, t *places, who []uint8, from *column) error {
	a := l.axes[st.center]
	for _, s := range who {
		t[s&mask].asked = a.work(t[s&mask].ready)
	}
	if from != nil {
		for _, s := range who {
			t[s&mask].asked = max(t[s&mask].asked, from[s&mask])
		}
	}
	if st.unbroken {
		for _, s := range who {
			t[s&mask].asked = a.whole(t[s&mask].asked, t[s&mask].labor)
		}
	}
	l.earliest(st, t, who)
	taken := l.taken[st.center]
	for _, s := range who {
		sl := &t[s&mask]
		if sl.post < 0 {
			return fmt.Errorf("job %q: %w of %d years at work center %d", l.route.key, ErrNothingOpens, HorizonYears, st.center)
		}
		to := sl.work + sl.labor
		taken[sl.post].occupy(s, gap{sl.work, to})
		sl.start, sl.laborEnd = a.span(sl.work, to)
	}
	return nil
}

// earliest start at or after asked on any post of the step's center, clear of the
// job's own steps; of equal starts the lowest post, -1 where there is none.
func (l *lineup) earliest(st *step, t *places, who []uint8) {
	for _, s := range who {
		t[s&mask].work, t[s&mask].post = never, -1
	}
	a := l.axes[st.center]
	futures := l.futures[l.first:]
	posts := len(l.rows[st.center])
	for k := range posts + 1 {
		rows, same := l.spare[:], uint8(mask)
		if k < posts {
			rows, same = l.rows[st.center][k][l.first:], 0
		} else if l.what.center != st.center {
			return
		}
		own, rest := &l.taken[st.center][k], l.rest[:0]
		for _, s := range who {
			s &= mask
			r, sl := &rows[s&^same], &t[s]
			n, limit := sl.labor, sl.work
			for from := sl.asked; ; {
				at := from
				if from < r.tail || from > r.end-n {
					at = r.find(&futures[s], from, n, limit)
				}
				if at < 0 || at >= limit {
					break
				}
				if from = at; at < own.last[s] {
					from = clear(own.of(s), at, n)
				}
				if st.unbroken {
					from = a.whole(from, n)
				}
				if from == at {
					sl.work, sl.post = at, int32(k)
					break
				}
			}
			if sl.work != sl.asked {
				rest = append(rest, s)
			}
		}
		if who = rest; len(who) == 0 {
			return
		}
	}
}

func (t *taken) of(s uint8) []gap {
	at := int(s) * t.most
	return t.gaps[at : at+int(t.count[s&mask]) : at+t.most]
}

func (t *taken) occupy(s uint8, g gap) {
	if s &= mask; g.start > t.last[s] || t.count[s] == 0 { // most often
		t.gaps[int(s)*t.most+int(t.count[s])] = g
		t.count[s]++
		t.last[s] = g.end
		return
	}
	t.keep(s, occupy(t.of(s), g))
}

func (t *taken) vacate(s uint8, g gap) { t.keep(s, vacate(t.of(s), g)) }

func (t *taken) keep(s uint8, taken []gap) {
	t.count[s&mask], t.last[s&mask] = int32(len(taken)), 0
	if n := len(taken); n > 0 {
		t.last[s&mask] = taken[n-1].end
	}
}

// holdBack puts step f off where step i, the first that waits for it, does not follow
// soon enough, as planner.holdBack does.
func (l *lineup) holdBack(f, i int, who []uint8) error {
	before, after := &l.placed[f], &l.placed[i]
	st, next := &l.route.steps[f], &l.route.steps[i]
	a := l.axes[st.center]
	for range mostTries {
		late := l.late[:0]
		for _, s := range who {
			s &= mask
			if after[s].start-before[s].end <= st.follow || before[s].post < 0 {
				continue
			}
			ends := after[s].start - st.follow - before[s].wait
			from := a.work(ends)
			if from >= a.total-before[s].labor {
				continue
			}
			if a.begin(from) <= ends { // open: it can end just then, otherwise it begins with the next shift
				from -= before[s].labor
			}
			l.from[s] = max(from, before[s].work+1)
			l.taken[st.center][before[s].post].vacate(s, gap{before[s].work, before[s].work + before[s].labor})
			if after[s].post >= 0 {
				l.taken[next.center][after[s].post].vacate(s, gap{after[s].work, after[s].work + after[s].labor})
			}
			late = append(late, s)
		}
		if who = late; len(who) == 0 {
			return nil
		}
		if err := l.put(f, who, &l.from); err != nil {
			return err
		}
		if err := l.put(i, who, nil); err != nil {
			return err
		}
		if st.mold >= 0 {
			l.stay(st.mold, i, who)
		}
	}
	return nil
}

// stay tells anew how long the steps before i are in a mold.
func (l *lineup) stay(m, i int, who []uint8) {
	k := &l.molds[m]
	for _, s := range who {
		k.first[s&mask], k.last[s&mask] = -1, 0
		for _, n := range l.inMold[m] {
			if int(n) >= i {
				break
			}
			k.use(&l.placed[n], s&mask)
		}
	}
}

// finish is when the job is done in scenario s; what its critical chain took, and what
// follows late, is added to sums, by step.
func (l *lineup) finish(s uint8, sums []tally) int32 {
	s &= mask
	end, last := l.route.release, int32(-1)
	for i := range l.placed {
		if e := l.placed[i][s].end; e >= end {
			end, last = e, int32(i)
		}
	}
	for _, i := range l.followers {
		f := l.route.steps[i].follows
		if l.placed[i][s].start-l.placed[f][s].end > l.route.steps[f].follow {
			sums[f].late++
		}
	}
	for i := last; i >= 0; {
		sl := &l.placed[i][s]
		var a *axis
		if sl.post >= 0 {
			a = l.axes[l.route.steps[i].center]
		}
		sums[i].critical++
		sums[i].time.bill(sl, a)
		i = sl.from
	}
	return end
}
