package nest

// consolidateShare is the part of the budget that may be spent on emptying the
// least full sheet further once the number of sheets stands: one in this many
// steps, and never fewer than leastConsolidate.
const (
	consolidateShare = 10
	leastConsolidate = 2_000
)

// consolidate moves pieces from the least full sheet to the others as long as
// any goes, largest piece first, so that what is left over is in one place.
func (s *search) consolidate() {
	n := len(s.best.bins)
	if n < 2 {
		return
	}
	if s.known == nil {
		s.known = make(map[uint64]verdict)
	}
	stop := s.steps + max(s.budget/consolidateShare, leastConsolidate)
	last := &s.best.bins[n-1]
	order := append([]int32(nil), last.set...)
	s.rank(order, byArea)
	for _, i := range order {
		for b := range n - 1 {
			if s.steps >= stop {
				return
			}
			to := &s.best.bins[b]
			if to.area+s.pieces[i].area > s.boards[to.board].area*areaSlack {
				continue
			}
			set := append(append(make([]int32, 0, len(to.set)+1), to.set...), i)
			if !s.fit(set, to.board) {
				continue
			}
			moved := bin{board: to.board, set: set}
			if !s.locate(&moved) {
				continue
			}
			*to = moved
			last.drop(i)
			last.area -= s.pieces[i].area
			break
		}
	}
	if len(last.set) == 0 {
		s.best.bins = s.best.bins[:n-1]
	}
}

// drop takes piece i and its spot out of the bin.
func (b *bin) drop(i int32) {
	for x, id := range b.set {
		if id == i {
			b.set = append(b.set[:x:x], b.set[x+1:]...)
			b.spots = append(b.spots[:x:x], b.spots[x+1:]...)
			return
		}
	}
}

// cheapen moves each sheet's pieces to the cheapest board at hand that takes
// them, the last sheet first.
func (s *search) cheapen() {
	if len(s.boards) < 2 {
		return
	}
	clear(s.used)
	for _, b := range s.best.bins {
		s.used[b.board]++
	}
	for x := len(s.best.bins) - 1; x >= 0; x-- {
		b := &s.best.bins[x]
		for {
			to := int32(-1)
			var found bin
			for c := range s.boards {
				bd := &s.boards[c]
				cheapest := s.boards[b.board].cost
				if to >= 0 {
					cheapest = s.boards[to].cost
				}
				if int(s.used[c]) >= bd.left || bd.cost >= cheapest || b.area > bd.area*areaSlack {
					continue
				}
				try := bin{board: int32(c), set: b.set}
				if s.locate(&try) {
					to, found = int32(c), try
				}
			}
			if to < 0 {
				break
			}
			s.used[b.board]--
			s.used[to]++
			*b = found
		}
	}
	s.sortBins()
}

// clearLast looks for the packing of the least full sheet that leaves the
// largest free rectangle.
func (s *search) clearLast() {
	if len(s.best.bins) == 0 {
		return
	}
	b := &s.best.bins[len(s.best.bins)-1]
	s.settle(*b)
	best := s.clearArea(b)
	s.trial = append(s.trial[:0], b.set...)
	for rk := range rankings {
		s.rank(s.trial, rk)
		for c := range choices {
			for sp := range splits {
				if !s.packOne(s.trial, b.board, recipe{c, sp, true}) {
					continue
				}
				if a := s.clearArea(b); a > best {
					best = a
					for i, id := range b.set {
						b.spots[i] = s.spots[id]
					}
				}
			}
		}
	}
	if len(b.set) > mostExact {
		return
	}
	e := s.exactMemory()
	before := e.pairs
	found := e.clear(s.problem, b.set, &s.boards[b.board], s.spots, pairsQuick)
	s.steps += e.pairs - before
	if found && s.clearArea(b) > best {
		for i, id := range b.set {
			b.spots[i] = s.spots[id]
		}
	}
}

// clearArea is the larger of the two strips beside and above all the pieces in
// spots, both of which are always free and cut first.
func (s *search) clearArea(b *bin) float64 {
	var l, w float64
	for _, id := range b.set {
		pc, sp := &s.pieces[id], &s.spots[id]
		if sp.turned {
			l, w = max(l, sp.x+pc.w), max(w, sp.y+pc.l)
		} else {
			l, w = max(l, sp.x+pc.l), max(w, sp.y+pc.w)
		}
	}
	return s.boards[b.board].strip(l, w, s.kerf)
}

// strip is the area of the larger strip that remains beside or above a block.
func (b *board) strip(l, w, kerf float64) float64 {
	beside := max(b.l-l-kerf, 0) * (b.w - kerf)
	above := (b.l - kerf) * max(b.w-w-kerf, 0)
	return max(beside, above)
}
