package drawing

import (
	"bytes"
	"math"
	"strconv"
	"strings"
)

// coordinateScale turns paper coordinates into what SVG has them in: microns.
const coordinateScale = 1000

// svg writes one sheet. Text stays text: each line carries the width that it has
// in the Go fonts, so that another sans-serif face cannot run into a neighbour.
func (s *Sheet) svg(title string) []byte {
	w := svgWriter{}
	w.text(`<svg xmlns="http://www.w3.org/2000/svg" width="`)
	w.number(s.Paper.Width)
	w.text(`mm" height="`)
	w.number(s.Paper.Height)
	w.text(`mm" viewBox="0 0 `)
	w.number(s.Paper.Width)
	w.text(" ")
	w.number(s.Paper.Height)
	w.text("\" font-family=\"Go, 'Go Regular', Helvetica, Arial, sans-serif\">\n<title>")
	w.escaped(title)
	w.text("</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n")
	for _, it := range s.items {
		if it.label != nil {
			w.label(*it.label)
			continue
		}
		w.path(it)
	}
	w.text("</svg>\n")
	return w.buf.Bytes()
}

type svgWriter struct {
	buf     bytes.Buffer
	scratch []byte
}

func (w *svgWriter) text(s string) { w.buf.WriteString(s) }

// number writes x with at most three decimals and none trailing.
func (w *svgWriter) number(x float64) {
	w.scratch = appendThousandths(w.scratch[:0], int64(math.Round(x*coordinateScale)))
	w.buf.Write(w.scratch)
}

// appendThousandths writes n/1000 without trailing zeros.
func appendThousandths(b []byte, n int64) []byte {
	if n < 0 {
		b = append(b, '-')
		n = -n
	}
	b = strconv.AppendInt(b, n/1000, 10)
	if rest := n % 1000; rest != 0 {
		digits := [4]byte{'.', byte('0' + rest/100), byte('0' + rest/10%10), byte('0' + rest%10)}
		k := 4
		for digits[k-1] == '0' {
			k--
		}
		b = append(b, digits[:k]...)
	}
	return b
}

func (w *svgWriter) point(p Point) {
	w.number(p.X)
	w.text(" ")
	w.number(p.Y)
}

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

func (w *svgWriter) escaped(s string) { w.text(escaper.Replace(s)) }

func (w *svgWriter) path(it item) {
	w.text(`<path d="`)
	for _, s := range it.path.steps {
		switch s.verb {
		case moveTo:
			w.text("M")
			w.point(s.to)
		case lineTo:
			w.text("L")
			w.point(s.to)
		case arcTo:
			// An SVG arc is given by its ends; half a turn and more is cut in two so
			// that they say which arc is meant.
			n := int(math.Ceil(math.Abs(s.sweep) / (math.Pi * 0.9)))
			for k := 1; k <= n; k++ {
				to := s.to
				if k < n {
					sin, cos := math.Sincos(s.start + s.sweep*float64(k)/float64(n))
					to = Point{s.center.X + s.radius*cos, s.center.Y + s.radius*sin}
				}
				w.text("A")
				w.number(s.radius)
				w.text(" ")
				w.number(s.radius)
				if s.sweep > 0 {
					w.text(" 0 0 1 ")
				} else {
					w.text(" 0 0 0 ")
				}
				w.point(to)
			}
		case closePath:
			w.text("Z")
		}
	}
	w.text(`"`)
	if it.fill == NoFill {
		w.text(` fill="none"`)
	} else {
		w.text(` fill-rule="evenodd" fill="`)
		w.tone(it.fill)
		w.text(`"`)
	}
	if it.stroke.Width > 0 {
		w.text(` stroke="#000" stroke-width="`)
		w.number(it.stroke.Width)
		w.text(`" stroke-linejoin="round"`)
		if d := it.stroke.Type.pattern(); d != nil {
			w.text(` stroke-dasharray="`)
			for i, v := range d {
				if i > 0 {
					w.text(" ")
				}
				w.number(v)
			}
			w.text(`"`)
		}
	}
	w.text("/>\n")
}

func (w *svgWriter) tone(g Gray) {
	const hex = "0123456789abcdef"
	w.text("#")
	for range 3 {
		w.buf.WriteByte(hex[g>>4&15])
		w.buf.WriteByte(hex[g&15])
	}
}

func (w *svgWriter) label(l Label) {
	w.text("<text ")
	if l.Upward {
		w.text(`transform="translate(`)
		w.point(l.At)
		w.text(`) rotate(-90)"`)
	} else {
		w.text(`x="`)
		w.number(l.At.X)
		w.text(`" y="`)
		w.number(l.At.Y)
		w.text(`"`)
	}
	w.text(` font-size="`)
	w.number(l.Size)
	w.text(`" textLength="`)
	w.number(Measure(l.Text, l.Face, l.Size))
	w.text(`" lengthAdjust="spacingAndGlyphs"`)
	if l.Face == Bold {
		w.text(` font-weight="bold"`)
	}
	switch l.Anchor {
	case Left:
	case Middle:
		w.text(` text-anchor="middle"`)
	case Right:
		w.text(` text-anchor="end"`)
	}
	w.text(">")
	w.escaped(l.Text)
	w.text("</text>\n")
}
