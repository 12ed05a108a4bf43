package nest

import "math"

// fit reports whether the set goes on one board; when it does and it was not
// known before, spots holds the packing. The answer yes is certain; the answer
// no is certain up to mostExact pieces.
func (s *search) fit(set []int32, board int32) bool {
	area, key := s.weigh(set, board)
	if area > s.boards[board].area*areaSlack {
		return false
	}
	v, ok := s.known[key]
	switch {
	case !ok:
		v.fits, v.near = s.pour(set, board, key)
	case !v.near || len(set) < len(s.pieces):
		s.steps++
		return v.fits
	default:
		v.tries++
		v.fits, v.near = s.squeeze(set, board, key+uint64(v.tries))
		v.near = v.near && v.tries < mostTries
	}
	s.known[key] = v
	return v.fits
}

// weigh gives a set's area and its key on the board.
func (s *search) weigh(set []int32, board int32) (area float64, key uint64) {
	key = uint64(board)
	for _, i := range set {
		area += s.pieces[i].area
		key += s.pieces[i].key
	}
	return area, key
}

// verdict is what is known of a set on a board.
type verdict struct {
	fits  bool
	near  bool // not decided, and little was left over: worth trying again
	tries int16
}

// mostTries is how often a set that nearly fits is tried again.
const mostTries = 1000

// nearLoss is the part of a board's area that may be left over for a set to be
// tried again when it is next asked for. That is done only when all pieces are
// to go on one board; with more boards another exchange of pieces promises more.
const nearLoss = 0.10

// areaSlack allows for rounding in sums of areas: pieces that fill a board to
// the last bit must not be refused. The packing itself is exact.
const areaSlack = 1 + 1e-12

func (s *search) exactMemory() *exact {
	if s.exact == nil {
		s.exact = new(exact)
	}
	return s.exact
}

// pour looks for a packing of the set on one board. near tells that another
// squeeze may yet find one.
func (s *search) pour(set []int32, board int32, key uint64) (yes, near bool) {
	s.trial = append(s.trial[:0], set...)
	few := len(set) <= mostExact
	for _, rk := range [...]ranking{byArea, byLongSide, byLength, byWidth} {
		s.rank(s.trial, rk)
		for c := range choices {
			for sp := range splits {
				if s.packOne(s.trial, board, recipe{c, sp, true}) {
					return true, false
				}
			}
			if few {
				break
			}
		}
		if few {
			break
		}
	}
	if few {
		e := s.exactMemory()
		before := e.pairs
		yes = e.fit(s.problem, set, &s.boards[board], s.spots, s.deep)
		s.steps += e.pairs - before
		return yes, false
	}
	return s.squeeze(set, board, key)
}

// squeezeTries is how many disturbed orders of a larger set are tried in a row
// without getting nearer to a packing.
const squeezeTries = 30

// squeeze looks for a packing of a larger set by disturbing the order in which
// the pieces are offered: pieces that found no room come earlier, some others
// change places, and the order is kept when no more area is left over than
// before. The random numbers depend on the seed alone.
func (s *search) squeeze(set []int32, board int32, seed uint64) (yes, near bool) {
	rng := random(seed)
	n := len(set)
	s.current = append(s.current[:0], set...)
	cur := s.current
	best := math.Inf(1)
	rec := recipe{inTurn: true}
	for dull := 0; dull < squeezeTries; dull++ {
		r := rec
		if best == math.Inf(1) || rng.below(3) == 0 {
			r.choice, r.split = choice(rng.below(int(choices))), split(rng.below(int(splits)))
		}
		if best == math.Inf(1) {
			s.rank(cur, ranking(rng.below(int(rankings))))
			s.trial = append(s.trial[:0], cur...)
		} else {
			s.trial = append(s.trial[:0], cur...)
			for range 1 + n/8 {
				i := rng.below(n)
				j := min(n-1, i+1+rng.below(4))
				s.trial[i], s.trial[j] = s.trial[j], s.trial[i]
			}
		}
		loss := s.packSome(s.trial, board, r)
		if loss == 0 {
			return true, false
		}
		if loss < best {
			dull = -1
		}
		if loss <= best {
			best = loss
			rec = r
			copy(cur, s.trial)
			// the pieces left over come forward
			for x, i := range cur {
				if s.spots[i].bin >= 0 {
					continue
				}
				to := rng.below(x + 1)
				copy(cur[to+1:x+1], cur[to:x])
				cur[to] = i
			}
		}
	}
	return false, best <= nearLoss*s.boards[board].area
}

// improve empties one sheet after the other until the bound is met or the
// budget is spent. The pieces of the emptied sheet wait in a pool. The piece
// taken from the pool goes on a sheet with room; if there is none, it takes the
// place of the pieces of least counted trouble on some sheet, which join the
// pool. Between two pieces the sheets exchange pieces at random. Each failure
// to find room adds to the piece's count of trouble.
func (s *search) improve(bound int) {
	s.known = make(map[uint64]verdict)
	s.deep = pairsSearch
	defer func() { s.deep = pairsQuick }()
	for s.steps < s.budget && (s.best.left > 0 || len(s.best.bins) > bound) {
		if !s.emptyOne() {
			return
		}
	}
}

// decide finds the fewest sheets of a small job exactly and reports whether it
// could: at most mostExact pieces, one stock size.
func (s *search) decide() bool {
	n := len(s.pieces)
	if n > mostExact || len(s.boards) > 1 {
		return false
	}
	for i := range s.order {
		s.order[i] = int32(i)
	}
	e := s.exactMemory()
	before := e.pairs
	parts := e.share(s.problem, s.order, &s.boards[0], min(pairsSearch, s.budget))
	s.steps += e.pairs - before
	if parts == nil || len(parts) > s.boards[0].left {
		return false
	}
	bins := make([]bin, len(parts))
	for x, part := range parts {
		for i := range n {
			if part&(1<<i) != 0 {
				bins[x].set = append(bins[x].set, int32(i))
			}
		}
	}
	if s.best.left > 0 || len(bins) < len(s.best.bins) {
		return s.adopt(bins)
	}
	return len(bins) == len(s.best.bins)
}

// ejection is the pieces a set would give up.
type ejection struct {
	bin  int
	out  [2]int // positions in the bin's set
	n    int
	cost int
	area float64
}

func (s *search) emptyOne() bool {
	bins := make([]bin, len(s.best.bins))
	for i, b := range s.best.bins {
		bins[i] = bin{board: b.board, set: append(make([]int32, 0, len(b.set)+8), b.set...), area: b.area}
	}
	var pool []int32
	if s.best.left > 0 {
		// the stock ran out: every sheet at hand is open, the rest waits
		bins, pool = s.openAll(bins)
	} else {
		last := len(bins) - 1 // least full: bins are sorted
		pool = bins[last].set
		bins = bins[:last]
	}
	if len(bins) == 1 {
		return s.onOne(bins[0], pool)
	}
	trouble := make([]int, len(s.pieces))
	for i := range trouble {
		trouble[i] = 1
	}
	var set []int32
	for len(pool) > 0 {
		if s.steps >= s.budget || len(bins) == 0 {
			return false
		}
		i := pool[len(pool)-1]
		pool = pool[:len(pool)-1]
		if s.insert(bins, i) {
			continue
		}
		trouble[i]++
		e := ejection{bin: -1, cost: 1 << 30}
		start := s.rng.below(len(bins))
		for t := range bins {
			k := (start + t) % len(bins)
			b := &bins[k]
			room := s.boards[b.board].area - b.area - s.pieces[i].area
			for x := range b.set {
				cx := trouble[b.set[x]]
				if cx > e.cost {
					continue
				}
				ax := s.pieces[b.set[x]].area
				if room+ax >= 0 && (cx < e.cost || ax < e.area) {
					set = append(append(set[:0], b.set[:x]...), b.set[x+1:]...)
					set = append(set, i)
					if s.fit(set, b.board) {
						e = ejection{k, [2]int{x}, 1, cx, ax}
						continue
					}
				}
				for y := x + 1; y < len(b.set); y++ {
					cy := cx + trouble[b.set[y]]
					ay := ax + s.pieces[b.set[y]].area
					if cy > e.cost || room+ay < 0 || cy == e.cost && ay >= e.area {
						continue
					}
					set = append(append(append(set[:0], b.set[:x]...), b.set[x+1:y]...), b.set[y+1:]...)
					set = append(set, i)
					if s.fit(set, b.board) {
						e = ejection{k, [2]int{x, y}, 2, cy, ay}
					}
				}
			}
			if s.steps >= s.budget {
				break
			}
		}
		if e.bin < 0 {
			pool = append(pool, i)
			j := s.rng.below(len(pool))
			pool[j], pool[len(pool)-1] = pool[len(pool)-1], pool[j]
		} else {
			b := &bins[e.bin]
			for t := e.n - 1; t >= 0; t-- {
				x := e.out[t]
				pool = append(pool, b.set[x])
				b.area -= s.pieces[b.set[x]].area
				b.set = append(b.set[:x], b.set[x+1:]...)
			}
			b.set = append(b.set, i)
			b.area += s.pieces[i].area
		}
		s.stir(bins, 10)
	}
	return s.adopt(bins)
}

// onOne tries to put all pieces on one board until the budget is spent or the
// pieces do not nearly fit.
func (s *search) onOne(b bin, pool []int32) bool {
	b.set = append(b.set, pool...)
	for !s.fit(b.set, b.board) {
		_, key := s.weigh(b.set, b.board)
		if v := s.known[key]; !v.near || s.steps >= s.budget {
			return false
		}
	}
	return s.adopt([]bin{b})
}

// openAll adds the boards still at hand as empty bins, no more than there are
// pieces, and lists the pieces without a bin.
func (s *search) openAll(bins []bin) ([]bin, []int32) {
	clear(s.used)
	placed := make([]bool, len(s.pieces))
	for _, b := range bins {
		s.used[b.board]++
		for _, i := range b.set {
			placed[i] = true
		}
	}
	for c := range s.boards {
		for len(bins) < len(s.pieces) && int(s.used[c]) < s.boards[c].left {
			s.used[c]++
			bins = append(bins, bin{board: int32(c)})
		}
	}
	var pool []int32
	for i, ok := range placed {
		if !ok {
			pool = append(pool, int32(i))
		}
	}
	return bins, pool
}

// insert puts piece i on the first bin, from a random one on, that takes it.
func (s *search) insert(bins []bin, i int32) bool {
	start := s.rng.below(len(bins))
	for t := range bins {
		b := &bins[(start+t)%len(bins)]
		if b.area+s.pieces[i].area > s.boards[b.board].area*areaSlack {
			continue
		}
		b.set = append(b.set, i)
		if s.fit(b.set, b.board) {
			b.area += s.pieces[i].area
			return true
		}
		b.set = b.set[:len(b.set)-1]
	}
	return false
}

// stir makes up to n exchanges of two pieces, or moves of one, between sheets.
func (s *search) stir(bins []bin, n int) {
	if len(bins) < 2 {
		return
	}
	for range n {
		a := s.rng.below(len(bins))
		b := s.rng.below(len(bins) - 1)
		if b >= a {
			b++
		}
		p, q := &bins[a], &bins[b]
		if len(p.set) == 0 {
			continue
		}
		x := s.rng.below(len(p.set))
		y := s.rng.below(len(q.set) + 1)
		i := p.set[x]
		if y == len(q.set) {
			q.set = append(q.set, i)
			if s.fit(q.set, q.board) {
				p.set = append(p.set[:x], p.set[x+1:]...)
				p.area -= s.pieces[i].area
				q.area += s.pieces[i].area
			} else {
				q.set = q.set[:y]
			}
			continue
		}
		j := q.set[y]
		if s.pieces[i].key == s.pieces[j].key {
			continue
		}
		p.set[x], q.set[y] = j, i
		if s.fit(p.set, p.board) && s.fit(q.set, q.board) {
			d := s.pieces[j].area - s.pieces[i].area
			p.area += d
			q.area -= d
		} else {
			p.set[x], q.set[y] = i, j
		}
	}
}

// adopt makes the bins the best solution once every one has its packing.
func (s *search) adopt(bins []bin) bool {
	kept := bins[:0]
	for _, b := range bins {
		if len(b.set) == 0 {
			continue
		}
		if !s.locate(&b) {
			return false
		}
		kept = append(kept, b)
	}
	s.best = solution{kept, 0}
	s.sortBins()
	return true
}

// locate finds the bin's packing again and keeps it. The order of the set does
// not matter to pour, nor does what was asked before.
func (s *search) locate(b *bin) bool {
	area, key := s.weigh(b.set, b.board)
	b.area = area
	found, _ := s.pour(b.set, b.board, key)
	for t := uint64(1); !found && t <= uint64(s.known[key].tries); t++ {
		found, _ = s.squeeze(b.set, b.board, key+t)
	}
	if !found {
		return false
	}
	b.spots = make([]spot, 0, len(b.set))
	for _, i := range b.set {
		b.spots = append(b.spots, s.spots[i])
	}
	return true
}
