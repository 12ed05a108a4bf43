package nest

import (
	"math"
	"slices"
)

// spot is where a piece lies, in grid steps from the corner of the usable sheet.
type spot struct {
	x, y   float64
	bin    int32
	turned bool
}

// free is a rectangle no piece lies in; all free rectangles of a bin and its
// pieces come out of one another by guillotine cuts.
type free struct {
	x, y, l, w float64
	bin        int32
}

// choice is how a free rectangle is picked for a piece.
type choice uint8

const (
	leastArea  choice = iota // least area left over
	leastShort               // shorter of the two remainders least
	leastLong                // longer of the two remainders least
	choices
)

// split is how the L-shaped rest beside a piece is cut into two rectangles.
//
//	+-----+--------+     +--------------+
//	|  b  |        |     |      b       |
//	+-----+   a    |     +-----+--------+
//	|piece|        |     |piece|   a    |
//	+-----+--------+     +-----+--------+
//	   upright                flat
type split uint8

const (
	shortRest split = iota // flat when the rest in x is the shorter
	longRest               // flat when the rest in x is the longer
	bigPart                // the way that makes the larger of the two parts larger
	evenParts              // the other way
	splits
)

// recipe is one way to run the constructive packer.
type recipe struct {
	choice choice
	split  split
	inTurn bool // fill sheets in turn (first fit) rather than the best rectangle of all
}

// packer holds the working memory of a search.
type packer struct {
	*problem
	spots  []spot // by piece
	frees  []free
	opened []int32 // board of each bin
	used   []int32 // sheets taken of each board
	steps  int
}

func newPacker(p *problem) *packer {
	return &packer{
		problem: p,
		spots:   make([]spot, len(p.pieces)),
		frees:   make([]free, 0, 3*len(p.pieces)+8),
		opened:  make([]int32, 0, 8),
		used:    make([]int32, len(p.boards)),
	}
}

// put lays piece i in the best free rectangle and reports whether there was one.
func (k *packer) put(i int32, r recipe) bool {
	pc := &k.pieces[i]
	best, turned := -1, false
	score := math.Inf(1)
	k.steps += len(k.frees)
	for j := range k.frees {
		f := &k.frees[j]
		if r.inTurn && best >= 0 && f.bin > k.frees[best].bin {
			continue
		}
		if pc.l <= f.l && pc.w <= f.w {
			s := grade(r.choice, f.l-pc.l, f.w-pc.w, f)
			if s < score || r.inTurn && f.bin < k.frees[best].bin {
				best, turned, score = j, false, s
			}
		}
		if pc.turn && pc.w <= f.l && pc.l <= f.w {
			s := grade(r.choice, f.l-pc.w, f.w-pc.l, f)
			if s < score || r.inTurn && f.bin < k.frees[best].bin {
				best, turned, score = j, true, s
			}
		}
	}
	if best < 0 {
		return false
	}
	k.lay(i, best, turned, r.split)
	return true
}

// lay puts piece i in the lower left corner of free rectangle at and splits what
// remains; parts too narrow for any piece are dropped.
func (k *packer) lay(i int32, at int, turned bool, how split) {
	f := k.frees[at]
	k.frees[at] = k.frees[len(k.frees)-1]
	k.frees = k.frees[:len(k.frees)-1]
	l, w := k.pieces[i].l, k.pieces[i].w
	if turned {
		l, w = w, l
	}
	k.spots[i] = spot{f.x, f.y, f.bin, turned}
	dl, dw := f.l-l, f.w-w
	var flat bool
	switch how {
	case shortRest:
		flat = dl < dw
	case longRest:
		flat = dl >= dw
	case bigPart:
		flat = f.l*dw >= dl*f.w
	default:
		flat = f.l*dw < dl*f.w
	}
	// a: right of the piece, b: above it
	a := free{f.x + l, f.y, dl, f.w, f.bin}
	b := free{f.x, f.y + w, l, dw, f.bin}
	if flat {
		a.w, b.l = w, f.l
	}
	if a.l >= k.least && a.w >= k.least {
		k.frees = append(k.frees, a)
	}
	if b.l >= k.least && b.w >= k.least {
		k.frees = append(k.frees, b)
	}
}

// grade is the figure to make small; dl and dw remain beside the piece in f.
func grade(c choice, dl, dw float64, f *free) float64 {
	switch c {
	case leastShort:
		return min(dl, dw)
	case leastLong:
		return max(dl, dw)
	default: // leastArea: that of f less that of the piece, which is the same in every comparison
		return f.l * f.w
	}
}

// openBoard starts a new bin on the first board (largest first) that is at hand
// and takes the piece. It reports false when there is none.
func (k *packer) openBoard(pc *piece) bool {
	for b := range k.boards {
		bd := &k.boards[b]
		if int(k.used[b]) < bd.left && fits(*pc, *bd) {
			k.used[b]++
			k.frees = append(k.frees, free{0, 0, bd.l, bd.w, int32(len(k.opened))})
			k.opened = append(k.opened, int32(b))
			return true
		}
	}
	return false
}

// pack places the pieces in the order given, opening a sheet whenever one does
// not fit. Pieces left over for want of stock get bin -1 and are counted. It
// gives up, reporting false, when more than most sheets would be needed.
func (k *packer) pack(order []int32, r recipe, most int) (left int, ok bool) {
	k.frees, k.opened = k.frees[:0], k.opened[:0]
	clear(k.used)
	for _, i := range order {
		if k.put(i, r) {
			continue
		}
		if len(k.opened) >= most {
			return 0, false
		}
		if !k.openBoard(&k.pieces[i]) {
			k.spots[i].bin = -1
			left++
			continue
		}
		k.put(i, r)
	}
	return left, true
}

// packOne places the pieces on one board and reports whether all fit.
func (k *packer) packOne(order []int32, board int32, r recipe) bool {
	b := &k.boards[board]
	k.frees = append(k.frees[:0], free{0, 0, b.l, b.w, 0})
	for _, i := range order {
		if !k.put(i, r) {
			return false
		}
	}
	return true
}

// packSome places the pieces that fit on one board and gives the area of the
// others, whose bin is then -1.
func (k *packer) packSome(order []int32, board int32, r recipe) (left float64) {
	b := &k.boards[board]
	k.frees = append(k.frees[:0], free{0, 0, b.l, b.w, 0})
	for _, i := range order {
		if !k.put(i, r) {
			k.spots[i].bin = -1
			left += k.pieces[i].area
		}
	}
	return left
}

// ranking is an order in which pieces are offered, largest figure first.
type ranking uint8

const (
	byArea ranking = iota
	byLongSide
	byLength
	byWidth
	bySum
	byShortSide
	rankings
)

func (r ranking) figure(p *piece) (first, second float64) {
	switch r {
	case byLongSide:
		return max(p.l, p.w), min(p.l, p.w)
	case byLength:
		return p.l, p.w
	case byWidth:
		return p.w, p.l
	case bySum:
		return p.l + p.w, p.area
	case byShortSide:
		return min(p.l, p.w), max(p.l, p.w)
	default: // byArea
		return p.area, max(p.l, p.w)
	}
}

// rank sorts piece numbers by the ranking, ties by number.
func (k *packer) rank(order []int32, r ranking) {
	slices.SortFunc(order, func(a, b int32) int {
		a1, a2 := r.figure(&k.pieces[a])
		b1, b2 := r.figure(&k.pieces[b])
		switch {
		case a1 != b1:
			if a1 > b1 {
				return -1
			}
			return 1
		case a2 != b2:
			if a2 > b2 {
				return -1
			}
			return 1
		case k.pieces[a].l != k.pieces[b].l:
			if k.pieces[a].l > k.pieces[b].l {
				return -1
			}
			return 1
		}
		return int(a - b)
	})
}
