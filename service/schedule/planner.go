package schedule

import (
	"errors"
	"fmt"
	"slices"
	"sort"
)

// What an operation's earliest start waited for; a step's own number stands
// for a predecessor.
const (
	fromRelease  = -1
	fromMaterial = -2
	fromMold     = -3
)

// slot is where a step has been placed. ready is the instant all that it
// waits for is there, from says what came last; asked, that instant, and work are on
// the axis of its center.
type slot struct {
	duration
	ready, start, laborEnd, end int32
	asked, work                 int32
	post                        int32
	from                        int32
}

// duration of a step in one scenario, seconds.
type duration struct{ labor, wait int32 }

// planner is the scratch memory of placing one job after another.
type planner struct {
	slots []slot
	bound []int32 // by local mold: earliest first use
	first []int32 // by local mold: start of the first use, -1 before it
	last  []int32
	own   [][][]gap // by center, by post: what the job's steps take of it, ascending, on its axis
}

// place finds the earliest slot of every step, in order, on the free capacity
// of the board, and leaves the board as it is. What it finds is in p.slots.
//
// A mold is free for the whole of its stay: when the stay found runs into one
// of another job, the job is placed anew with the mold from the end of that
// one. The bounds only rise, each past one more stay, so it ends.
func (p *planner) place(b *board, r *route, d []duration) error {
	p.slots = slices.Grow(p.slots[:0], len(r.steps))[:len(r.steps)]
	p.bound = p.bound[:0]
	for m, number := range r.molds {
		free := int32(0)
		if !r.holds[m] && number < len(b.reserved) {
			free = b.reserved[number]
		}
		p.bound = append(p.bound, free)
	}
	for {
		if err := p.pass(b, r, d); err != nil {
			return err
		}
		moved := false
		for m, number := range r.molds {
			if p.first[m] < 0 || number >= len(b.molds) {
				continue
			}
			stays := b.molds[number]
			if r.holds[m] {
				// The part is in the mold already; whoever was placed there
				// before its end has to make way.
				if len(stays) > 0 && stays[0].start < p.last[m] {
					return &clash{mold: number, until: p.last[m]}
				}
				continue
			}
			i := sort.Search(len(stays), func(i int) bool { return stays[i].end > p.first[m] })
			if p.first[m] < p.last[m] && i < len(stays) && stays[i].start < p.last[m] {
				if p.bound[m] >= stays[i].end {
					return fmt.Errorf("job %q: %w", r.key, ErrMoldDeadlock)
				}
				p.bound[m] = stays[i].end
				moved = true
			}
		}
		if !moved {
			return nil
		}
	}
}

// clash reports that a mold held since the origin was given away before until.
type clash struct {
	mold  int
	until int32
}

func (c *clash) Error() string { return ErrMoldDeadlock.Error() }
func (c *clash) Unwrap() error { return ErrMoldDeadlock }

// placeAll places jobs in order on boards that fresh makes, and calls placed
// after each one with the slots still in p; an error of it ends the placing. When a job turns out to hold a
// mold longer than another was made to wait for it, all are placed anew with
// the mold reserved until then, at most restarts times.
func (p *planner) placeAll(fresh func() *board, routes []*route, order []int, d [][]duration, placed func(job int) error) (*board, error) {
	var reserved []int32
	for restarts := 0; ; restarts++ {
		b := fresh()
		if reserved == nil {
			reserved = make([]int32, len(b.molds))
		}
		b.reserved = reserved
		// In the order of the jobs: no other order of placing moves what is begun.
		for k := range routes {
			if routes[k].started {
				if err := b.pin(routes[k], d[k]); err != nil {
					return nil, err
				}
			}
		}
		var bumped *clash
		for _, k := range order {
			if err := p.place(b, routes[k], d[k]); err != nil {
				if errors.As(err, &bumped) && restarts < maxRestarts {
					reserved[bumped.mold] = bumped.until
					break
				}
				return nil, err
			}
			p.commit(b, routes[k])
			if err := placed(k); err != nil {
				return nil, err
			}
		}
		if bumped == nil {
			return b, nil
		}
	}
}

// maxRestarts bounds the times a schedule is begun anew for molds held at its
// start. One per mold held by a job that another held job waits for is the
// rule; past that the jobs wait for each other.
const maxRestarts = 64

// pin gives the steps in progress their posts, from the origin on.
func (b *board) pin(r *route, d []duration) error {
	r.pins = make([]pin, len(r.steps))
	for i := range r.steps {
		st, n := &r.steps[i], d[i].labor
		if !st.started || st.center < 0 || n == 0 {
			continue
		}
		at, post := int32(-1), 0
		for k := range b.lanes[st.center] {
			if s := b.lanes[st.center][k].find(0, n, never); s >= 0 && (at < 0 || s < at) {
				at, post = s, k
			}
		}
		if at < 0 {
			return fmt.Errorf("job %q: %w of %d years at work center %d", r.key, ErrNothingOpens, HorizonYears, st.center)
		}
		b.lanes[st.center][post].take(at, at+n, b.least)
		r.pins[i] = pin{at, int32(post)}
	}
	return nil
}

func (p *planner) pass(b *board, r *route, d []duration) error {
	p.first, p.last = append(p.first[:0], make([]int32, len(r.molds))...), append(p.last[:0], make([]int32, len(r.molds))...)
	for m := range p.first {
		p.first[m] = -1
	}
	p.forget(b)
	for i := range r.steps {
		if err := p.put(b, r, i, d[i], 0); err != nil {
			return err
		}
		if f := r.steps[i].follows; f >= 0 && p.slots[i].start-p.slots[f].end > r.steps[f].follow {
			if err := p.holdBack(b, r, int(f), i, d); err != nil {
				return err
			}
		}
		if m := r.steps[i].mold; m >= 0 {
			sl := &p.slots[i]
			if p.first[m] < 0 || sl.start < p.first[m] {
				p.first[m] = sl.start
			}
			p.last[m] = max(p.last[m], sl.end)
		}
	}
	return nil
}

// put places step i, whose labor begins no earlier than work from on its center's axis.
func (p *planner) put(b *board, r *route, i int, d duration, from int32) error {
	st, sl := &r.steps[i], &p.slots[i]
	ready, last := r.release, int32(fromRelease)
	for _, k := range st.after {
		if e := p.slots[k].end; e > ready || (e == ready && last < 0) {
			ready, last = e, k
		}
	}
	if st.ready > ready {
		ready, last = st.ready, fromMaterial
	}
	if st.mold >= 0 && p.bound[st.mold] > ready {
		ready, last = p.bound[st.mold], fromMold
	}
	if st.started {
		ready, last = 0, fromRelease
	}
	// One by one: a literal is built beside it and copied, which waits for the
	// stores.
	sl.duration = d
	sl.ready, sl.start, sl.laborEnd = ready, ready, ready
	sl.asked, sl.work = 0, 0
	sl.post, sl.from = -1, last
	if n := d.labor; st.center >= 0 && n > 0 {
		a := b.axes[st.center]
		at, post, asked := int32(0), int32(0), int32(0)
		if st.started {
			at, post = r.pins[i].work, r.pins[i].post
		} else {
			if asked = max(a.work(ready), from); st.unbroken {
				asked = a.whole(asked, n)
			}
			at, post = p.earliest(b, st, asked, n)
		}
		if at < 0 {
			return fmt.Errorf("job %q: %w of %d years at work center %d", r.key, ErrNothingOpens, HorizonYears, st.center)
		}
		sl.asked, sl.work, sl.post = asked, at, post
		own := &p.own[st.center][post]
		*own = occupy(*own, gap{at, at + n})
		sl.start, sl.laborEnd = a.span(at, at+n)
	}
	if d.wait > b.longest-sl.laborEnd {
		return fmt.Errorf("job %q: %w of %d years", r.key, ErrNothingOpens, HorizonYears)
	}
	sl.end = sl.laborEnd + d.wait
	return nil
}

// mostTries bounds holdBack: the first or second nearly always does.
const mostTries = 8

// holdBack puts step f off, so that step i, the first that waits for it, follows soon
// enough: f ends no earlier than so long before i begins, and i is placed anew behind
// it. Where the shop's hours or the queue never let it be, the last try stays.
func (p *planner) holdBack(b *board, r *route, f, i int, d []duration) error {
	before, after := &p.slots[f], &p.slots[i]
	for tries := 0; tries < mostTries && after.start-before.end > r.steps[f].follow && before.post >= 0; tries++ {
		a := b.axes[r.steps[f].center]
		ends := after.start - r.steps[f].follow - d[f].wait
		from := a.work(ends)
		if from >= a.total-d[f].labor {
			return nil
		}
		if a.begin(from) <= ends { // open: it can end just then, otherwise it begins with the next shift
			from -= d[f].labor
		}
		from = max(from, before.work+1)
		own := &p.own[r.steps[f].center][before.post]
		*own = vacate(*own, gap{before.work, before.work + before.labor})
		if after.post >= 0 {
			own = &p.own[r.steps[i].center][after.post]
			*own = vacate(*own, gap{after.work, after.work + after.labor})
		}
		if err := p.put(b, r, f, d[f], from); err != nil {
			return err
		}
		if err := p.put(b, r, i, d[i], 0); err != nil {
			return err
		}
		if m := r.steps[f].mold; m >= 0 {
			p.stay(r, m, i)
		}
	}
	return nil
}

// stay tells anew how long the steps before i are in a mold.
func (p *planner) stay(r *route, m, i int) {
	p.first[m], p.last[m] = -1, 0
	for k := range i {
		if sl := &p.slots[k]; r.steps[k].mold == m {
			if p.first[m] < 0 || sl.start < p.first[m] {
				p.first[m] = sl.start
			}
			p.last[m] = max(p.last[m], sl.end)
		}
	}
}

// earliest start of n seconds of work at or after w on any post of the step's
// center, clear of the job's own steps; of equal starts the lowest post.
func (p *planner) earliest(b *board, st *step, w, n int32) (at, post int32) {
	at, post = -1, -1
	limit := int32(never)
	for k := range b.lanes[st.center] {
		s := w
		for from := w; ; {
			if s = b.lanes[st.center][k].find(from, n, limit); s < 0 || s >= limit {
				break
			}
			from = clear(p.own[st.center][k], s, n)
			if st.unbroken {
				from = b.axes[st.center].whole(from, n)
			}
			if from == s {
				break
			}
		}
		if s >= 0 && s < limit {
			at, post, limit = s, int32(k), s
			if s == w {
				break
			}
		}
	}
	return at, post
}

// clear is the earliest start at or after s that leaves n free of what is taken.
func clear(taken []gap, s, n int32) int32 {
	k := len(taken)
	for k > 0 && taken[k-1].end > s {
		k--
	}
	for ; k < len(taken) && taken[k].start < s+n; k++ {
		s = taken[k].end
	}
	return s
}

// occupy adds a stretch to what is taken. Stretches that touch are one.
func occupy(taken []gap, g gap) []gap {
	k := len(taken)
	if k == 0 || taken[k-1].end < g.start { // most often
		return append(taken, g)
	}
	for k > 0 && taken[k-1].start > g.start {
		k--
	}
	switch before, after := k > 0 && taken[k-1].end == g.start, k < len(taken) && taken[k].start == g.end; {
	case before && after:
		taken[k-1].end = taken[k].end
		return slices.Delete(taken, k, k+1)
	case before:
		taken[k-1].end = g.end
	case after:
		taken[k].start = g.start
	default:
		return slices.Insert(taken, k, g)
	}
	return taken
}

// vacate takes back what occupy added.
func vacate(taken []gap, g gap) []gap {
	k := len(taken) - 1
	for taken[k].start > g.start {
		k--
	}
	left, right := gap{taken[k].start, g.start}, gap{g.end, taken[k].end}
	switch {
	case left.start < left.end && right.start < right.end:
		taken[k] = left
		return slices.Insert(taken, k+1, right)
	case left.start < left.end:
		taken[k] = left
	case right.start < right.end:
		taken[k] = right
	default:
		return slices.Delete(taken, k, k+1)
	}
	return taken
}

// forget empties own.
func (p *planner) forget(b *board) {
	if len(p.own) != len(b.axes) {
		p.own = make([][][]gap, len(b.axes))
	}
	for c := range p.own {
		if n := len(b.lanes[c]); len(p.own[c]) != n {
			p.own[c] = make([][]gap, n)
		}
		for k := range p.own[c] {
			p.own[c][k] = p.own[c][k][:0]
		}
	}
}

// commit takes the slots of a placed job from the board.
func (p *planner) commit(b *board, r *route) {
	for i := range r.steps {
		if sl := &p.slots[i]; sl.post >= 0 && !r.steps[i].started {
			b.lanes[r.steps[i].center][sl.post].take(sl.work, sl.work+sl.labor, b.least)
		}
	}
	for m, number := range r.molds {
		if p.first[m] < 0 {
			continue
		}
		k := hold{p.first[m], p.last[m]}
		if r.holds[m] {
			k.start = 0
		}
		if k.end == k.start {
			continue // a stay of no length is none
		}
		stays := b.molds[number]
		i := sort.Search(len(stays), func(i int) bool { return stays[i].start >= k.start })
		b.molds[number] = slices.Insert(stays, i, k)
	}
}
