package nest

import (
	"cmp"
	"slices"
)

// Guillotine plans which panel is cut from which sheet, and where. It stops as
// soon as the number of sheets meets the proved bound, otherwise when
// r.Budget steps are spent. Empty panels give an empty, optimal plan.
//
// Errors: *SizeError, *TooLargeError, *TooManyError, all wrapping ErrInput. A
// stock that runs out is no error: see Status and Plan.Unplaced.
func Guillotine(panels []Panel, stock []Sheet, r Rules) (Plan, error) {
	p, err := pose(panels, stock, r)
	if err != nil {
		return Plan{}, err
	}
	if len(p.pieces) == 0 {
		return Plan{Status: Optimal}, nil
	}
	budget := r.Budget
	if budget == 0 {
		budget = DefaultBudget
	}
	s := newSearch(p, budget)
	fraction, bound, enough := p.areaBound()
	plan := Plan{AreaBound: fraction, Bound: bound}
	s.first(bound)
	if enough && (s.best.left > 0 || len(s.best.bins) > bound) {
		enoughBound := len(s.best.bins)
		if s.best.left > 0 {
			enoughBound = p.stockCount() + 1
		}
		plan.Bound = max(bound, p.dualBound(enoughBound, thresholdsFor(budget)))
		switch {
		case s.best.left == 0 && len(s.best.bins) <= plan.Bound:
		case plan.Bound > p.stockCount():
		case s.decide():
			plan.Bound = len(s.best.bins)
		default:
			s.inSequence(plan.Bound)
			s.improve(plan.Bound)
		}
	}
	if s.best.left == 0 {
		s.consolidate()
		s.cheapen()
	}
	s.clearLast()
	switch {
	case s.best.left == 0 && len(s.best.bins) <= plan.Bound:
		plan.Status = Optimal
	case !enough || plan.Bound > p.stockCount():
		plan.Status = Infeasible
	default:
		plan.Status = BudgetReached
	}
	plan.Layouts = make([]Layout, 0, len(s.best.bins))
	for _, b := range s.best.bins {
		s.settle(b)
		plan.Layouts = append(plan.Layouts, s.arrange(b.set, b.board, panels, stock))
	}
	if s.best.left > 0 {
		plan.Unplaced = s.unplaced(panels)
	}
	plan.Steps = s.steps
	return plan, nil
}

// bin is one sheet's pieces.
type bin struct {
	board int32
	set   []int32
	area  float64
	spots []spot // of set, when a packing is kept; else found again by fit
}

// solution is an assignment of pieces to sheets.
type solution struct {
	bins []bin
	left int // pieces without a sheet
}

// search is the state of one call.
type search struct {
	*packer
	best    solution
	budget  int
	deep    int // pairs of blocks per exact decision
	rng     random
	exact   *exact
	known   map[uint64]verdict // fits of sets of pieces already decided
	order   []int32
	trial   []int32
	current []int32
}

func newSearch(p *problem, budget int) *search {
	return &search{packer: newPacker(p), budget: budget, deep: pairsQuick, rng: 1}
}

// first runs the constructive packer with every ranking and recipe until the
// bound is met or the budget spent, and keeps the best plan. It always makes
// one plan.
func (s *search) first(bound int) {
	n := len(s.pieces)
	s.order = make([]int32, n)
	made := false
	for rk := range rankings {
		for i := range s.order {
			s.order[i] = int32(i)
		}
		s.rank(s.order, rk)
		for _, inTurn := range [2]bool{false, true} {
			for c := range choices {
				for sp := range splits {
					if made && (s.steps >= s.budget || s.best.left == 0 && len(s.best.bins) <= bound) {
						return
					}
					most := unlimited
					if made && s.best.left == 0 {
						most = len(s.best.bins) - 1
					}
					left, ok := s.pack(s.order, recipe{c, sp, inTurn}, most)
					if ok && (!made || s.better(left)) {
						s.keep(left)
						made = true
					}
				}
			}
		}
	}
}

// better compares the packing at hand with the best.
func (s *search) better(left int) bool {
	return left < s.best.left || left == s.best.left && len(s.opened) < len(s.best.bins)
}

// keep makes the packing at hand the best.
func (s *search) keep(left int) {
	counts := make([]int, len(s.opened))
	for _, sp := range s.spots {
		if sp.bin >= 0 {
			counts[sp.bin]++
		}
	}
	sets := make([]int32, 0, len(s.pieces))
	spots := make([]spot, 0, len(s.pieces))
	bins := make([]bin, len(s.opened))
	for b, c := range counts {
		at := len(sets)
		bins[b] = bin{board: s.opened[b], set: sets[at : at : at+c], spots: spots[at : at : at+c]}
		sets, spots = sets[:at+c], spots[:at+c]
	}
	for i, sp := range s.spots {
		if sp.bin >= 0 {
			b := &bins[sp.bin]
			b.set = append(b.set, int32(i))
			b.spots = append(b.spots, sp)
			b.area += s.pieces[i].area
		}
	}
	s.best = solution{bins, left}
	s.sortBins()
}

// sortBins puts the fullest sheet first.
func (s *search) sortBins() {
	slices.SortStableFunc(s.best.bins, func(a, b bin) int {
		return cmp.Compare(b.area*s.boards[a.board].area, a.area*s.boards[b.board].area)
	})
}

// settle makes spots hold the packing of the bin.
func (s *search) settle(b bin) {
	for i, id := range b.set {
		s.spots[id] = b.spots[i]
	}
}

// unplaced lists the panels without a sheet.
func (s *search) unplaced(panels []Panel) []Panel {
	missing := make([]int, len(panels))
	for _, pc := range s.pieces {
		missing[pc.panel]++
	}
	for _, b := range s.best.bins {
		for _, i := range b.set {
			missing[s.pieces[i].panel]--
		}
	}
	var out []Panel
	for i, m := range missing {
		if m > 0 {
			q := panels[i]
			q.Quantity = m
			out = append(out, q)
		}
	}
	return out
}
