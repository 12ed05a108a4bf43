package outline

import (
	"math"
	"sort"
)

// Piece is a range of offsets, n from Low to High (outward positive, mm), over
// which perimeter and area follow one law:
//
//	L(n) = L + K (n - N)
//	A(n) = A + L (n - N) + K (n - N)^2 / 2
//
// with L = Perimeter, A = Area, K = Slope, N = At.
type Piece struct {
	Low, High       float64
	At              float64
	Perimeter, Area float64
	Slope           float64
}

// PerimeterAt returns L(n), mm.
func (p Piece) PerimeterAt(n float64) float64 { return p.Perimeter + p.Slope*(n-p.At) }

// AreaAt returns A(n), mm^2.
func (p Piece) AreaAt(n float64) float64 {
	d := n - p.At
	return p.Area + d*(p.Perimeter+p.Slope*d/2)
}

// Law is the perimeter and area of an outline at every offset it has. Make one
// with [Outline.Law]; it costs about as much as one inset.
type Law struct {
	pieces   []Piece // from the outermost in; each Low is the next one's High
	maxInset float64
	edge     int
	slack    float64
}

// Law returns the law of o's offsets.
func (o Outline) Law() Law {
	if o.IsZero() {
		return Law{}
	}
	f := newFront(o)
	l := Law{slack: f.tol}
	open := Piece{High: math.Inf(1), Perimeter: f.perimeter, Area: f.area, Slope: f.rate}
	f.moved = func() {
		if n := -f.now; n < open.High && n < open.At || n == 0 && open.High == math.Inf(1) {
			open.Low = n
			l.pieces = append(l.pieces, open)
		}
		open = Piece{High: -f.now, At: -f.now, Perimeter: f.perimeter, Area: f.area, Slope: f.rate}
	}
	f.run(math.Inf(1))
	l.maxInset, l.edge = f.now, f.stopEdge
	return l
}

// Pieces returns the pieces from the outermost in, the first reaching outward
// without end, the last inward to -MaxInset.
func (l Law) Pieces() []Piece { return append([]Piece(nil), l.pieces...) }

// MaxInset is that of the outline; see [Outline.MaxInset].
func (l Law) MaxInset() float64 { return l.maxInset }

// Piece returns the piece that holds at offset n, the outer one where two meet.
// At -MaxInset, and past it by no more than rounding, that is the last piece;
// further in the error is a *[CollapseError].
func (l Law) Piece(n float64) (Piece, error) {
	if !finite(n) {
		return Piece{}, &DimensionError{"offset", n}
	}
	if len(l.pieces) == 0 || n < -l.maxInset-l.slack {
		return Piece{}, &CollapseError{Inset: -n, Largest: l.maxInset, Edge: l.edge}
	}
	i := sort.Search(len(l.pieces), func(i int) bool { return l.pieces[i].Low <= n })
	return l.pieces[min(i, len(l.pieces)-1)], nil
}

// PerimeterAt returns the perimeter at offset n, mm, outward positive. At
// -MaxInset it is the limit. Errors as of [Law.Piece].
func (l Law) PerimeterAt(n float64) (float64, error) {
	p, err := l.Piece(n)
	if err != nil {
		return 0, err
	}
	return math.Max(p.PerimeterAt(n), 0), nil
}

// AreaAt returns the area at offset n, mm^2. At -MaxInset it is the limit.
// Errors as of [Law.Piece].
func (l Law) AreaAt(n float64) (float64, error) {
	p, err := l.Piece(n)
	if err != nil {
		return 0, err
	}
	return math.Max(p.AreaAt(n), 0), nil
}

// Breaks returns the insets, mm, positive inward, ascending, at which the
// perimeter stops being linear: 0 when a corner is sharp already, then wherever
// a corner goes sharp or an edge is dropped, short of MaxInset.
func (l Law) Breaks() []float64 {
	var b []float64
	for i := 0; i+1 < len(l.pieces); i++ {
		b = append(b, -l.pieces[i].Low)
	}
	return b
}

// Breaks is that of [Outline.Law].
func (o Outline) Breaks() []float64 { return o.Law().Breaks() }

// PerimeterAt is that of [Outline.Law]. For many offsets of one outline keep its
// Law instead.
func (o Outline) PerimeterAt(n float64) (float64, error) { return o.Law().PerimeterAt(n) }

// AreaAt is that of [Outline.Law]. For many offsets of one outline keep its Law
// instead.
func (o Outline) AreaAt(n float64) (float64, error) { return o.Law().AreaAt(n) }

// Within returns the pieces that hold somewhere in the offsets low to high, from
// the outermost in. Pieces that only touch the range at its end are left out,
// save that there is always one where low is an offset the outline has.
func (l Law) Within(low, high float64) []Piece {
	i := sort.Search(len(l.pieces), func(i int) bool { return l.pieces[i].Low < high })
	j := sort.Search(len(l.pieces), func(i int) bool { return l.pieces[i].Low <= low })
	if len(l.pieces) == 0 {
		return nil
	}
	i = min(i, len(l.pieces)-1)
	j = min(max(i, j), len(l.pieces)-1)
	return append([]Piece(nil), l.pieces[i:j+1]...)
}
