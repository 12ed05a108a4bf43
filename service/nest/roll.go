package nest

// RollPlan is a layout on material cut from a roll.
type RollPlan struct {
	Layout Layout  // Sheet.Length is the length to be cut from the roll; no panels: no placements
	Length float64 // mm, the same, trim at both ends included
	Bound  float64 // mm, no guillotine layout is shorter
	Status Status  // Optimal or BudgetReached
	Steps  int
}

// gainFloor is the least gain in length, as a part of it, that the search for a
// shorter layout still goes after: a millimetre in a metre, less than cloth or core
// is cut to.
const gainFloor = 0.001

// Roll lays pieces out on material of the given width in mm and endless length
// (cloth, core, film), so that the length used is least. X runs along the roll.
// The cuts are edge to edge, as with Guillotine; the trim comes off both
// selvages and both ends. Kerf is the gap between pieces, zero for shears.
//
// Optimal means proved to be within one part in a thousand of the shortest.
// Errors as for Guillotine.
func Roll(pieces []Panel, width float64, r Rules) (RollPlan, error) {
	stock := []Sheet{{Name: "roll", Length: MaxSide, Width: width}}
	p, err := pose(pieces, stock, r)
	if err != nil {
		return RollPlan{}, err
	}
	if len(p.pieces) == 0 {
		return RollPlan{Status: Optimal}, nil
	}
	budget := r.Budget
	if budget == 0 {
		budget = DefaultBudget
	}
	s := newSearch(p, budget)
	s.deep = pairsSearch
	w := winder{search: s, all: bin{set: make([]int32, len(p.pieces))}}
	for i := range w.all.set {
		w.all.set[i] = int32(i)
	}
	w.bound = p.lengthBound()
	w.levels()
	w.shorten()
	s.settle(w.all)
	length := offGrid(w.length - p.kerf + 2*p.trim)
	p.boards[0].l = w.length
	stock[0].Length = length
	out := RollPlan{
		Layout: s.arrange(w.all.set, 0, pieces, stock),
		Length: length,
		Bound:  min(offGrid(w.bound-p.kerf+2*p.trim), length),
		Status: BudgetReached,
		Steps:  s.steps,
	}
	if w.short() {
		out.Status = Optimal
	}
	return out, nil
}

// winder is the state of a search for the shortest length.
type winder struct {
	*search
	all    bin
	length float64 // of the best layout, kerf added
	bound  float64 // proved, kerf added
}

func (w *winder) short() bool { return w.length*(1-gainFloor) <= w.bound }

// lengthBound is the greatest, over the dual feasible functions f of
// dualFunctions, of
//
//	length >= sum_i l_i f(w_i/W)
//
// and of the longest piece: a line across the roll cuts pieces whose widths add
// up to at most W, so their f add up to at most 1; integrate along the roll. A
// piece that may be turned counts with the smaller of its two products.
func (p *problem) lengthBound() float64 {
	n := len(p.pieces)
	wide := p.boards[0].w
	sides, turned := make([]float64, n), make([]float64, n)
	bound := 0.0
	for i, pc := range p.pieces {
		sides[i], turned[i] = pc.w, pc.l
		least := pc.l
		if pc.turn && pc.l <= wide && (pc.w > wide || pc.w < pc.l) {
			least = pc.w
		}
		bound = max(bound, least)
	}
	for _, f := range dualFunctions([][]float64{sides, turned}, wide, thresholds) {
		sum := 0.0
		for i, pc := range p.pieces {
			asGiven, across := float64(pc.l*f[0][i]), float64(pc.w*f[1][i])
			switch {
			case !pc.turn || pc.l > wide:
				sum += asGiven
			case pc.w > wide:
				sum += across
			default:
				sum += min(asGiven, across)
			}
		}
		bound = max(bound, sum*(1-boundSlack))
	}
	return bound
}

// endless is a board length, in grid steps, beyond any layout of MaxPieces
// pieces; still exact in a float64.
const endless = 1 << 52

// levels runs the constructive packer on an endless board, with the splits that
// cut the roll off behind the first piece of each level, and keeps the shortest.
func (w *winder) levels() {
	s := w.search
	s.order = append(s.order[:0], w.all.set...)
	s.boards[0].l = endless
	for rk := range rankings {
		s.rank(s.order, rk)
		for c := range choices {
			for _, sp := range [2]split{shortRest, bigPart} {
				if w.length > 0 && (s.steps >= s.budget || w.short()) {
					return
				}
				if s.packOne(s.order, 0, recipe{c, sp, true}) {
					w.take()
				}
			}
		}
	}
}

// take keeps the packing in spots when it is the shortest so far.
func (w *winder) take() bool {
	end := 0.0
	for _, i := range w.all.set {
		pc, sp := &w.pieces[i], &w.spots[i]
		if sp.turned {
			end = max(end, sp.x+pc.w)
		} else {
			end = max(end, sp.x+pc.l)
		}
	}
	if w.length > 0 && end >= w.length {
		return false
	}
	w.length = end
	w.all.spots = append(w.all.spots[:0], w.spots...)
	return true
}

// shorten tries ever shorter boards until the bound is met or the budget spent.
// A set small enough is decided: its shortest block is the bound as well.
func (w *winder) shorten() {
	s := w.search
	if len(w.all.set) <= mostExact && !w.short() {
		b := &s.boards[0]
		b.l = w.length
		e := s.exactMemory()
		before := e.pairs
		whole := e.shortest(s.problem, w.all.set, b, s.spots, min(pairsSearch, s.budget))
		s.steps += e.pairs - before
		if whole {
			w.take()
			w.bound = w.length
			return
		}
	}
	seed := uint64(0)
	for gain := 0.08; s.steps < s.budget && !w.short(); seed++ {
		b := &s.boards[0]
		b.l = max(w.length*(1-gain), w.bound)
		b.area = b.l * b.w
		if found, _ := s.squeeze(w.all.set, 0, seed); found && w.take() {
			continue
		}
		if gain /= 2; gain < gainFloor {
			gain = 0.08
		}
	}
}
