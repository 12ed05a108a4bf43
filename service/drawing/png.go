package drawing

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"math"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/vector"
)

// ResolutionError says that a picture was asked for at a resolution that is not
// made.
type ResolutionError struct{ DPI float64 }

func (e *ResolutionError) Error() string {
	return fmt.Sprintf("drawing: %g dpi is out of range: ask for %g to %g", e.DPI, LeastDPI, MostDPI)
}

// The resolutions made. At the most an A4 sheet is 35 million gray pixels.
const (
	LeastDPI   = 36.0
	MostDPI    = 600.0
	DefaultDPI = 150.0
)

// png renders one sheet in gray.
func (s *Sheet) png(dpi float64) ([]byte, error) {
	if !(dpi >= LeastDPI && dpi <= MostDPI) {
		return nil, &ResolutionError{dpi}
	}
	c := canvas{scale: dpi / 25.4}
	w, h := int(math.Ceil(s.Paper.Width*c.scale)), int(math.Ceil(s.Paper.Height*c.scale))
	c.img = image.NewGray(image.Rect(0, 0, w, h))
	draw.Draw(c.img, c.img.Bounds(), image.White, image.Point{}, draw.Src)
	for _, it := range s.items {
		if it.label != nil {
			if err := c.label(*it.label); err != nil {
				return nil, err
			}
			continue
		}
		c.item(it)
	}
	var out bytes.Buffer
	e := png.Encoder{CompressionLevel: png.DefaultCompression}
	if err := e.Encode(&out, c.img); err != nil {
		return nil, fmt.Errorf("drawing: encode PNG: %w", err)
	}
	return out.Bytes(), nil
}

// canvas is a picture being filled; scale is pixels per mm.
type canvas struct {
	img   *image.Gray
	scale float64
	r     vector.Rasterizer
	cover []uint8 // of the box being filled
}

// blend lays a tone over the box by what the rasterizer's path covers of each
// pixel.
func (c *canvas) blend(box image.Rectangle, tone uint8) {
	w, h := box.Dx(), box.Dy()
	if len(c.cover) < w*h {
		c.cover = make([]uint8, w*h)
	}
	mask := image.Alpha{Pix: c.cover[:w*h], Stride: w, Rect: image.Rect(0, 0, w, h)}
	c.r.DrawOp = draw.Src
	c.r.Draw(&mask, mask.Rect, image.Opaque, image.Point{})
	for y := range h {
		row := c.img.Pix[c.img.PixOffset(box.Min.X, box.Min.Y+y):][:w]
		for x, a := range mask.Pix[y*w : (y+1)*w] {
			switch a {
			case 0:
			case 255:
				row[x] = tone
			default:
				row[x] = uint8((uint32(row[x])*(255-uint32(a)) + uint32(tone)*uint32(a) + 127) / 255)
			}
		}
	}
}

// fill fills closed polygons, all turning the same way where they overlap, with a
// tone. Only the pixels that they touch are visited.
func (c *canvas) fill(polygons [][]Point, tone uint8) {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, poly := range polygons {
		for _, p := range poly {
			x0, y0 = math.Min(x0, p.X), math.Min(y0, p.Y)
			x1, y1 = math.Max(x1, p.X), math.Max(y1, p.Y)
		}
	}
	box := image.Rect(int(math.Floor(x0)), int(math.Floor(y0)), int(math.Ceil(x1))+1, int(math.Ceil(y1))+1).Intersect(c.img.Bounds())
	if box.Empty() {
		return
	}
	c.r.Reset(box.Dx(), box.Dy())
	ox, oy := float64(box.Min.X), float64(box.Min.Y)
	for _, poly := range polygons {
		for i, p := range poly {
			x, y := float32(p.X-ox), float32(p.Y-oy)
			if i == 0 {
				c.r.MoveTo(x, y)
			} else {
				c.r.LineTo(x, y)
			}
		}
		c.r.ClosePath()
	}
	c.blend(box, tone)
}

func (c *canvas) pixels(run []Point) []Point {
	out := make([]Point, len(run))
	for i, p := range run {
		out[i] = p.times(c.scale)
	}
	return out
}

func (c *canvas) item(it item) {
	runs, closed := it.path.runs(flat)
	if it.fill != NoFill {
		polygons := make([][]Point, len(runs))
		for i, run := range runs {
			polygons[i] = c.pixels(run)
			// Runs alternate in turn, so that a run within another is a hole.
			if (twiceArea(polygons[i]) < 0) == (i%2 == 0) {
				reverse(polygons[i])
			}
		}
		c.fill(polygons, uint8(it.fill))
	}
	if it.stroke.Width <= 0 {
		return
	}
	half := math.Max(it.stroke.Width*c.scale, leastPixels) / 2
	dashes := it.stroke.Type.pattern()
	for i, run := range runs {
		line := c.pixels(run)
		if closed[i] {
			line = append(line, line[0])
		}
		if dashes == nil {
			c.stroke(line, half)
			continue
		}
		for _, dash := range cutDashes(line, dashes, c.scale) {
			c.stroke(dash, half)
		}
	}
}

// leastPixels keeps hair lines from fading at low resolutions.
const leastPixels = 0.9

func twiceArea(p []Point) float64 {
	a := 0.0
	for i := range p {
		q := p[(i+1)%len(p)]
		a += p[i].X*q.Y - p[i].Y*q.X
	}
	return a
}

func reverse(p []Point) {
	for i, j := 0, len(p)-1; i < j; i, j = i+1, j-1 {
		p[i], p[j] = p[j], p[i]
	}
}

// stroke fills the line widened to 2 half: a quad for each piece and a round
// joint at each bend, all turning the same way so that the rasterizer's winding
// covers what overlaps once. Pieces are filled in short batches, which keeps the
// boxes visited small.
func (c *canvas) stroke(line []Point, half float64) {
	const batch = 12
	var polygons [][]Point
	for i := 0; i+1 < len(line); i++ {
		v := line[i+1].sub(line[i])
		l := v.norm()
		if l == 0 {
			continue
		}
		n := Point{-v.Y / l * half, v.X / l * half}
		polygons = append(polygons, []Point{line[i].sub(n), line[i+1].sub(n), line[i+1].add(n), line[i].add(n)})
		if i+2 < len(line) && half > 0.6 {
			polygons = append(polygons, disc(line[i+1], half))
		}
		if len(polygons) >= batch {
			c.fill(polygons, 0)
			polygons = polygons[:0]
		}
	}
	if len(polygons) > 0 {
		c.fill(polygons, 0)
	}
}

func disc(at Point, radius float64) []Point {
	const n = 10
	out := make([]Point, n)
	for k := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / n)
		out[k] = Point{at.X + radius*cos, at.Y + radius*sin}
	}
	return out
}

// cutDashes cuts the line by the pattern, mm, at scale pixels per mm.
func cutDashes(line []Point, pattern []float64, scale float64) [][]Point {
	var out [][]Point
	k, left := 0, pattern[0]*scale
	dash := []Point{line[0]}
	for i := 0; i+1 < len(line); i++ {
		a, b := line[i], line[i+1]
		l := b.sub(a).norm()
		for at := 0.0; l > at; {
			if rest := l - at; rest < left {
				left -= rest
				if k%2 == 0 {
					dash = append(dash, b)
				}
				break
			}
			at += left
			p := a.toward(b.sub(a), at/l)
			if k%2 == 0 {
				out = append(out, append(dash, p))
			}
			dash = []Point{p}
			k = (k + 1) % len(pattern)
			left = pattern[k] * scale
		}
	}
	if k%2 == 0 && len(dash) > 1 {
		out = append(out, dash)
	}
	return out
}

// label fills the glyphs' outlines.
func (c *canvas) label(l Label) error {
	k := l.Size * c.scale / unitsPerEm
	pen := 0.0
	switch l.Anchor {
	case Left:
	case Middle:
		pen = -Measure(l.Text, l.Face, l.Size) / 2
	case Right:
		pen = -Measure(l.Text, l.Face, l.Size)
	}
	for _, r := range l.Text {
		g, err := faces[l.Face].glyph(r)
		if err != nil {
			return err
		}
		c.glyph(g, func(x, y float64) Point {
			x, y = pen*c.scale+x*k, y*k
			if l.Upward {
				x, y = y, -x
			}
			return Point{l.At.X*c.scale + x, l.At.Y*c.scale + y}
		})
		pen += g.advance * l.Size
	}
	return nil
}

func (c *canvas) glyph(g glyph, at func(x, y float64) Point) {
	if len(g.segments) == 0 {
		return
	}
	unit := func(i int, s sfnt.Segment) (float64, float64) {
		return float64(s.Args[i].X) / 64, float64(s.Args[i].Y) / 64
	}
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	counts := [...]int{sfnt.SegmentOpMoveTo: 1, sfnt.SegmentOpLineTo: 1, sfnt.SegmentOpQuadTo: 2, sfnt.SegmentOpCubeTo: 3}
	for _, s := range g.segments {
		for i := range counts[s.Op] {
			p := at(unit(i, s))
			x0, y0 = math.Min(x0, p.X), math.Min(y0, p.Y)
			x1, y1 = math.Max(x1, p.X), math.Max(y1, p.Y)
		}
	}
	box := image.Rect(int(math.Floor(x0)), int(math.Floor(y0)), int(math.Ceil(x1))+1, int(math.Ceil(y1))+1).Intersect(c.img.Bounds())
	if box.Empty() {
		return
	}
	c.r.Reset(box.Dx(), box.Dy())
	p := func(i int, s sfnt.Segment) (float32, float32) {
		q := at(unit(i, s))
		return float32(q.X - float64(box.Min.X)), float32(q.Y - float64(box.Min.Y))
	}
	for _, s := range g.segments {
		ax, ay := p(0, s)
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			c.r.ClosePath()
			c.r.MoveTo(ax, ay)
		case sfnt.SegmentOpLineTo:
			c.r.LineTo(ax, ay)
		case sfnt.SegmentOpQuadTo:
			bx, by := p(1, s)
			c.r.QuadTo(ax, ay, bx, by)
		case sfnt.SegmentOpCubeTo:
			bx, by := p(1, s)
			dx, dy := p(2, s)
			c.r.CubeTo(ax, ay, bx, by, dx, dy)
		}
	}
	c.r.ClosePath()
	c.blend(box, 0)
}
