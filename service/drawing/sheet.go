package drawing

import (
	"math"
	"strings"
)

// Anchor is which end of a line of text stands at its point.
type Anchor uint8

// The anchors.
const (
	Left Anchor = iota
	Middle
	Right
)

// Sizes of text, mm of em; the height of capitals is 0.72 of it.
const (
	Fine    = 2.5
	Small   = 2.9
	Plain   = 3.3
	Heading = 4.6
	Display = 6.5
)

// Label is one line of text on a sheet.
type Label struct {
	At     Point // on the base line
	Text   string
	Size   float64 // em, mm
	Face   Face
	Anchor Anchor
	// Upward turns the text a quarter turn counter-clockwise, to be read from the
	// right.
	Upward bool
	// Clear lays white under the text, so that lines stop short of it.
	Clear bool
}

// box returns the label's corners on the sheet: least and greatest x and y.
func (l Label) box() (x0, y0, x1, y1 float64) {
	w := Measure(l.Text, l.Face, l.Size)
	from := 0.0
	switch l.Anchor {
	case Left:
	case Middle:
		from = -w / 2
	case Right:
		from = -w
	}
	if l.Upward {
		return l.At.X - capHeight*l.Size, l.At.Y - from - w, l.At.X + descent*l.Size, l.At.Y - from
	}
	return l.At.X + from, l.At.Y - capHeight*l.Size, l.At.X + from + w, l.At.Y + descent*l.Size
}

// item is one thing on a sheet: a path or a label.
type item struct {
	path   Path
	stroke Stroke
	fill   Gray
	label  *Label
}

// Sheet is one sheet of paper and what is on it, in the order it was put there.
type Sheet struct {
	Paper   Paper
	items   []item
	waiting []dimension // whose texts are not set yet
}

// Ink strokes a path.
func (s *Sheet) Ink(p Path, width float64, t LineType) {
	s.items = append(s.items, item{path: p, stroke: Stroke{width, t}, fill: NoFill})
}

// Fill fills a path with a tone, even-odd, and strokes it solid when width is not
// zero.
func (s *Sheet) Fill(p Path, tone Gray, width float64) {
	s.items = append(s.items, item{path: p, stroke: Stroke{Width: width}, fill: tone})
}

// Put sets a label.
func (s *Sheet) Put(l Label) {
	if strings.TrimSpace(l.Text) == "" {
		return
	}
	if l.Clear {
		x0, y0, x1, y1 := l.box()
		pad := labelPad * l.Size
		s.Fill(Rect(x0-pad, y0-pad, x1-x0+2*pad, y1-y0+2*pad), White, 0)
	}
	s.items = append(s.items, item{fill: NoFill, label: &l})
}

// Text sets a line of text from its left end.
func (s *Sheet) Text(x, y float64, text string, size float64, face Face) {
	s.Put(Label{At: Point{x, y}, Text: text, Size: size, Face: face})
}

// Wrap breaks text into lines no wider than width mm, and at its line feeds. A word
// that is wider alone stands on a line of its own.
func Wrap(text string, face Face, size, width float64) []string {
	var lines []string
	for _, part := range strings.Split(text, "\n") {
		now := ""
		for _, word := range strings.Fields(part) {
			next := word
			if now != "" {
				next = now + " " + word
			}
			if now != "" && Measure(next, face, size) > width {
				lines = append(lines, now)
				next = word
			}
			now = next
		}
		if now != "" {
			lines = append(lines, now)
		}
	}
	return lines
}

// Paragraph sets wrapped text from the base line y and returns the base line
// after it.
func (s *Sheet) Paragraph(x, y, width float64, text string, size float64, face Face) float64 {
	for _, line := range Wrap(text, face, size, width) {
		s.Text(x, y, line, size, face)
		y += LineHeight * size
	}
	return y
}

// LineHeight is the distance of base lines, in ems.
const LineHeight = 1.3

// arrow fills an arrowhead whose tip is at p, pointing along u.
func (s *Sheet) arrow(p, u Point) {
	const length, half = 2.4, 0.42
	v := Point{-u.Y, u.X}
	b := p.toward(u, -length)
	s.Fill(Polygon(p, b.toward(v, half), b.toward(v, -half)), Black, 0)
}

// Hatch fills a closed path with lines at the angle, degrees, the distance mm
// apart. Lines are cut at the path by the even-odd rule.
func (s *Sheet) Hatch(p Path, degrees, apart, width float64) {
	var edges [][2]Point
	runs, _ := p.runs(flat)
	for _, run := range runs {
		for i := range run {
			edges = append(edges, [2]Point{run[i], run[(i+1)%len(run)]})
		}
	}
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	// u runs along the lines, v across them.
	across := func(q Point) float64 { return -q.X*sin + q.Y*cos }
	along := func(q Point) float64 { return q.X*cos + q.Y*sin }
	low, high := math.Inf(1), math.Inf(-1)
	for _, e := range edges {
		low, high = math.Min(low, across(e[0])), math.Max(high, across(e[0]))
	}
	var lines Path
	// Lines lie on multiples of the distance from the sheet's corner, so that the
	// hatching of neighbours of one material lines up.
	for k := math.Ceil(low / apart); k*apart < high; k++ {
		c := k * apart
		var cuts []float64
		for _, e := range edges {
			a, b := across(e[0])-c, across(e[1])-c
			if (a < 0) == (b < 0) {
				continue
			}
			t := a / (a - b)
			cuts = append(cuts, along(e[0])+(along(e[1])-along(e[0]))*t)
		}
		sortFloats(cuts)
		for i := 0; i+1 < len(cuts); i += 2 {
			at := func(t float64) Point { return Point{t*cos - c*sin, t*sin + c*cos} }
			lines.Move(at(cuts[i]))
			lines.Line(at(cuts[i+1]))
		}
	}
	if len(lines.steps) > 0 {
		s.Ink(lines, width, Solid)
	}
}

func sortFloats(v []float64) {
	for i := 1; i < len(v); i++ {
		for k := i; k > 0 && v[k] < v[k-1]; k-- {
			v[k], v[k-1] = v[k-1], v[k]
		}
	}
}
