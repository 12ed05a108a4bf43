package drawing

import (
	"bytes"
	"compress/zlib"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"hatchwright/service/civil"
	"hatchwright/service/quantity"
)

// streams returns the content streams of a PDF, inflated.
func streams(t *testing.T, b []byte) []string {
	t.Helper()
	var out []string
	for rest := b; ; {
		i := bytes.Index(rest, []byte("stream\n"))
		if i < 0 {
			return out
		}
		rest = rest[i+len("stream\n"):]
		j := bytes.Index(rest, []byte("\nendstream"))
		if j < 0 {
			t.Fatal("a stream has no end")
		}
		if z, err := zlib.NewReader(bytes.NewReader(rest[:j])); err == nil {
			if text, err := io.ReadAll(z); err == nil {
				out = append(out, string(text))
			}
		}
		rest = rest[j+len("\nendstream"):]
	}
}

// levels returns the lengths, in points, of level lines "x y m x y l" of a page.
func levels(page string) []float64 {
	var out []float64
	var px, py float64
	for _, line := range strings.Split(page, "\n") {
		f := strings.Fields(line)
		if len(f) != 3 || f[2] != "m" && f[2] != "l" {
			continue
		}
		x, err1 := strconv.ParseFloat(f[0], 64)
		y, err2 := strconv.ParseFloat(f[1], 64)
		if err1 != nil || err2 != nil {
			continue
		}
		if f[2] == "l" && y == py {
			out = append(out, math.Abs(x-px))
		}
		px, py = x, y
	}
	return out
}

// The bar of 100 mm on a template is 100 mm of the page: 283.46 points of 1/72 in,
// within what the file's two decimals keep.
func TestScaleBarMeasuresInPDF(t *testing.T) {
	for _, u := range []quantity.System{quantity.Metric, quantity.Inch} {
		req := request(t, scenes[0].request, u)
		for _, name := range Names(req.Result) {
			if !strings.HasPrefix(name, "template-") {
				continue
			}
			d, err := Draw(name, req)
			if err != nil {
				t.Fatal(err)
			}
			b, err := d.PDF()
			if err != nil {
				t.Fatal(err)
			}
			pages := 0
			for _, page := range streams(t, b) {
				found := false
				for _, l := range levels(page) {
					found = found || math.Abs(l-100*72/25.4) <= 0.0101
				}
				if found {
					pages++
				}
			}
			if pages != len(d.Sheets) {
				t.Errorf("%s: the bar measures 100 mm on %d of %d pages", name, pages, len(d.Sheets))
			}
			media := "/MediaBox [0 0 841.89 595.28]" // A4 lying, in points
			if u == quantity.Inch {
				media = "/MediaBox [0 0 792.00 612.00]" // Letter lying
			}
			// A page without a box of its own has the document's.
			if n, all := bytes.Count(b, []byte(media)), bytes.Count(b, []byte("/MediaBox")); n == 0 || n != all {
				t.Errorf("%s: %d of %d page sizes are %s", name, n, all, media)
			}
		}
	}
}

// Text is text: fonts are embedded and say what their glyphs mean.
func TestPDFTextIsSearchable(t *testing.T) {
	d, err := Draw("plan", request(t, scenes[0].request, quantity.Metric))
	if err != nil {
		t.Fatal(err)
	}
	b, err := d.PDF()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"/FontFile2", "/ToUnicode", "/Identity-H"} {
		if !bytes.Contains(b, []byte(want)) {
			t.Errorf("no %s", want)
		}
	}
	page := strings.Join(streams(t, b), "")
	// fpdf writes UTF-16 big endian; the digest is ASCII.
	var wide strings.Builder
	for _, r := range ShortDigest(d.digest) {
		wide.WriteByte(0)
		wide.WriteRune(r)
	}
	if !strings.Contains(page, wide.String()) {
		t.Error("the digest is not among the page's text")
	}
}

// TestPDFOfAnyText: names and references are whatever people write. None may keep a
// sheet from being written, in any of the formats.
func TestPDFOfAnyText(t *testing.T) {
	for _, text := range []string{"\U0001f6a4", "a \U0001f6a4 b", "\U0010ffff", "\uffff", "\ufffd", "\u202e2026", "u\u0308", "\u65e5\u672c", "\xff\xfe", "a\x00b", "\xf0\x9f", "(", "\\", ""} {
		for _, upward := range []bool{false, true} {
			t.Run(text, func(t *testing.T) {
				s := Sheet{Paper: A4}
				for _, face := range []Face{Regular, Bold} {
					s.items = append(s.items, item{label: &Label{At: Point{50, 50}, Text: text, Face: face, Size: 4, Upward: upward}})
				}
				out, err := WritePDF([]Sheet{s}, Info{Title: text, Subject: text, Date: civil.Date{Year: 2026, Month: 11, Day: 30}})
				if err != nil {
					t.Fatal(err)
				}
				if !bytes.HasPrefix(out, []byte("%PDF-")) {
					t.Errorf("it begins with %.10q", out)
				}
			})
		}
	}
}
