package nest

import "math"

// taste weighs what makes a piece suit a free rectangle.
type taste struct {
	worth float64 // of the piece, against a snug fit on one side
	split split
}

// fillSheet fills one board rectangle by rectangle, the smallest free one first,
// each with the piece of those not yet used that suits it best: one worth much
// that leaves little beside it on one side. Pieces on the board get bin 0, the
// others -1. It gives the worth and the area of those on the board.
func (k *packer) fillSheet(among []int32, board int32, worth []float64, m taste) (value, area float64) {
	b := &k.boards[board]
	k.frees = append(k.frees[:0], free{0, 0, b.l, b.w, 0})
	for _, i := range among {
		k.spots[i].bin = -1
	}
	for len(k.frees) > 0 {
		at := 0
		for j := 1; j < len(k.frees); j++ {
			if k.frees[j].l*k.frees[j].w < k.frees[at].l*k.frees[at].w {
				at = j
			}
		}
		f := &k.frees[at]
		best, turned, score := int32(-1), false, math.Inf(1)
		k.steps += len(among)
		scale := m.worth / (f.l * f.w)
		for _, i := range among {
			if k.spots[i].bin >= 0 {
				continue
			}
			pc := &k.pieces[i]
			if pc.l <= f.l && pc.w <= f.w {
				if s := min((f.l-pc.l)/f.l, (f.w-pc.w)/f.w) - float64(scale*worth[i]); s < score {
					best, turned, score = i, false, s
				}
			}
			if pc.turn && pc.w <= f.l && pc.l <= f.w {
				if s := min((f.l-pc.w)/f.l, (f.w-pc.l)/f.w) - float64(scale*worth[i]); s < score {
					best, turned, score = i, true, s
				}
			}
		}
		if best < 0 {
			k.frees[at] = k.frees[len(k.frees)-1]
			k.frees = k.frees[:len(k.frees)-1]
			continue
		}
		k.lay(best, at, turned, m.split)
		value += worth[best]
		area += k.pieces[best].area
	}
	return value, area
}

const (
	sequenceTries = 24  // fillings compared for each sheet
	sequenceShare = 4   // one in this many steps of the budget
	worthPower    = 1.1 // of the area: large pieces first, the small ones are easy to place last
	worthGain     = 1.3 // factor for pieces a round left over
)

// inSequence fills one sheet after the other, each with the filling worth most
// out of some tries, and counts pieces that were left over as worth more in the
// next round. It stops when a round needs fewer sheets than the best plan and
// meets the bound, or with its share of the budget. One stock size only.
func (s *search) inSequence(bound int) {
	if len(s.boards) > 1 || s.best.left > 0 {
		return
	}
	stop := s.steps + (s.budget-s.steps)/sequenceShare
	worth := make([]float64, len(s.pieces))
	for i := range s.pieces {
		worth[i] = s.pieces[i].area * math.Pow(s.pieces[i].area/s.boards[0].area, worthPower-1)
	}
	var rest []int32
	for s.steps < stop && len(s.best.bins) > bound {
		rest = rest[:0]
		for i := range s.pieces {
			rest = append(rest, int32(i))
		}
		var bins []bin
		for len(rest) > 0 && len(bins) < len(s.best.bins)-1 {
			b := s.bestFilling(rest, worth)
			kept := rest[:0]
			taken := 0
			for _, i := range rest {
				if taken < len(b.set) && b.set[taken] == i {
					taken++
				} else {
					kept = append(kept, i)
				}
			}
			rest = kept
			bins = append(bins, b)
		}
		if len(rest) == 0 {
			s.best = solution{bins, 0}
			s.sortBins()
			continue
		}
		for _, i := range rest {
			worth[i] *= worthGain
		}
	}
}

// bestFilling is the filling of one sheet worth most.
func (s *search) bestFilling(rest []int32, worth []float64) bin {
	best, full := -1.0, s.boards[0].area*(1-boundSlack)
	b := bin{}
	for range sequenceTries {
		value, area := s.fillSheet(rest, 0, worth, taste{
			worth: float64(1+s.rng.below(32)) / 8,
			split: split(s.rng.below(int(splits))),
		})
		if value <= best {
			continue
		}
		best = value
		b.area = area
		b.set, b.spots = b.set[:0], b.spots[:0]
		for _, i := range rest {
			if s.spots[i].bin >= 0 {
				b.set = append(b.set, i)
				b.spots = append(b.spots, s.spots[i])
			}
		}
		if area >= full {
			break
		}
	}
	return b
}
