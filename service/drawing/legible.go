package drawing

import (
	"fmt"
	"math"
)

// Faults lists what a reader of a sheet would stumble on: labels that overlap one
// another, labels and lines outside the frame. The tests ask it of every drawing;
// none is known to have any.
func Faults(s *Sheet) []string {
	var out []string
	type placed struct {
		text           string
		x0, y0, x1, y1 float64
	}
	var labels []placed
	const touch = 0.15 // mm that boxes may share: their white is more than that
	for _, it := range s.items {
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
	}
	return out
}
