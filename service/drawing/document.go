package drawing

import (
	"math"
	"slices"
)

// Document sets headings, paragraphs and tables down upright sheets, one after
// another. Title blocks come at the end, when the number of pages is known.
type Document struct {
	paper  Paper
	sheets []Sheet
	titles []string // what each sheet's title block says
	scales []string
	framed []bool // sheets that bring a title block of their own place
	what   string
	y      float64
}

// NewDocument begins a document on the paper, set upright.
func NewDocument(p Paper) *Document { return &Document{paper: p.Upright()} }

// Width is what a line may take, mm.
func (d *Document) Width() float64 { return d.paper.Width - 2*margin - 6 }

func (d *Document) left() float64   { return margin + 3 }
func (d *Document) bottom() float64 { return d.paper.Height - margin - titleHeight - 3 }

// Page begins a new page of the given title.
func (d *Document) Page(title string) {
	d.what = title
	d.more()
	s := d.sheet()
	s.Text(d.left(), d.y+Display*capHeight, title, Display, Bold)
	d.y += Display*1.5 + 2
}

// more goes on on a fresh page under the same title.
func (d *Document) more() {
	d.sheets = append(d.sheets, Sheet{Paper: d.paper})
	d.titles, d.scales, d.framed = append(d.titles, d.what), append(d.scales, "none"), append(d.framed, false)
	d.y = margin + 4
}

func (d *Document) sheet() *Sheet { return &d.sheets[len(d.sheets)-1] }

// Room makes sure that high mm are left on the page, on a fresh one if need be.
func (d *Document) Room(high float64) {
	if len(d.sheets) == 0 || d.y+high > d.bottom() {
		d.more()
	}
}

// Space leaves mm blank.
func (d *Document) Space(mm float64) { d.y += mm }

// Heading sets a heading; it is not left alone at the foot of a page.
func (d *Document) Heading(text string) {
	d.Room(26)
	d.y += 3
	d.sheet().Text(d.left(), d.y+Heading*capHeight, text, Heading, Bold)
	d.y += Heading * 1.35
}

// Say sets a paragraph.
func (d *Document) Say(text string, size float64, face Face) {
	for _, line := range Wrap(text, face, size, d.Width()) {
		d.Room(size * LineHeight)
		d.sheet().Text(d.left(), d.y+size*capHeight+0.4, line, size, face)
		d.y += size * LineHeight
	}
	d.y += 1
}

// Column is one of a table.
type Column struct {
	Title string
	Share float64 // of the table's width
	Right bool    // figures end flush
	Box   bool    // an empty box to write in; its cells' text stands in it small
}

// Tally is a row of a table with small boxes under it to write in, each with its
// own few characters.
type Tally struct {
	Cells []string
	Boxes []string
}

// Of a tally's boxes, mm: room for a figure beside the characters.
const (
	tallyWide = 11.0
	tallyHigh = 6.4
)

// Table sets rows under a head that is repeated on each page. Cells wrap; a row is
// not split. Text wider than its column without a space to break at is set
// smaller.
func (d *Document) Table(columns []Column, rows [][]string) {
	list := make([]Tally, len(rows))
	for i, cells := range rows {
		list[i].Cells = cells
	}
	d.Tallies(columns, list)
}

// Tallies is Table with boxes under its rows, as many in a line as there is room
// for. Where they go on on another page the row is said again.
func (d *Document) Tallies(columns []Column, rows []Tally) {
	total := 0.0
	for _, c := range columns {
		total += c.Share
	}
	widths := make([]float64, len(columns))
	for i, c := range columns {
		widths[i] = c.Share / total * d.Width()
	}
	const size, pad = Small, 1.2
	const step = size * 1.22
	row := func(cells []string, face Face, boxes bool) {
		lines := make([][]string, len(columns))
		sizes := make([]float64, len(columns))
		most := 1
		for i, c := range cells {
			lines[i], sizes[i] = fitCell(c, face, size, widths[i]-2*pad)
			most = max(most, len(lines[i]))
		}
		high := float64(most)*step + 2*pad - 0.4
		if boxes {
			for _, c := range columns {
				if c.Box {
					high = math.Max(high, 6.4)
				}
			}
		}
		d.Room(high)
		s := d.sheet()
		x := d.left()
		for i, c := range columns {
			at, anchor := x+pad, Left
			if c.Right {
				at, anchor = x+widths[i]-pad, Right
			}
			if c.Box && boxes {
				s.Ink(Rect(x+0.6, d.y+0.7, widths[i]-1.2, high-1.4), Thin, Solid)
				at = x + pad + 0.6
			}
			for k, line := range lines[i] {
				s.Put(Label{At: Point{at, d.y + pad + size*capHeight + float64(k)*step}, Text: line, Size: sizes[i], Face: face, Anchor: anchor})
			}
			x += widths[i]
		}
		d.y += high
	}
	rule := func(width float64) {
		d.sheet().Ink(Polyline(Point{d.left(), d.y}, Point{d.left() + d.Width(), d.y}), width, Solid)
	}
	head := make([]string, len(columns))
	for i, c := range columns {
		head[i] = c.Title
	}
	titled := func() {
		row(head, Bold, false)
		rule(Medium)
	}
	d.Room(20)
	titled()
	perLine := max(1, int(d.Width()/tallyWide))
	for _, r := range rows {
		high := rowHeight(columns, widths, r.Cells, size, pad, step)
		boxes := 0.0
		if len(r.Boxes) > 0 {
			boxes = tallyHigh
		}
		fresh := func(room float64) bool {
			pages := len(d.sheets)
			if d.Room(room); len(d.sheets) == pages {
				return false
			}
			titled()
			return true
		}
		fresh(high + boxes)
		row(r.Cells, Regular, true)
		for line := range slices.Chunk(r.Boxes, perLine) {
			if fresh(tallyHigh) {
				row(r.Cells, Regular, true)
			}
			d.tally(line)
		}
		if len(r.Boxes) > 0 {
			d.y += 1
		}
		rule(Hair)
	}
	d.y += 2
}

// tally sets a line of boxes.
func (d *Document) tally(boxes []string) {
	s := d.sheet()
	for i, text := range boxes {
		x := d.left() + float64(i)*tallyWide
		s.Ink(Rect(x+0.6, d.y+0.4, tallyWide-1.2, tallyHigh-0.8), Thin, Solid)
		s.Put(Label{At: Point{x + 1.2, d.y + 1 + Fine*capHeight}, Text: text, Size: Fine})
	}
	d.y += tallyHigh
}

func rowHeight(columns []Column, widths []float64, cells []string, size, pad, step float64) float64 {
	most, high := 1, 0.0
	for i, c := range cells {
		lines, _ := fitCell(c, Regular, size, widths[i]-2*pad)
		most = max(most, len(lines))
		if columns[i].Box {
			high = 6.4
		}
	}
	return math.Max(high, float64(most)*step+2*pad-0.4)
}

// fitCell wraps a cell; a word too wide for it sets the whole cell smaller.
func fitCell(text string, face Face, size, width float64) ([]string, float64) {
	const least = 1.8
	for {
		lines := Wrap(text, face, size, width)
		wide := 0.0
		for _, l := range lines {
			wide = math.Max(wide, Measure(l, face, size))
		}
		if wide <= width || size <= least {
			return lines, size
		}
		size -= 0.1
	}
}

// Insert adds finished sheets as they are: drawings with their title blocks left
// off. what and scale go into the title block that they get.
func (d *Document) Insert(what, scale string, sheets ...Sheet) {
	for _, s := range sheets {
		d.sheets = append(d.sheets, s)
		d.titles, d.scales, d.framed = append(d.titles, what), append(d.scales, scale), append(d.framed, false)
	}
	d.y = math.Inf(1) // what comes next begins on a page of its own
}

// Finish puts the title blocks on and returns the pages.
func (d *Document) Finish(req Request) []Sheet {
	for i := range d.sheets {
		if !d.framed[i] {
			d.sheets[i].frame(req.title(d.titles[i], d.scales[i], i+1, len(d.sheets)))
			d.framed[i] = true
		}
	}
	return d.sheets
}

// Bare returns the sheets of a drawing without their title blocks, to be inserted
// in a document that numbers its pages through.
func Bare(name string, req Request) (sheets []Sheet, title, scale string, err error) {
	req.bare = true
	d, err := Draw(name, req)
	if err != nil {
		return nil, "", "", err
	}
	return d.Sheets, d.what, d.scale, nil
}

// Pages is how many pages there are so far.
func (d *Document) Pages() int { return len(d.sheets) }

// Later keeps room for rows of two texts, the second at the right edge, and
// returns what fills them in once they are known: a table of contents.
func (d *Document) Later(rows int) func(texts [][2]string) {
	const size = Plain
	step := size * 1.5
	d.Room(float64(rows) * step)
	i, y := len(d.sheets)-1, d.y
	d.y += float64(rows) * step
	return func(texts [][2]string) {
		s := &d.sheets[i]
		for k, t := range texts {
			at := y + float64(k)*step + size*capHeight
			s.Text(d.left(), at, t[0], size, Regular)
			s.Put(Label{At: Point{d.left() + d.Width()*0.6, at}, Text: t[1], Size: size, Anchor: Right})
		}
	}
}
