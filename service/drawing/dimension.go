package drawing

import (
	"math"
	"slices"
)

const (
	// extensionGap and extensionPast are what an extension line leaves open at the
	// feature and runs past the dimension line, mm.
	extensionGap  = 0.8
	extensionPast = 1.2
	dimSize       = Small
)

// across dimensions the distance of two points along x, on the line y.
func (s *Sheet) across(a, b Point, y float64, text string) {
	if a.X > b.X {
		a, b = b, a
	}
	s.extend(a, Point{a.X, y})
	s.extend(b, Point{b.X, y})
	s.measured(Point{a.X, y}, Point{b.X, y}, text, false)
}

// down dimensions the distance of two points along y, on the line x.
func (s *Sheet) down(a, b Point, x float64, text string) {
	if a.Y > b.Y {
		a, b = b, a
	}
	s.extend(a, Point{x, a.Y})
	s.extend(b, Point{x, b.Y})
	s.measured(Point{x, a.Y}, Point{x, b.Y}, text, true)
}

func (s *Sheet) extend(from, to Point) {
	v := to.sub(from)
	l := v.norm()
	if l < extensionGap {
		return
	}
	u := v.times(1 / l)
	s.Ink(Polyline(from.toward(u, extensionGap), to.toward(u, extensionPast)), Hair, Solid)
}

// measured draws the dimension line from a to b with its arrows, outside when
// there is no room for them within; its text is set by [Sheet.settle].
func (s *Sheet) measured(a, b Point, text string, upward bool) {
	v := b.sub(a)
	l := v.norm()
	if l == 0 {
		return
	}
	u := v.times(1 / l)
	first := len(s.items)
	if l >= arrowRoom {
		s.Ink(Polyline(a, b), Hair, Solid)
		s.arrow(a, u.times(-1))
		s.arrow(b, u)
	} else {
		s.Ink(Polyline(a.toward(u, -outside), b.toward(u, outside)), Hair, Solid)
		s.arrow(a, u)
		s.arrow(b, u.times(-1))
	}
	if text != "" {
		s.waiting = append(s.waiting, dimension{a, b, text, upward, [2]int{first, len(s.items)}})
	}
}

// note is a few lines of text with a leader to a point.
type note struct {
	lines  []string
	target Point
	dot    bool // a dot on a face instead of an arrow on an edge
}

// column stacks notes beside x between top and bottom, in the order of their
// targets' heights so that leaders do not cross. rightward is true for a column
// that stands left of its targets.
func (s *Sheet) column(x, top, bottom float64, rightward bool, notes []note) {
	slices.SortStableFunc(notes, func(a, b note) int {
		switch {
		case a.target.Y < b.target.Y:
			return -1
		case a.target.Y > b.target.Y:
			return 1
		}
		return 0
	})
	room := s.Paper.Width - margin - 2 - x
	if rightward {
		room = x - margin - 2
	}
	for i := range notes {
		var lines []string
		for _, l := range notes[i].lines {
			lines = append(lines, Wrap(l, Regular, dimSize, room)...)
		}
		notes[i].lines = lines
	}
	const gap = 1.6
	step := LineHeight * dimSize
	heights := make([]float64, len(notes))
	for i, n := range notes {
		heights[i] = float64(len(n.lines)-1)*step + dimSize
	}
	at := spread(heights, func(i int) float64 { return notes[i].target.Y }, gap, top, bottom) // upper edges
	for i, n := range notes {
		anchor, side := Left, -1.0
		if rightward {
			anchor, side = Right, 1.0
		}
		for k, line := range n.lines {
			s.Put(Label{At: Point{x, at[i] + dimSize*0.86 + float64(k)*step}, Text: line, Size: dimSize, Anchor: anchor, Clear: true})
		}
		start := Point{x + side*0.8, at[i] + dimSize/2}
		knee := Point{x + side*3, start.Y}
		s.Ink(Polyline(start, knee, n.target), Hair, Solid)
		s.tip(n, knee)
	}
}

// row sets notes side by side above their targets, in the order of the targets
// from left to right, between x = left and right, their first line at y.
func (s *Sheet) row(left, right, y float64, notes []note) {
	slices.SortStableFunc(notes, func(a, b note) int {
		switch {
		case a.target.X < b.target.X:
			return -1
		case a.target.X > b.target.X:
			return 1
		}
		return 0
	})
	const gap = 5.0
	widths := make([]float64, len(notes))
	for i, n := range notes {
		for _, line := range n.lines {
			widths[i] = math.Max(widths[i], Measure(line, Regular, dimSize))
		}
	}
	at := spread(widths, func(i int) float64 { return notes[i].target.X }, gap, left, right) // left edges
	const step = LineHeight * dimSize
	for i, n := range notes {
		middle := at[i] + widths[i]/2
		for k, line := range n.lines {
			s.Put(Label{At: Point{middle, y + float64(k)*step}, Text: line, Size: dimSize, Anchor: Middle, Clear: true})
		}
		start := Point{middle, y + float64(len(n.lines)-1)*step + dimSize*descent + 0.8}
		s.Ink(Polyline(start, n.target), Hair, Solid)
		s.tip(n, start)
	}
}

// tip ends a note's leader, which comes from the given point: a dot or an arrow.
func (s *Sheet) tip(n note, from Point) {
	if n.dot {
		s.Fill(Circle(n.target, 0.45), Black, 0)
		return
	}
	v := n.target.sub(from)
	if l := v.norm(); l > 0 {
		s.arrow(n.target, v.times(1/l))
	}
}

// spread sets pieces of the given sizes along a line between low and high, in
// their order and gap apart, and returns their lower ends. Each stands about the
// middle it wants when it can; then they are pushed up from the low end and back
// from the high end. What does not fit runs over the high end.
func spread(sizes []float64, middle func(i int) float64, gap, low, high float64) []float64 {
	at := make([]float64, len(sizes))
	next := low
	for i, size := range sizes {
		at[i] = math.Max(next, middle(i)-size/2)
		next = at[i] + size + gap
	}
	limit := high
	for i := len(sizes) - 1; i >= 0; i-- {
		at[i] = math.Min(at[i], limit-sizes[i])
		limit = at[i] - gap
	}
	next = low // what the high end pushed too far comes back
	for i, size := range sizes {
		at[i] = math.Max(at[i], next)
		next = at[i] + size + gap
	}
	return at
}
