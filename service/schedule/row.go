package schedule

// fan is how many cells of a row stand under one of the level above, as a power of
// two: 16, two lines of a cache.
const fan = 4

// rowLevels is as many as a row can need: 1 << (fan * rowLevels) is over maxSeconds.
const rowLevels = 8

// perBucket is how many gaps there are for each entry of a row's table: a search
// begins a few before the one it wants.
const perBucket = 4

// cell is a gap, or the sum of the cells under it on the level below: the last end
// among them and the longest gap. Of a gap that is its end and its length.
type cell struct{ last, longest int32 }

// future is what one scenario has left free once the backlog is done: the cells and
// tables of its rows, and the stays in molds.
type future struct {
	cells    []cell
	tables   []int32
	molds    [][]hold
	reserved []int32
}

// row is the free time of one post in one scenario: its gaps, ascending, and levels
// of sums over them. Cells and tables are the future's. It fills a line of a cache.
type row struct {
	from      [rowLevels]int32 // by level, where its cells begin
	gaps      int32
	tail, end int32 // the last gap
	inner     int32 // the longest of the others
	table     int32 // where its table begins: by bucket, the first gap that ends after the bucket begins
	shift     int32 // log2 of a bucket's seconds
}

// find is the earliest start at or after p of a free stretch of length n > 0, or
// -1; -1 or one at or after limit where there is none before limit.
//
// A post has most often been free for good before p. Otherwise the search goes
// along the gaps from p, from the end of a group up to the sums and down again
// into the first group that may have it.
func (r *row) find(f *future, p, n, limit int32) int32 {
	switch {
	case p > r.end-n:
		return -1
	case p >= r.tail:
		return p
	case n > r.inner:
		if n > r.end-r.tail {
			return -1
		}
		return r.tail
	}
	k, i, ends := int32(0), f.tables[r.table+p>>r.shift], n+p
	for {
		size := r.size(k)
		stop := min((i|(1<<fan-1))+1, size)
		group := f.cells[r.from[k]+i : r.from[k]+stop]
		at := int32(0)
		// Either difference below zero: too short, or over too early.
		for at < int32(len(group)) && (group[at].longest-n)|(group[at].last-ends) < 0 {
			at++
		}
		i += at
		switch {
		case i < stop && k == 0:
			return max(group[at].last-group[at].longest, p)
		case i < stop:
			k, i = k-1, i<<fan
		case i >= size || group[at-1].last >= limit:
			return -1
		default:
			k, i = k+1, i>>fan
		}
	}
}

// size is how many cells a level has.
func (r *row) size(level int32) int32 { return (r.gaps-1)>>(fan*level) + 1 }

// freeze turns the lanes of a finished board into rows, those of scenario s of all:
// less memory, and a search touches few lines of it.
func (b *board) freeze(all [][][]row, s int) future {
	cells, tables := 0, 0
	for c := range b.lanes {
		for k := range b.lanes[c] {
			r := row{gaps: b.lanes[c][k].gaps()}
			if r.gaps == 0 {
				continue
			}
			for level := int32(0); ; level++ {
				cells += int(r.size(level))
				if r.size(level) <= 1<<fan {
					break
				}
			}
			tables += int(r.gaps)/perBucket + 1
		}
	}
	f := future{cells: make([]cell, 0, cells), tables: make([]int32, 0, tables), molds: b.molds, reserved: b.reserved}
	for c := range b.lanes {
		for k := range b.lanes[c] {
			all[c][k][s].fill(&f, &b.lanes[c][k])
		}
	}
	return f
}

func (l *lane) gaps() int32 {
	n := int32(0)
	l.each(func(gap) { n++ })
	return n
}

// fill appends the gaps of a lane, the levels over them and their table to those
// of the future.
func (r *row) fill(b *future, l *lane) {
	if r.gaps = l.gaps(); r.gaps == 0 {
		return
	}
	r.from[0] = int32(len(b.cells))
	l.each(func(g gap) {
		r.inner = max(r.inner, r.end-r.tail) // of the gap before
		b.cells = append(b.cells, cell{g.end, g.end - g.start})
		r.tail, r.end = g.start, g.end
	})
	for k := int32(0); r.size(k) > 1<<fan; k++ {
		below := b.cells[r.from[k]:]
		r.from[k+1] = int32(len(b.cells))
		for at := 0; at < len(below); at += 1 << fan {
			group := below[at:min(at+1<<fan, len(below))]
			sum := cell{last: group[len(group)-1].last}
			for _, g := range group {
				sum.longest = max(sum.longest, g.longest)
			}
			b.cells = append(b.cells, sum)
		}
	}
	for r.tail>>r.shift >= r.gaps/perBucket+1 {
		r.shift++
	}
	r.table = int32(len(b.tables))
	i := int32(0)
	for at := int32(0); at <= r.tail>>r.shift; at++ {
		for b.cells[r.from[0]+i].last <= at<<r.shift {
			i++
		}
		b.tables = append(b.tables, i)
	}
}
