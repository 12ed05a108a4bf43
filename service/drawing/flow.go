package drawing

// entry is a paragraph of a list beside a drawing: a heading, or text behind a
// number or letter.
//
//	mark  sample  head
//	              lines, each of pieces that are not broken
//	-------------------- rule
type entry struct {
	mark   string
	sample *curve // its line is shown behind the mark
	head   string // set bold
	lines  [][]string
	rule   bool
	title  bool // a heading of the list: larger, and kept with what follows
}

// band is a column that entries are set in, from above.
type band struct{ x, y0, y1, width float64 }

// bandsIn parts a region into columns no narrower than least, with a gutter
// between them; none where it is narrower than one.
func bandsIn(x0, y0, x1, y1, least float64) []band {
	const gutter = 5
	n := int((x1 - x0 + gutter) / (least + gutter))
	if n < 1 || y1 <= y0 {
		return nil
	}
	width := (x1 - x0 - gutter*float64(n-1)) / float64(n)
	out := make([]band, n)
	for i := range out {
		out[i] = band{x0 + float64(i)*(width+gutter), y0, y1, width}
	}
	return out
}

// The measures of entries, mm.
const (
	entryStep  = Small * LineHeight
	markWide   = 6.5
	sampleWide = 14.0
)

// textAt is how far the entry's text stands from its column's left.
func (e *entry) textAt() float64 {
	at := 0.0
	if e.mark != "" {
		at += markWide
	}
	if e.sample != nil {
		at += sampleWide + 3
	}
	return at
}

// set wraps the entry to a width.
func (e *entry) set(width float64) (head, lines []string) {
	width -= e.textAt()
	size := Small
	if e.title {
		size = Plain
	}
	if e.head != "" {
		head = Wrap(e.head, Bold, size, width)
	}
	for _, pieces := range e.lines {
		lines = append(lines, wrapPieces(pieces, Small, width)...)
	}
	return head, lines
}

// high is what the entry takes of a column, mm.
func (e *entry) high(width float64) float64 {
	head, lines := e.set(width)
	h := float64(len(head)+len(lines)) * entryStep
	if e.title {
		h += 1.6
	}
	if e.rule {
		h += 1.8
	}
	return h
}

// put sets the entry with its upper edge at y.
func (e *entry) put(s *Sheet, x, y, width float64) {
	const base = Small*capHeight + 0.7 // from a line's upper edge to its base line
	head, lines := e.set(width)
	s.Text(x, y+base, e.mark, Small, Bold)
	if e.sample != nil {
		at := y + base - Small*capHeight/2
		s.Ink(Polyline(Point{x + markWide, at}, Point{x + markWide + sampleWide, at}), e.sample.width, e.sample.line)
	}
	size := Small
	if e.title {
		size = Plain
		y += 0.6
	}
	at := x + e.textAt()
	for _, l := range head {
		s.Text(at, y+base, l, size, Bold)
		y += entryStep
	}
	for _, l := range lines {
		s.Text(at, y+base, l, Small, Regular)
		y += entryStep
	}
	if e.rule {
		s.Ink(Polyline(Point{x, y + 1}, Point{x + width, y + 1}), Hair, Solid)
	}
}

// flow sets entries in the columns, one after the other, and returns how many it
// set; an entry is not split, a heading not left alone at a column's foot. Without
// a sheet it only counts.
func flow(s *Sheet, bands []band, list []entry) int {
	done := 0
	for _, b := range bands {
		y := b.y0
		for done < len(list) {
			e := &list[done]
			if e.title && y > b.y0 {
				y += 2
			}
			need := e.high(b.width)
			high := need
			if e.title && done+1 < len(list) {
				need += list[done+1].high(b.width)
			}
			if y+need > b.y1 {
				break
			}
			if s != nil {
				e.put(s, b.x, y, b.width)
			}
			y += high
			done++
		}
	}
	return done
}

// overflow sets what is left of a list on sheets of its own.
func overflow(p Paper, list []entry, least float64) []Sheet {
	var out []Sheet
	for len(list) > 0 {
		s := Sheet{Paper: p}
		r := s.room()
		n := flow(&s, bandsIn(r.x0, r.y0, r.x1, r.y1, least), list)
		if n == 0 { // an entry taller than a sheet: none of this package is
			return out
		}
		out, list = append(out, s), list[n:]
	}
	return out
}

// wrapPieces sets pieces one after another, breaking lines between them; a piece
// that is wider than a line alone is broken at its spaces.
func wrapPieces(pieces []string, size, width float64) []string {
	var lines []string
	now := ""
	for _, p := range pieces {
		next := p
		if now != "" {
			next = now + " " + p
		}
		if Measure(next, Regular, size) <= width {
			now = next
			continue
		}
		if now != "" {
			lines = append(lines, now)
		}
		now = p
		if Measure(p, Regular, size) > width {
			broken := Wrap(p, Regular, size, width)
			lines = append(lines, broken[:len(broken)-1]...)
			now = broken[len(broken)-1]
		}
	}
	if now != "" {
		lines = append(lines, now)
	}
	return lines
}
