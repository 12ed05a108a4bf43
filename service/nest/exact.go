package nest

// mostExact is the largest set of pieces whose fit on one sheet is decided
// exactly: 2^mostExact subsets are kept, each with its blocks.
const mostExact = 8

// Pairs of blocks that one exact decision may look at, some 10 ns each.
const (
	pairsQuick  = 1_000   // while polishing: some ten microseconds
	pairsSearch = 100_000 // in the search, where a sure answer is worth a millisecond
)

// block is a rectangle with a guillotine cut through it: two smaller blocks
// side by side or one above the other, or a single piece.
type block struct {
	l, w   float64
	a, b   int32 // blocks it is made of, or a = ^piece and b = -1
	above  bool  // b lies above a; otherwise beside it
	turned bool
}

// exact decides by dynamic programming over subsets whether a set of pieces
// can be cut from one sheet. For every subset it keeps the blocks that no other
// block of the same subset undercuts in both length and width:
//
//	blocks(S) = minimal { a beside b, a above b : a in blocks(T), b in blocks(S\T), T subset of S }
//
// A set fits when blocks(S) holds one within the sheet; a subset without any
// rules out every set around it.
type exact struct {
	pairs  int // looked at since made
	blocks []block
	from   [1<<mostExact + 1]int32 // blocks of subset s: blocks[from[s]:from[s+1]]
}

// fit reports whether the pieces fit on the board, and if so where (in spots).
// It looks at no more than about limit pairs of blocks and gives up beyond, as
// if they did not fit.
func (e *exact) fit(p *problem, set []int32, b *board, spots []spot, limit int) bool {
	if !e.build(p, set, b, true, limit) {
		return false
	}
	e.write(e.from[1<<len(set)-1], 0, 0, spots)
	return true
}

// clear puts the set down as the block that leaves the largest strip of the
// board free. It reports whether it found one within the limit.
func (e *exact) clear(p *problem, set []int32, b *board, spots []spot, limit int) bool {
	if !e.build(p, set, b, true, limit) {
		return false
	}
	full := 1<<len(set) - 1
	best := e.from[full]
	for i := best + 1; i < e.from[full+1]; i++ {
		if x, y := &e.blocks[i], &e.blocks[best]; b.strip(x.l, x.w, p.kerf) > b.strip(y.l, y.w, p.kerf) {
			best = i
		}
	}
	e.write(best, 0, 0, spots)
	return true
}

// shortest puts the set down as its block of least length on the board. It
// reports whether it looked at all blocks within the limit and found one.
func (e *exact) shortest(p *problem, set []int32, b *board, spots []spot, limit int) bool {
	if !e.build(p, set, b, true, limit) {
		return false
	}
	full := 1<<len(set) - 1
	best := e.from[full]
	for i := best + 1; i < e.from[full+1]; i++ {
		if e.blocks[i].l < e.blocks[best].l {
			best = i
		}
	}
	e.write(best, 0, 0, spots)
	return true
}

// build fills in the blocks of every subset. It reports false when it stopped
// short: beyond limit pairs, and, with whole, at the first subset without any.
func (e *exact) build(p *problem, set []int32, b *board, whole bool, limit int) bool {
	limit += e.pairs
	e.blocks = e.blocks[:0]
	full := 1<<len(set) - 1
	e.from[1] = 0
	for s := 1; s <= full; s++ {
		start := int32(len(e.blocks))
		if s&(s-1) == 0 {
			e.single(p, set, s, b)
		}
		for t := (s - 1) & s; t > s^t; t = (t - 1) & s {
			u := s ^ t
			if e.pairs > limit {
				return false
			}
			e.pairs += int((e.from[t+1] - e.from[t]) * (e.from[u+1] - e.from[u]))
			for i := e.from[t]; i < e.from[t+1]; i++ {
				for j := e.from[u]; j < e.from[u+1]; j++ {
					x, y := e.blocks[i], e.blocks[j]
					if l := x.l + y.l; l <= b.l {
						e.add(start, block{l: l, w: max(x.w, y.w), a: i, b: j})
					}
					if w := x.w + y.w; w <= b.w {
						e.add(start, block{l: max(x.l, y.l), w: w, a: i, b: j, above: true})
					}
				}
			}
		}
		e.from[s+1] = int32(len(e.blocks))
		if whole && e.from[s+1] == start {
			return false
		}
	}
	return true
}

// share finds the fewest boards for the set, exactly:
//
//	boards(S) = 1 + min { boards(S\T) : T subset of S with blocks, T holds the first piece of S }
//
// It gives the subsets chosen, as bit sets, or nil when the limit was passed.
func (e *exact) share(p *problem, set []int32, b *board, limit int) []int {
	if !e.build(p, set, b, false, limit) {
		return nil
	}
	var count, choice [1 << mostExact]int16
	full := 1<<len(set) - 1
	for s := 1; s <= full; s++ {
		count[s] = mostExact + 1
		first := s & -s
		for t := s; t > 0; t = (t - 1) & s {
			if t&first == 0 || e.from[t+1] == e.from[t] {
				continue
			}
			if c := 1 + count[s^t]; c < count[s] {
				count[s], choice[s] = c, int16(t)
			}
		}
	}
	var out []int
	for s := full; s > 0; s ^= int(choice[s]) {
		if choice[s] == 0 {
			return nil
		}
		out = append(out, int(choice[s]))
	}
	return out
}

func (e *exact) single(p *problem, set []int32, s int, b *board) {
	for i, id := range set {
		if s != 1<<i {
			continue
		}
		pc := &p.pieces[id]
		if pc.l <= b.l && pc.w <= b.w {
			e.blocks = append(e.blocks, block{l: pc.l, w: pc.w, a: ^id, b: -1})
		}
		if pc.turn && pc.w <= b.l && pc.l <= b.w {
			e.blocks = append(e.blocks, block{l: pc.w, w: pc.l, a: ^id, b: -1, turned: true})
		}
	}
}

// add keeps the block unless one from start on undercuts it, and drops those it
// undercuts.
func (e *exact) add(start int32, n block) {
	own := e.blocks[start:]
	for i := range own {
		if own[i].l <= n.l && own[i].w <= n.w {
			return
		}
	}
	kept := start
	for i := start; i < int32(len(e.blocks)); i++ {
		if !(n.l <= e.blocks[i].l && n.w <= e.blocks[i].w) {
			e.blocks[kept] = e.blocks[i]
			kept++
		}
	}
	e.blocks = append(e.blocks[:kept], n)
}

// write puts the pieces of block i down with its lower left corner at x, y.
func (e *exact) write(i int32, x, y float64, spots []spot) {
	n := &e.blocks[i]
	if n.b < 0 {
		spots[^n.a] = spot{x, y, 0, n.turned}
		return
	}
	e.write(n.a, x, y, spots)
	if n.above {
		e.write(n.b, x, y+e.blocks[n.a].w, spots)
	} else {
		e.write(n.b, x+e.blocks[n.a].l, y, spots)
	}
}
