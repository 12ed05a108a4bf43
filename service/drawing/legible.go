package drawing

import (
	"fmt"
	"math"
)

// Faults lists what a reader of a sheet would stumble on: labels that overlap one
// another, lines through a label, labels and lines outside the frame. The tests ask it of every drawing;
// none is known to have any.
func Faults(s *Sheet) []string {
	var out []string
	type placed struct {
		text           string
		x0, y0, x1, y1 float64
	}
	var labels []placed
	lines := s.straights()
	const touch = 0.15 // mm that boxes may share: their white is more than that
	for i := range s.items {
		it := &s.items[i]
		if it.label == nil {
			runs, _ := it.path.runs(0.1)
			for _, run := range runs {
				for _, p := range run {
					if p.X < margin-0.1 || p.Y < margin-0.1 || p.X > s.Paper.Width-margin+0.1 || p.Y > s.Paper.Height-margin+0.1 || math.IsNaN(p.X+p.Y) {
						out = append(out, fmt.Sprintf("a line at %.1f, %.1f is outside the frame", p.X, p.Y))
					}
				}
			}
			continue
		}
		x0, y0, x1, y1 := it.label.box()
		l := placed{it.label.Text, x0, y0, x1, y1}
		if !(x0 >= margin && y0 >= margin && x1 <= s.Paper.Width-margin && y1 <= s.Paper.Height-margin) {
			out = append(out, fmt.Sprintf("%q at %.1f, %.1f to %.1f, %.1f is outside the frame", l.text, x0, y0, x1, y1))
		}
		for _, k := range labels {
			if l.x0 < k.x1-touch && k.x0 < l.x1-touch && l.y0 < k.y1-touch && k.y0 < l.y1-touch {
				out = append(out, fmt.Sprintf("%q and %q overlap at %.1f, %.1f", l.text, k.text, l.x0, l.y0))
			}
		}
		labels = append(labels, l)
		ground := s.ground(i)
		for _, q := range lines {
			if q.item > ground && q.enters(x0+touch, y0+touch, x1-touch, y1-touch) {
				out = append(out, fmt.Sprintf("a line runs through %q at %.1f, %.1f", l.text, l.x0, l.y0))
				break
			}
		}
	}
	return out
}

// ground is the item that hides what lies under label i: its own white, or the last
// fill before it that holds it whole; -1 where there is none.
func (s *Sheet) ground(i int) int {
	if s.items[i].label.Clear {
		return i
	}
	x0, y0, x1, y1 := s.items[i].label.box()
	for k := i - 1; k >= 0; k-- {
		it := &s.items[k]
		if it.label == nil && it.fill != NoFill && it.holds(Point{x0, y0}) && it.holds(Point{x1, y0}) && it.holds(Point{x0, y1}) && it.holds(Point{x1, y1}) {
			return k
		}
	}
	return -1
}

// holds says whether the point lies within the item's path, even-odd.
func (it *item) holds(p Point) bool {
	in := false
	runs, _ := it.path.runs(0.1)
	for _, run := range runs {
		for i, a := range run {
			b := run[(i+1)%len(run)]
			if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
				in = !in
			}
		}
	}
	return in
}
