package schedule

import (
	"math"
	"sort"
)

// gap is a free stretch of a post, in seconds of the work axis, end exclusive.
type gap struct{ start, end int32 }

// chunkSize bounds a chunk of a lane: small enough that a shift of its gaps
// costs less than the search for them, large enough that heads are few.
const chunkSize = 64

// lane is the free time of one post: ascending gaps in chunks, and the tail, from
// which on nothing has been taken. The head of a chunk tells its last end and its
// longest gap, so a search skips chunks with nothing long enough.
type lane struct {
	tail   gap // start = end: none is left
	heads  []head
	chunks [][]gap
}

type head struct{ last, longest int32 }

func newLane(total int32) lane { return lane{tail: gap{0, total}} }

// never is a limit that no start reaches.
const never = math.MaxInt32

// find is the earliest start at or after p of a free stretch of length n > 0, or
// -1; -1 or one at or after limit where there is none before limit.
func (l *lane) find(p, n, limit int32) int32 {
	switch {
	case p > l.tail.end-n:
		return -1
	case p >= l.tail.start:
		return p
	}
	c := 0
	if len(l.heads) > 8 {
		c = sort.Search(len(l.heads), func(i int) bool { return l.heads[i].last-n >= p })
	}
	for ; c < len(l.heads); c++ {
		// Either difference below zero: over too early, or too short.
		if h := l.heads[c]; (h.last-n-p)|(h.longest-n) >= 0 {
			for _, g := range l.chunks[c] {
				if (g.end-n-p)|(g.end-g.start-n) >= 0 {
					return max(g.start, p)
				}
			}
		}
		if l.heads[c].last >= limit {
			return -1
		}
	}
	if n > l.tail.end-l.tail.start {
		return -1
	}
	return l.tail.start
}

// take removes [s, e), which find has given. Gaps shorter than least are
// dropped: they are lost as capacity. Where [s, e) has been lost that way since,
// between two other operations of its job, nothing is left to remove.
func (l *lane) take(s, e, least int32) {
	if s >= l.tail.start {
		left := gap{l.tail.start, s}
		if l.tail.start = e; l.tail.end-e < least {
			l.tail.start = l.tail.end
		}
		if left.end > left.start && left.end-left.start >= least {
			l.push(left)
		}
		return
	}
	c := 0
	if len(l.heads) > 8 {
		c = sort.Search(len(l.heads), func(i int) bool { return l.heads[i].last >= e })
	}
	for c < len(l.heads) && l.heads[c].last < e {
		c++
	}
	if c == len(l.heads) {
		return
	}
	k := l.chunks[c]
	i := 0
	for k[i].end < e {
		i++
	}
	g := k[i]
	if g.start > s {
		return
	}
	left, right := gap{g.start, s}, gap{e, g.end}
	keepLeft, keepRight := s > g.start && s-g.start >= least, g.end > e && g.end-e >= least
	switch {
	case keepLeft && keepRight:
		k = append(k, gap{})
		copy(k[i+2:], k[i+1:])
		k[i], k[i+1] = left, right
	case keepLeft:
		k[i] = left
	case keepRight:
		k[i] = right
	default:
		k = append(k[:i], k[i+1:]...)
	}
	l.chunks[c] = k
	whole := true
	switch {
	case len(k) == 0:
		l.heads = append(l.heads[:c], l.heads[c+1:]...)
		l.chunks = append(l.chunks[:c], l.chunks[c+1:]...)
		return
	case len(k) >= chunkSize:
		half := append(make([]gap, 0, chunkSize), k[chunkSize/2:]...)
		l.chunks[c] = k[:chunkSize/2]
		l.heads = append(l.heads, head{})
		copy(l.heads[c+2:], l.heads[c+1:])
		l.chunks = append(l.chunks, nil)
		copy(l.chunks[c+2:], l.chunks[c+1:])
		l.chunks[c+1] = half
		l.heads[c+1] = summary(half)
		k = l.chunks[c]
		whole = false
	}
	if whole && g.end-g.start < l.heads[c].longest {
		// The longest gap is untouched; the last end may have moved.
		l.heads[c].last = k[len(k)-1].end
		return
	}
	l.heads[c] = summary(k)
}

// push appends a gap behind all others but the tail.
func (l *lane) push(g gap) {
	c := len(l.chunks) - 1
	if c < 0 || len(l.chunks[c]) >= chunkSize*3/4 {
		l.heads, l.chunks = append(l.heads, head{}), append(l.chunks, make([]gap, 0, chunkSize))
		c++
	}
	l.chunks[c] = append(l.chunks[c], g)
	l.heads[c] = head{g.end, max(l.heads[c].longest, g.end-g.start)}
}

func summary(k []gap) head {
	h := head{last: k[len(k)-1].end}
	for _, g := range k {
		h.longest = max(h.longest, g.end-g.start)
	}
	return h
}

// each calls visit with the gaps from first to last, the tail too.
func (l *lane) each(visit func(g gap)) {
	for _, ch := range l.chunks {
		for _, g := range ch {
			visit(g)
		}
	}
	if l.tail.end > l.tail.start {
		visit(l.tail)
	}
}
