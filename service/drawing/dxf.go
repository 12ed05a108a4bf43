package drawing

import (
	"bytes"
	"fmt"
	"math"
	"strconv"

	"hatchwright/service/outline"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

// shape is a curve in model space on a layer, mm, y up.
type shape struct {
	layer    string
	closed   bool
	segments []outline.Segment
}

func outlineShape(layer string, o outline.Outline) shape {
	return shape{layer, true, o.Segments()}
}

// sectionShape is a section's closed path with its depth as -y.
func sectionShape(layer string, segments []profile.Segment) shape {
	s := shape{layer: layer, closed: true}
	p := func(q profile.Point) outline.Point { return outline.Point{X: q.N, Y: -q.Z} }
	for _, g := range segments {
		t := outline.Segment{Kind: outline.Line, From: p(g.From), To: p(g.To)}
		if g.Kind == profile.Arc {
			t.Kind, t.Center, t.Radius, t.Sweep = outline.Arc, p(g.Center), g.Radius, -g.Sweep
		}
		s.segments = append(s.segments, t)
	}
	return s
}

// DXF returns the drawing's shapes in model space as DXF R12 (AC1009, ASCII): a
// layer for each outline, closed POLYLINEs whose arcs are bulges, not chords. A
// drawing unit is a unit of the request: millimeters or inches, said by
// $INSUNITS, by a comment and by a text on layer NOTES. (R12 itself does not know
// $INSUNITS; readers of it use the variable or skip it.)
//
//	bulge = tan(sweep/4)      positive counter-clockwise
//
// Source: Autodesk, DXF Reference, group codes of POLYLINE and VERTEX (from
// memory). Errors: [ErrNoFormat] for drawings that are tables or pictures.
func (d Drawing) DXF() ([]byte, error) {
	if len(d.shapes) == 0 {
		return nil, fmt.Errorf("%w: %s has no curves in model space", ErrNoFormat, d.Name)
	}
	w := dxfWriter{units: d.units}
	layers := []string{}
	seen := map[string]bool{}
	lo, hi := outline.Point{X: math.Inf(1), Y: math.Inf(1)}, outline.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, s := range d.shapes {
		if !seen[s.layer] {
			seen[s.layer] = true
			layers = append(layers, s.layer)
		}
		for _, g := range s.segments {
			for k := 0; k <= 8; k++ {
				p, _ := g.At(float64(k) / 8)
				lo = outline.Point{X: math.Min(lo.X, p.X), Y: math.Min(lo.Y, p.Y)}
				hi = outline.Point{X: math.Max(hi.X, p.X), Y: math.Max(hi.Y, p.Y)}
			}
		}
	}
	layers = append(layers, notesLayer)
	name, code := "millimeters", 4
	if d.units == quantity.Inch {
		name, code = "inches", 1
	}
	w.group(999, "hatchwright "+d.Name+", units: "+name)
	w.group(0, "SECTION")
	w.group(2, "HEADER")
	w.group(9, "$ACADVER")
	w.group(1, "AC1009")
	w.group(9, "$INSUNITS")
	w.integer(70, code)
	w.group(9, "$LUNITS")
	w.integer(70, 2)
	w.group(9, "$EXTMIN")
	w.point(lo)
	w.number(30, 0)
	w.group(9, "$EXTMAX")
	w.point(hi)
	w.number(30, 0)
	w.group(0, "ENDSEC")

	w.group(0, "SECTION")
	w.group(2, "TABLES")
	w.group(0, "TABLE")
	w.group(2, "LTYPE")
	w.integer(70, 1)
	w.group(0, "LTYPE")
	w.group(2, "CONTINUOUS")
	w.integer(70, 0)
	w.group(3, "Solid line")
	w.integer(72, 65)
	w.integer(73, 0)
	w.number(40, 0)
	w.group(0, "ENDTAB")
	w.group(0, "TABLE")
	w.group(2, "LAYER")
	w.integer(70, len(layers)+1)
	for _, l := range append([]string{"0"}, layers...) {
		w.group(0, "LAYER")
		w.group(2, l)
		w.integer(70, 0)
		w.integer(62, 7)
		w.group(6, "CONTINUOUS")
	}
	w.group(0, "ENDTAB")
	w.group(0, "TABLE")
	w.group(2, "STYLE")
	w.integer(70, 1)
	w.group(0, "STYLE")
	w.group(2, "STANDARD")
	w.integer(70, 0)
	w.number(40, 0)
	w.number(41, 1)
	w.number(50, 0)
	w.integer(71, 0)
	w.number(42, 2.5)
	w.group(3, "txt")
	w.group(4, "")
	w.group(0, "ENDTAB")
	w.group(0, "ENDSEC")

	w.group(0, "SECTION")
	w.group(2, "ENTITIES")
	for _, s := range d.shapes {
		w.polyline(s)
	}
	// What every drawing bears, below the curves.
	height := math.Max(5, (hi.X-lo.X)/80)
	lines := append([]string{
		d.Title, "configuration " + d.digest, "units " + name + ", scale 1:1, date " + d.date.String(), "hatchwright",
	}, d.notes...)
	for i, text := range lines {
		w.group(0, "TEXT")
		w.group(8, notesLayer)
		w.point(outline.Point{X: lo.X, Y: lo.Y - height*(2+1.6*float64(i))})
		w.number(30, 0)
		w.number(40, w.units.Length(height))
		w.group(1, ascii(text))
	}
	w.group(0, "ENDSEC")
	w.group(0, "EOF")
	return w.buf.Bytes(), nil
}

const notesLayer = "NOTES"

type dxfWriter struct {
	buf   bytes.Buffer
	units quantity.System
}

func (w *dxfWriter) group(code int, value string) {
	fmt.Fprintf(&w.buf, "%3d\n%s\n", code, value)
}

func (w *dxfWriter) integer(code, value int) { w.group(code, strconv.Itoa(value)) }

// dxfPlaces are the decimals of coordinates: a tenth of a nanometer, so that
// radii made of bulges keep nine digits.
const dxfPlaces = 10

func (w *dxfWriter) number(code int, x float64) {
	text := strconv.FormatFloat(x, 'f', dxfPlaces, 64)
	if x == 0 {
		text = "0.0"
	}
	w.group(code, text)
}

func (w *dxfWriter) point(p outline.Point) {
	w.number(10, w.units.Length(p.X))
	w.number(20, w.units.Length(p.Y))
}

func (w *dxfWriter) polyline(s shape) {
	flags := 0
	if s.closed {
		flags = 1
	}
	w.group(0, "POLYLINE")
	w.group(8, s.layer)
	w.integer(66, 1)
	w.number(10, 0)
	w.number(20, 0)
	w.number(30, 0)
	w.integer(70, flags)
	vertex := func(p outline.Point, bulge float64) {
		w.group(0, "VERTEX")
		w.group(8, s.layer)
		w.point(p)
		w.number(30, 0)
		if bulge != 0 {
			w.group(42, strconv.FormatFloat(bulge, 'f', 15, 64))
		}
	}
	for _, g := range s.segments {
		bulge := 0.0
		if g.Kind == outline.Arc {
			bulge = math.Tan(g.Sweep / 4)
		}
		vertex(g.From, bulge)
	}
	if !s.closed && len(s.segments) > 0 {
		vertex(s.segments[len(s.segments)-1].To, 0)
	}
	w.group(0, "SEQEND")
	w.group(8, s.layer)
}

// ascii writes what R12's ASCII does not have in its own way.
func ascii(s string) string {
	var out []byte
	for _, r := range s {
		switch {
		case r < 0x20:
			out = append(out, ' ')
		case r < 0x7f:
			out = append(out, byte(r))
		case r == '°':
			out = append(out, "%%d"...)
		case r == 'Ø':
			out = append(out, "%%c"...)
		case r == '±':
			out = append(out, "%%p"...)
		case r == '×':
			out = append(out, 'x')
		default:
			out = append(out, '?')
		}
	}
	return string(out)
}
