package schedule

import "sort"

// gap is a free stretch of a post, in seconds of the work axis, end exclusive.
type gap struct{ start, end int32 }

// chunkSize bounds a chunk of a lane: small enough that a shift of its gaps
// costs less than the search for them, large enough that heads are few.
const chunkSize = 64

// lane is the free time of one post, ascending gaps in chunks. The head of a
// chunk tells its last end and its longest gap, so a search skips chunks with
// nothing long enough.
type lane struct {
	heads  []head
	chunks [][]gap
}

type head struct{ last, longest int32 }

func newLane(total int32) lane {
	if total == 0 {
		return lane{}
	}
	return lane{heads: []head{{total, total}}, chunks: [][]gap{append(make([]gap, 0, 8), gap{0, total})}}
}

// find is the earliest start at or after p of a free stretch of length n > 0,
// or -1.
func (l *lane) find(p, n int32) int32 {
	if p > l.end()-n {
		return -1
	}
	c := 0
	if len(l.heads) > 8 {
		c = sort.Search(len(l.heads), func(i int) bool { return l.heads[i].last-n >= p })
	}
	for ; c < len(l.heads); c++ {
		if h := l.heads[c]; h.last-n < p || h.longest < n {
			continue
		}
		for _, g := range l.chunks[c] {
			if s := max(g.start, p); g.end-s >= n {
				return s
			}
		}
	}
	return -1
}

func (l *lane) end() int32 {
	if len(l.heads) == 0 {
		return 0
	}
	return l.heads[len(l.heads)-1].last
}

// take removes [s, e), which find has given. Gaps shorter than least are
// dropped: they are lost as capacity.
func (l *lane) take(s, e, least int32) {
	c := 0
	if len(l.heads) > 8 {
		c = sort.Search(len(l.heads), func(i int) bool { return l.heads[i].last >= e })
	}
	for l.heads[c].last < e {
		c++
	}
	k := l.chunks[c]
	i := 0
	for k[i].end < e {
		i++
	}
	g := k[i]
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

func summary(k []gap) head {
	h := head{last: k[len(k)-1].end}
	for _, g := range k {
		h.longest = max(h.longest, g.end-g.start)
	}
	return h
}
