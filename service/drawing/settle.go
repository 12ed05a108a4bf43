package drawing

import (
	"math"
	"slices"
)

// dimension is the text of a dimension line from a to b that has yet to find its
// place: it is set when every line of the sheet is drawn.
type dimension struct {
	a, b   Point
	text   string
	upward bool
	own    [2]int // the items that are its line and arrows
}

const (
	// labelPad is the white round a label that lies clear, ems.
	labelPad = 0.12
	// arrowRoom is what two arrowheads and a little of the line between need, mm.
	arrowRoom = 6.5
	// outside is how far a dimension line with its arrows outside runs on, mm.
	outside = 5.0
)

// settle sets the texts of the dimensions, each where it lies over the fewest
// lines and no other label: within its line where there is room, else past one of
// its ends or beside it. Of places that are as good it takes the first. It returns
// how many lines the texts lie over.
func (s *Sheet) settle() int {
	lines := s.straights()
	total := 0
	for _, d := range s.waiting {
		var best Label
		least := math.MaxInt
		for _, l := range d.places() {
			if n := s.struck(l, lines, d.own); n < least {
				best, least = l, n
			}
			if least == 0 {
				break
			}
		}
		total += least
		s.Put(best)
	}
	s.waiting = nil
	return total
}

// arranged draws the alternatives on copies of the sheet and leaves it as the one
// whose dimensions lie over the fewest lines, the first of those that are as good.
func (s *Sheet) arranged(alternatives ...func(*Sheet)) {
	least, best := math.MaxInt, 0
	if len(alternatives) > 1 {
		for i, draw := range alternatives {
			trial := Sheet{s.Paper, slices.Clone(s.items), slices.Clone(s.waiting)}
			draw(&trial)
			if n := trial.settle(); n < least {
				least, best = n, i
			}
			if least == 0 {
				break
			}
		}
	}
	alternatives[best](s)
}

// places are where the text may stand, best first.
func (d dimension) places() []Label {
	v := d.b.sub(d.a)
	l := v.norm()
	u := v.times(1 / l)
	width := Measure(d.text, Regular, dimSize)
	const base = dimSize * capHeight / 2
	const pad = labelPad * dimSize
	// label stands about the middle p of its text, off mm left of or above the line.
	label := func(p Point, off float64) Label {
		out := Label{Text: d.text, Size: dimSize, Anchor: Middle, Clear: true, Upward: d.upward}
		if d.upward {
			out.At = Point{p.X + base - off, p.Y}
		} else {
			out.At = Point{p.X, p.Y + base - off}
		}
		return out
	}
	middle := d.a.toward(u, l/2)
	var out []Label
	slide := func(room, off float64) {
		const step = 0.5
		for k := 0.0; k <= room; k += step {
			out = append(out, label(middle.toward(u, k), off))
			if k > 0 {
				out = append(out, label(middle.toward(u, -k), off))
			}
		}
	}
	if l >= width+arrowRoom {
		slide((l-width-arrowRoom)/2, 0)
	}
	// Beside the line its white ends short of it and of the arrowheads.
	const beside = base + descent*dimSize + pad + 0.6
	spare := (l - width) / 2
	if spare >= pad {
		slide(spare-pad, beside)
	}
	tail := 1.5
	if l < arrowRoom {
		tail += outside
	}
	before, after := label(d.a.toward(u, -tail-width/2), 0), label(d.b.toward(u, tail+width/2), 0)
	if d.upward {
		out = append(out, before, after) // above, then below
	} else {
		out = append(out, after, before)
	}
	slide(l/2+width/2, beside)
	slide(l/2+width/2, -beside)
	return out
}

// straight is a straight piece of what can be seen of an item's path.
type straight struct {
	a, b Point
	item int
}

// struck counts the lines that a label would lie over, but for those of the items
// own; to lie over a label or out of the frame counts as many.
func (s *Sheet) struck(l Label, lines []straight, own [2]int) int {
	const many = 1000
	x0, y0, x1, y1 := l.box()
	pad := labelPad * l.Size
	x0, y0, x1, y1 = x0-pad, y0-pad, x1+pad, y1+pad
	n := 0
	if r := s.room(); x0 < r.x0 || y0 < r.y0 || x1 > r.x1 || y1 > r.y1 {
		n += many
	}
	for i := range s.items {
		if k := s.items[i].label; k != nil {
			if a, b, c, d := k.box(); x0 < c && a < x1 && y0 < d && b < y1 {
				n += many
			}
		}
	}
	for _, q := range lines {
		if (q.item < own[0] || q.item >= own[1]) && q.enters(x0, y0, x1, y1) {
			n++
		}
	}
	return n
}

// straights are the pieces of all that can be seen on the sheet but labels.
func (s *Sheet) straights() []straight {
	var out []straight
	for i := range s.items {
		it := &s.items[i]
		if it.label != nil || it.stroke.Width == 0 && (it.fill == NoFill || it.fill == White) {
			continue
		}
		runs, closed := it.path.runs(0.1)
		for k, run := range runs {
			for j := 0; j+1 < len(run); j++ {
				out = append(out, straight{run[j], run[j+1], i})
			}
			if closed[k] {
				out = append(out, straight{run[len(run)-1], run[0], i})
			}
		}
	}
	return out
}

// enters says whether some of the piece lies within the box.
func (q straight) enters(x0, y0, x1, y1 float64) bool {
	low, high := 0.0, 1.0
	for _, c := range [2][4]float64{{q.a.X, q.b.X - q.a.X, x0, x1}, {q.a.Y, q.b.Y - q.a.Y, y0, y1}} {
		from, by, least, most := c[0], c[1], c[2], c[3]
		if by == 0 {
			if from <= least || from >= most {
				return false
			}
			continue
		}
		t, u := (least-from)/by, (most-from)/by
		low, high = math.Max(low, math.Min(t, u)), math.Min(high, math.Max(t, u))
	}
	return low < high
}
