package drawing

import (
	"errors"
	"fmt"
	"strings"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/tooling"
)

// Format is a format that a drawing can be rendered to.
type Format string

// The formats.
const (
	SVG Format = "svg"
	PNG Format = "png"
	PDF Format = "pdf"
	DXF Format = "dxf"
)

// The errors of [Draw].
var (
	// ErrUnknownDrawing: there is no drawing of that name; see [Names].
	ErrUnknownDrawing = errors.New("drawing: no drawing of that name")
	// ErrNotDrawable: the configuration has no geometry to draw.
	ErrNotDrawable = errors.New("drawing: the configuration cannot be made, so there is nothing to draw")
	// ErrNoFormat: the drawing has no such format, as a table has no DXF.
	ErrNoFormat = errors.New("drawing: not made in this format")
)

// Request says what to draw from and how to write it.
type Request struct {
	Result *derivation.Result
	Units  quantity.System
	Date   civil.Date
	Paper  Paper // zero: the one that goes with the units

	bare bool // without title blocks
}

func (r Request) paper() Paper {
	if r.Paper.Width > 0 {
		return r.Paper
	}
	return PaperFor(r.Units)
}

// Drawing is a finished drawing. Rendering does not change it; it is safe for
// concurrent use.
type Drawing struct {
	Name   string
	Title  string
	Sheets []Sheet
	what   string // in the title block
	scale  string
	shapes []shape // in model space, for DXF
	notes  []string
	units  quantity.System
	date   civil.Date
	digest string
}

// picture makes one drawing.
type picture struct {
	name string
	draw func(Request) (Drawing, error)
}

// pictures lists the drawings of a request, in the order of [Names].
func pictures(req Request) []picture {
	out := []picture{{"plan", plan}}
	if req.Result.Configuration.HasLeg(part.Ledge) {
		out = append(out, picture{"section", section}, picture{"fit", fit})
	} else {
		out = append(out, picture{"section", anySection})
	}
	out = append(out, picture{"exploded", exploded}, picture{"stack", stackSection}, picture{"mold-receiver", receiverMold}, picture{"mold-lid", lidMold})
	if w := &req.Result.Workshop; len(w.Steps) > 0 {
		for _, t := range w.Templates {
			p := Template{Name: t.Name, Hole: t.Hole, Note: t.Purpose}
			if t.Outline != nil {
				p.Outline = *t.Outline
			}
			out = append(out, picture{TemplateName(&t), func(r Request) (Drawing, error) { return template(r, p) }})
		}
		for i := range w.Sheets {
			out = append(out, picture{fmt.Sprintf("sheet-%d", i+1), func(r Request) (Drawing, error) { return sheetLayout(r, i) }})
		}
		out = append(out, picture{"router", router})
	}
	return out
}

// TemplateName is the name of a template's drawing.
func TemplateName(t *tooling.Template) string { return "template-" + slug(t.Name) }

// slug writes a name for an address: lower case letters, digits and hyphens.
func slug(name string) string {
	var out []byte
	for _, r := range strings.ToLower(name) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			out = append(out, byte(r))
		case len(out) > 0 && out[len(out)-1] != '-':
			out = append(out, '-')
		}
	}
	return strings.TrimRight(string(out), "-")
}

// Names lists the drawings that there are of a result; none when it cannot be
// made.
func Names(r *derivation.Result) []string {
	if r == nil || !r.Makeable() {
		return nil
	}
	var out []string
	for _, p := range pictures(Request{Result: r}) {
		out = append(out, p.name)
	}
	return out
}

// Draw makes the drawing of the given name.
//
// Errors: [ErrNotDrawable], [ErrUnknownDrawing]; others say which curve could not
// be drawn.
func Draw(name string, req Request) (Drawing, error) {
	if req.Result == nil || !req.Result.Makeable() {
		return Drawing{}, ErrNotDrawable
	}
	for _, p := range pictures(req) {
		if p.name != name {
			continue
		}
		d, err := p.draw(req)
		if err != nil {
			return Drawing{}, fmt.Errorf("draw %s: %w", name, err)
		}
		d.Name, d.units, d.date, d.digest = name, req.Units, req.Date, req.Result.Digest
		for i := range d.Sheets {
			d.Sheets[i].settle()
			if !req.bare {
				d.Sheets[i].frame(req.title(d.what, d.scale, i+1, len(d.Sheets)))
			}
		}
		return d, nil
	}
	return Drawing{}, fmt.Errorf("%w: %q", ErrUnknownDrawing, name)
}

// title fills in what every title block says.
func (r Request) title(what string, scale string, page, pages int) title {
	return title{
		what: what, hatch: hatchName(&r.Result.Configuration, r.Units), digest: ShortDigest(r.Result.Digest),
		units: unitsName(r.Units), scale: scale, date: r.Date.String(), page: page, pages: pages,
	}
}

func unitsName(s quantity.System) string {
	if s == quantity.Inch {
		return "inches, nearest 1/32 beside"
	}
	return "millimeters"
}

// hatchName says the hatch in a few words: pattern, shape and the size given.
func hatchName(c *part.Configuration, s quantity.System) string {
	p := c.Outline
	l := func(mm float64) string { return quantity.Decimal(s.Length(mm), 1+int(s)*2) }
	size := p.Size(l)
	if p.Shape != part.Polygon {
		size += " " + s.String()
	}
	return fmt.Sprintf("%s %s %s", c.Pattern, p.Shape, size)
}

// SVG returns the first sheet as SVG.
func (d Drawing) SVG() ([]byte, error) { return d.SheetSVG(0) }

// full is the title with the digest of what is drawn, where it has one.
func (d Drawing) full() string { return strings.TrimSpace(d.Title + " " + ShortDigest(d.digest)) }

// SheetSVG returns sheet i, from 0, as SVG.
func (d Drawing) SheetSVG(i int) ([]byte, error) {
	if i < 0 || i >= len(d.Sheets) {
		return nil, fmt.Errorf("%w: sheet %d of %d", ErrNoFormat, i+1, len(d.Sheets))
	}
	return d.Sheets[i].svg(d.full()), nil
}

// PNG returns the first sheet as a gray PNG; dpi 0 stands for [DefaultDPI].
// Errors: *[ResolutionError].
func (d Drawing) PNG(dpi float64) ([]byte, error) { return d.SheetPNG(0, dpi) }

// SheetPNG returns sheet i, from 0, as a gray PNG.
func (d Drawing) SheetPNG(i int, dpi float64) ([]byte, error) {
	if i < 0 || i >= len(d.Sheets) {
		return nil, fmt.Errorf("%w: sheet %d of %d", ErrNoFormat, i+1, len(d.Sheets))
	}
	if dpi == 0 {
		dpi = DefaultDPI
	}
	return d.Sheets[i].png(dpi)
}

// Formats lists the formats that the drawing has: tables and pictures have no
// DXF.
func (d Drawing) Formats() []Format {
	out := []Format{SVG, PNG, PDF}
	if len(d.shapes) > 0 {
		out = append(out, DXF)
	}
	return out
}

// Render writes the drawing in a format: the first sheet as SVG or PNG (at
// [DefaultDPI]), all sheets as PDF, the curves as DXF. Errors: [ErrNoFormat].
func (d Drawing) Render(f Format) ([]byte, error) {
	switch f {
	case SVG:
		return d.SVG()
	case PNG:
		return d.PNG(0)
	case PDF:
		return d.PDF()
	case DXF:
		return d.DXF()
	}
	return nil, fmt.Errorf("%w: %q", ErrNoFormat, string(f))
}
