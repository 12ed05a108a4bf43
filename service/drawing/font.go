package drawing

import (
	"fmt"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Face is one of the two faces of the Go fonts, which the module carries.
type Face uint8

// The faces.
const (
	Regular Face = iota
	Bold
)

// unitsPerEm of the Go fonts; glyphs are loaded at this size so that their
// coordinates are whole font units.
const unitsPerEm = 2048

// capHeight and descent of the Go fonts, in ems: what a line of text takes above
// and below its base line, for layout.
const (
	capHeight = 0.72
	descent   = 0.21
)

type glyph struct {
	segments sfnt.Segments
	advance  float64 // em
}

// typeface is a parsed face and the glyphs met so far.
type typeface struct {
	ttf    []byte
	once   sync.Once
	font   *sfnt.Font
	err    error
	mu     sync.Mutex
	buffer sfnt.Buffer
	glyphs map[rune]glyph
}

var faces = [...]*typeface{{ttf: goregular.TTF}, {ttf: gobold.TTF}}

// glyph returns the outline of r and its advance. A rune that the face lacks is
// drawn as the face's empty box.
func (t *typeface) glyph(r rune) (glyph, error) {
	t.once.Do(func() {
		t.font, t.err = sfnt.Parse(t.ttf)
		t.glyphs = map[rune]glyph{}
	})
	if t.err != nil {
		return glyph{}, fmt.Errorf("embedded font: %w", t.err)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if g, ok := t.glyphs[r]; ok {
		return g, nil
	}
	i, err := t.font.GlyphIndex(&t.buffer, r)
	if err != nil {
		return glyph{}, fmt.Errorf("embedded font: glyph of %q: %w", r, err)
	}
	em := fixed.I(unitsPerEm)
	segments, err := t.font.LoadGlyph(&t.buffer, i, em, nil)
	if err != nil {
		return glyph{}, fmt.Errorf("embedded font: outline of %q: %w", r, err)
	}
	advance, err := t.font.GlyphAdvance(&t.buffer, i, em, font.HintingNone)
	if err != nil {
		return glyph{}, fmt.Errorf("embedded font: advance of %q: %w", r, err)
	}
	g := glyph{append(sfnt.Segments(nil), segments...), float64(advance) / 64 / unitsPerEm}
	t.glyphs[r] = g
	return g, nil
}

// Measure returns the width of a line of text set in an em of size mm, mm.
// Letters are set without kerning, as the PDF and PNG renderers set them.
func Measure(text string, face Face, size float64) float64 {
	w := 0.0
	for _, r := range text {
		if g, err := faces[face].glyph(r); err == nil {
			w += g.advance
		}
	}
	return w * size
}
