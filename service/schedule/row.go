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

// row is the free time of one post on a board that nothing is placed on any more:
// its gaps, ascending, and levels of sums over them. Cells and tables are the
// board's. It fills a line of a cache.
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
func (r *row) find(b *board, p, n, limit int32) int32 {
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
	k, i := 0, b.tables[r.table+p>>r.shift]
	for {
		size := r.size(k)
		stop := min((i|(1<<fan-1))+1, size)
		level := b.cells[r.from[k] : r.from[k]+size]
		// Either difference below zero: too short, or over too early.
		for i < stop && (level[i].longest-n)|(level[i].last-n-p) < 0 {
			i++
		}
		switch {
		case i < stop && k == 0:
			return max(level[i].last-level[i].longest, p)
		case i < stop:
			k, i = k-1, i<<fan
		case i >= size || level[i-1].last >= limit:
			return -1
		default:
			k, i = k+1, i>>fan
		}
	}
}

// size is how many cells a level has.
func (r *row) size(level int) int32 { return (r.gaps-1)>>(fan*level) + 1 }

// freeze turns the lanes of a finished board into rows: less memory, and a
// search touches few lines of it.
func (b *board) freeze() {
	rows, cells, tables := 0, 0, 0
	for c := range b.lanes {
		rows += len(b.lanes[c])
		for k := range b.lanes[c] {
			r := row{gaps: b.lanes[c][k].gaps()}
			if r.gaps == 0 {
				continue
			}
			for level := 0; ; level++ {
				cells += int(r.size(level))
				if r.size(level) <= 1<<fan {
					break
				}
			}
			tables += int(r.gaps)/perBucket + 1
		}
	}
	all := make([]row, rows)
	b.cells, b.tables, b.rows = make([]cell, 0, cells), make([]int32, 0, tables), make([][]row, len(b.lanes))
	for c := range b.lanes {
		n := len(b.lanes[c])
		b.rows[c], all = all[:n:n], all[n:]
		for k := range b.lanes[c] {
			b.rows[c][k].fill(b, &b.lanes[c][k])
		}
	}
	b.lanes = nil
}

func (l *lane) gaps() int32 {
	n := int32(0)
	l.each(func(gap) { n++ })
	return n
}

// fill appends the gaps of a lane, the levels over them and their table to those
// of the board.
func (r *row) fill(b *board, l *lane) {
	if r.gaps = l.gaps(); r.gaps == 0 {
		return
	}
	r.from[0] = int32(len(b.cells))
	l.each(func(g gap) {
		r.inner = max(r.inner, r.end-r.tail) // of the gap before
		b.cells = append(b.cells, cell{g.end, g.end - g.start})
		r.tail, r.end = g.start, g.end
	})
	for k := 0; r.size(k) > 1<<fan; k++ {
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
