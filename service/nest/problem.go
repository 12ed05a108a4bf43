package nest

import "math"

// grid is the step in mm to which sizes are rounded, so that sums of sizes
// compare exactly: whole 1/64 in and 0.001 mm are multiples of it, and a panel
// off by half a step is nothing a saw or a rule could show.
const grid = 1e-6

// onGrid is v mm in whole grid steps, held in a float64 (exact below 2^53).
func onGrid(v float64) float64 { return math.Round(v / grid) }

// offGrid is a whole number of grid steps in mm. Division by 1e6 rounds once,
// so that 3.2 mm comes back as 3.2.
func offGrid(t float64) float64 { return t / 1e6 }

// piece is one panel to place, in grid steps, kerf added to both sides.
type piece struct {
	l, w  float64
	area  float64
	key   uint64 // random word, the same for pieces of one size; sets are hashed by adding them up
	panel int32
	turn  bool // turning makes a difference and is allowed
	stood bool // given with the shorter side as length; a piece that may turn is kept lying
}

// board is a stock size in grid steps, trimmed, kerf added to both sides.
type board struct {
	l, w  float64
	area  float64
	cost  float64
	sheet int32
	left  int // sheets at hand
}

// problem is the input on the grid.
type problem struct {
	pieces []piece
	boards []board // largest area first
	kerf   float64
	trim   float64
	least  float64 // shortest side of any piece: nothing fits in less
}

const unlimited = math.MaxInt32

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// checkSide refuses a side that is not a positive length within MaxSide and at
// least a grid step.
func checkSide(what, name, field string, v float64) error {
	if !finite(v) || v < grid || v > MaxSide {
		return &SizeError{what, name, field, v, "a length above 0 up to 100000 mm"}
	}
	return nil
}

// pose checks the input and puts it on the grid.
func pose(panels []Panel, stock []Sheet, r Rules) (*problem, error) {
	if err := checkRules(r); err != nil {
		return nil, err
	}
	if len(stock) == 0 {
		return nil, &SizeError{"stock", "", "number of sheets", 0, "at least one stock size"}
	}
	p := &problem{kerf: onGrid(r.Kerf), trim: onGrid(r.Trim)}
	p.boards = make([]board, 0, len(stock))
	for i, s := range stock {
		if err := checkSide("sheet", s.Name, "length", s.Length); err != nil {
			return nil, err
		}
		if err := checkSide("sheet", s.Name, "width", s.Width); err != nil {
			return nil, err
		}
		if s.Available < 0 {
			return nil, &SizeError{"sheet", s.Name, "available", float64(s.Available), "a count, or 0 for unlimited"}
		}
		if !finite(s.Cost) || s.Cost < 0 {
			return nil, &SizeError{"sheet", s.Name, "cost", s.Cost, "a cost of at least 0"}
		}
		b := board{l: onGrid(s.Length) - 2*p.trim, w: onGrid(s.Width) - 2*p.trim, sheet: int32(i), cost: s.Cost, left: s.Available}
		if b.l <= 0 || b.w <= 0 {
			return nil, &SizeError{"sheet", s.Name, "trim", r.Trim, "an edge trim that leaves something of the sheet"}
		}
		if b.left == 0 {
			b.left = unlimited
		}
		b.l += p.kerf
		b.w += p.kerf
		b.area = b.l * b.w
		// keep the largest area first, ties in the order given
		at := len(p.boards)
		p.boards = append(p.boards, b)
		for at > 0 && p.boards[at-1].area < b.area {
			p.boards[at] = p.boards[at-1]
			at--
		}
		p.boards[at] = b
	}
	count := 0
	for _, q := range panels {
		if err := checkSide("panel", q.Name, "length", q.Length); err != nil {
			return nil, err
		}
		if err := checkSide("panel", q.Name, "width", q.Width); err != nil {
			return nil, err
		}
		if q.Quantity < 1 {
			return nil, &SizeError{"panel", q.Name, "quantity", float64(q.Quantity), "at least 1"}
		}
		if q.Quantity > MaxPieces || count+q.Quantity > MaxPieces {
			return nil, &TooManyError{totalQuantity(panels), MaxPieces}
		}
		count += q.Quantity
	}
	p.pieces = make([]piece, 0, count)
	p.least = math.Inf(1)
	kinds := make([]piece, 0, len(panels))
	// The seed must not be zero: from state n times a constant, mix often
	// doubles its result when n doubles, and sums of keys would collide.
	keys := random(0x6a09e667f3bcc909)
	for i, q := range panels {
		l, w := onGrid(q.Length)+p.kerf, onGrid(q.Width)+p.kerf
		pc := piece{l: l, w: w, area: l * w, panel: int32(i), turn: q.Turn && l != w}
		if pc.turn && l < w {
			pc.l, pc.w, pc.stood = w, l, true
		}
		if !p.fitsSome(pc) {
			return nil, p.tooLarge(q, stock)
		}
		pc.key = keys.next()
		for j := range kinds {
			if kinds[j].l == pc.l && kinds[j].w == pc.w && kinds[j].turn == pc.turn {
				pc.key = kinds[j].key
				break
			}
		}
		kinds = append(kinds, pc)
		p.least = min(p.least, l, w)
		for range q.Quantity {
			p.pieces = append(p.pieces, pc)
		}
	}
	return p, nil
}

func checkRules(r Rules) error {
	if !finite(r.Kerf) || r.Kerf < 0 || r.Kerf > MaxSide {
		return &SizeError{"rules", "", "kerf", r.Kerf, "a width of at least 0 mm"}
	}
	if !finite(r.Trim) || r.Trim < 0 || r.Trim > MaxSide {
		return &SizeError{"rules", "", "trim", r.Trim, "a width of at least 0 mm"}
	}
	if r.Budget < 0 {
		return &SizeError{"rules", "", "budget", float64(r.Budget), "a number of steps, or 0 for the default"}
	}
	return nil
}

// totalQuantity adds the quantities up and stops short of overflow.
func totalQuantity(panels []Panel) int {
	total := 0
	for _, q := range panels {
		if q.Quantity > math.MaxInt32 {
			return math.MaxInt32
		}
		total = min(total+max(q.Quantity, 0), math.MaxInt32)
	}
	return total
}

func (p *problem) fitsSome(pc piece) bool {
	for _, b := range p.boards {
		if fits(pc, b) {
			return true
		}
	}
	return false
}

// fits tells whether the piece goes on the board one way or the other.
func fits(pc piece, b board) bool {
	return pc.l <= b.l && pc.w <= b.w || pc.turn && pc.w <= b.l && pc.l <= b.w
}

func (p *problem) tooLarge(q Panel, stock []Sheet) error {
	b := p.boards[0]
	return &TooLargeError{
		Panel: q.Name, Length: q.Length, Width: q.Width, Turn: q.Turn,
		Sheet: stock[b.sheet].Name, FitsLength: offGrid(b.l - p.kerf), FitsWidth: offGrid(b.w - p.kerf),
	}
}
