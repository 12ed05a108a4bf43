package drawing

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	"hatchwright/service/civil"
)

// Info is what a PDF says of itself.
type Info struct {
	Title   string
	Subject string
	Date    civil.Date // of making, at noon UTC: the reader's clock does not show another day
}

// WritePDF renders sheets, one a page, each on its own paper at its own scale:
// a millimeter of the sheet is a millimeter of the page. Text is text, in the Go
// fonts, embedded and searchable. The same sheets give the same bytes.
func WritePDF(sheets []Sheet, info Info) ([]byte, error) {
	first := A4
	if len(sheets) > 0 {
		first = sheets[0].Paper
	}
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: first.Width, Ht: first.Height}})
	at := time.Date(info.Date.Year, info.Date.Month, info.Date.Day, 12, 0, 0, 0, time.UTC)
	f.SetCreationDate(at)
	f.SetModificationDate(at)
	f.SetCatalogSort(true)
	f.SetProducer("hatchwright", true)
	f.SetTitle(plane0(info.Title), true)
	f.SetSubject(plane0(info.Subject), true)
	f.SetMargins(0, 0, 0)
	f.SetAutoPageBreak(false, 0)
	f.AddUTF8FontFromBytes("go", "", goregular.TTF)
	f.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	f.SetLineJoinStyle("round")
	p := pdfWriter{f: f, width: -1, size: -1}
	for i := range sheets {
		s := &sheets[i]
		f.AddPageFormat("P", fpdf.SizeType{Wd: s.Paper.Width, Ht: s.Paper.Height})
		p.width, p.line, p.tone, p.size = -1, Solid, NoFill, -1
		f.SetDashPattern(nil, 0)
		f.SetTextColor(0, 0, 0)
		f.SetDrawColor(0, 0, 0)
		for k := range s.items {
			p.item(&s.items[k])
		}
	}
	var out bytes.Buffer
	if err := f.Output(&out); err != nil {
		return nil, fmt.Errorf("drawing: write PDF: %w", err)
	}
	return out.Bytes(), nil
}

// pdfWriter keeps what the page is set to, so that it is said once.
type pdfWriter struct {
	f     *fpdf.Fpdf
	width float64
	line  LineType
	tone  Gray
	face  Face
	size  float64
}

func (p *pdfWriter) item(it *item) {
	if it.label != nil {
		p.label(it.label)
		return
	}
	style := ""
	if it.fill != NoFill {
		if it.fill != p.tone {
			p.f.SetFillColor(int(it.fill), int(it.fill), int(it.fill))
			p.tone = it.fill
		}
		style = "F*"
	}
	if it.stroke.Width > 0 {
		if it.stroke.Width != p.width {
			p.f.SetLineWidth(it.stroke.Width)
			p.width = it.stroke.Width
		}
		if it.stroke.Type != p.line {
			p.f.SetDashPattern(it.stroke.Type.pattern(), 0)
			p.line = it.stroke.Type
		}
		if style == "" {
			style = "D"
		} else {
			style = "FD*"
		}
	}
	if style == "" {
		return
	}
	for _, s := range it.path.steps {
		switch s.verb {
		case moveTo:
			p.f.MoveTo(s.to.X, s.to.Y)
		case lineTo:
			p.f.LineTo(s.to.X, s.to.Y)
		case arcTo:
			p.arc(s)
		case closePath:
			p.f.ClosePath()
		}
	}
	p.f.DrawPath(style)
}

// arc draws an arc as cubics of at most an eighth of a turn each, with handles
//
//	k = 4/3 tan(a/4) r
//
// (A. Riskus, "Approximation of a cubic Bezier curve by circular arcs and vice
// versa", 2006; the formula is older). The greatest error of an eighth of a turn
// is 4.2e-6 of the radius: 0.002 mm at 500 mm.
func (p *pdfWriter) arc(s step) {
	n := max(1, int(math.Ceil(math.Abs(s.sweep)/(math.Pi/4)-1e-9)))
	a := s.sweep / float64(n)
	k := 4.0 / 3 * math.Tan(a/4) * s.radius
	for i := range n {
		from := s.start + a*float64(i)
		sin0, cos0 := math.Sincos(from)
		sin1, cos1 := math.Sincos(from + a)
		to := s.to
		if i < n-1 {
			to = Point{s.center.X + s.radius*cos1, s.center.Y + s.radius*sin1}
		}
		p.f.CurveBezierCubicTo(
			s.center.X+s.radius*cos0-k*sin0, s.center.Y+s.radius*sin0+k*cos0,
			s.center.X+s.radius*cos1+k*sin1, s.center.Y+s.radius*sin1-k*cos1,
			to.X, to.Y)
	}
}

// pointsPerMillimeter turns a font size in mm into points.
const pointsPerMillimeter = 72 / 25.4

func (p *pdfWriter) label(l *Label) {
	if l.Size != p.size || l.Face != p.face {
		style := ""
		if l.Face == Bold {
			style = "B"
		}
		p.f.SetFont("go", style, l.Size*pointsPerMillimeter)
		p.size, p.face = l.Size, l.Face
	}
	shift := 0.0
	switch l.Anchor {
	case Left:
	case Middle:
		shift = -Measure(l.Text, l.Face, l.Size) / 2
	case Right:
		shift = -Measure(l.Text, l.Face, l.Size)
	}
	if !l.Upward {
		p.f.Text(l.At.X+shift, l.At.Y, plane0(l.Text))
		return
	}
	p.f.TransformBegin()
	p.f.TransformRotate(90, l.At.X, l.At.Y)
	p.f.Text(l.At.X+shift, l.At.Y, plane0(l.Text))
	p.f.TransformEnd()
}

// plane0 puts U+FFFF, which is no character, in the place of what is beyond it, as emoji
// are: the PDF writer has no room for more and panics. The faces lack them all and show
// the same empty box.
func plane0(text string) string {
	return strings.Map(func(r rune) rune {
		if r > 0xffff {
			return '\uffff'
		}
		return r
	}, text)
}

// PDF returns all sheets.
func (d Drawing) PDF() ([]byte, error) {
	subject := d.what
	if d.digest != "" {
		subject = "configuration " + d.digest
	}
	return WritePDF(d.Sheets, Info{Title: d.full(), Subject: subject, Date: d.date})
}
