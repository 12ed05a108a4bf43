package drawing

import (
	"fmt"
	"strings"
)

const titleHeight = 17.0

// room is what a sheet leaves for drawing: left, top, right and bottom.
type room struct{ x0, y0, x1, y1 float64 }

func (s *Sheet) room() room {
	return room{margin + 2, margin + 2, s.Paper.Width - margin - 2, s.Paper.Height - margin - titleHeight - 2}
}

// digestLength is how much of a digest a title block shows: twelve hex digits
// tell any two of a shop's hatches apart.
const digestLength = 12

// ShortDigest is the digest without its scheme, cut to what a title block shows.
func ShortDigest(digest string) string {
	if i := strings.IndexByte(digest, ':'); i >= 0 {
		digest = digest[i+1:]
	}
	if len(digest) > digestLength {
		digest = digest[:digestLength]
	}
	return digest
}

// title is what a title block says.
type title struct {
	what, hatch, digest, units, scale, date string
	page, pages                             int
}

// frame draws the sheet's frame and title block.
func (s *Sheet) frame(t title) {
	w, h := s.Paper.Width, s.Paper.Height
	s.Ink(Rect(margin, margin, w-2*margin, h-2*margin), Medium, Solid)
	top := h - margin - titleHeight
	s.Ink(Polyline(Point{margin, top}, Point{w - margin, top}), Medium, Solid)
	cells := []struct {
		share      float64
		name, text string
		size       float64
		face       Face
	}{
		{0.27, "hatchwright", t.what, Heading, Bold},
		{0.18, "hatch", t.hatch, Plain, Regular},
		{0.15, "configuration", t.digest, Plain, Bold},
		{0.13, "dimensions in", t.units, Plain, Regular},
		{0.07, "scale", t.scale, Plain, Bold},
		{0.11, "date", t.date, Plain, Regular},
		{0.09, "page", fmt.Sprintf("%d of %d", t.page, t.pages), Plain, Regular},
	}
	x := margin
	for i, c := range cells {
		width := c.share * (w - 2*margin)
		if i > 0 {
			s.Ink(Polyline(Point{x, top}, Point{x, h - margin}), Thin, Solid)
		}
		s.Text(x+1.5, top+3.8, c.name, Fine, Regular)
		lines, size := fitCell(c.text, c.face, c.size, width-3)
		for len(lines) > 2 && size > Fine {
			lines, size = fitCell(c.text, c.face, size-0.2, width-3)
		}
		y := top + 10.5
		if len(lines) > 1 {
			y = top + 9
		}
		for _, line := range lines {
			s.Text(x+1.5, y, line, size, c.face)
			y += size * 1.2
		}
		x += width
	}
}
