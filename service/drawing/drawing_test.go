package drawing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"hatchwright/service/derivation"
	"hatchwright/service/outline"
	"hatchwright/service/quantity"
)

// each draws every drawing of every scene in both systems.
func each(t *testing.T, do func(t *testing.T, req Request, d Drawing)) {
	for _, sc := range scenes {
		for _, u := range []quantity.System{quantity.Metric, quantity.Inch} {
			req := request(t, sc.request, u)
			for _, name := range Names(req.Result) {
				t.Run(sc.name+"/"+u.String()+"/"+name, func(t *testing.T) {
					d, err := Draw(name, req)
					if err != nil {
						t.Fatal(err)
					}
					if len(d.Sheets) == 0 {
						t.Fatal("no sheet")
					}
					do(t, req, d)
				})
			}
		}
	}
}

// No label may overlap another, nor leave the frame, nor stand on the title
// block's lines; and no line may leave the paper.
func TestNothingOverlapsOrIsCutOff(t *testing.T) {
	each(t, func(t *testing.T, req Request, d Drawing) {
		for n := range d.Sheets {
			for _, fault := range Faults(&d.Sheets[n]) {
				t.Errorf("sheet %d: %s", n+1, fault)
			}
		}
	})
}

// The check itself must see an overlap, a label that is cut off, and a line through
// a label, drawn after it or under one that does not lie clear.
func TestFaultsAreSeen(t *testing.T) {
	s := Sheet{Paper: A4}
	s.Text(50, 50, "first words", Plain, Regular)
	s.Text(52, 50.5, "second words", Plain, Regular)
	s.Text(280, 50, "runs off the sheet", Plain, Regular)
	s.Ink(Polyline(Point{50, 60}, Point{500, 60}), Thin, Solid)
	s.Ink(Polyline(Point{50, 79}, Point{90, 79}), Thin, Solid)
	s.Text(52, 80, "on a line", Plain, Regular)
	s.Put(Label{At: Point{70, 80}, Text: "clear of the line", Size: Plain, Clear: true})
	s.Put(Label{At: Point{52, 100}, Text: "struck through", Size: Plain, Clear: true})
	s.Ink(Polyline(Point{50, 99}, Point{60, 99}), Thin, Solid)
	if got := Faults(&s); len(got) != 5 {
		t.Errorf("want five faults, got %q", got)
	}
}

// The texts of a section's dimensions interrupt no line but their own, in any
// pattern and either system of units.
func TestDimensionsStandFree(t *testing.T) {
	seen := 0
	for _, sc := range scenes {
		for _, u := range []quantity.System{quantity.Metric, quantity.Inch} {
			req := request(t, sc.request, u)
			for _, p := range pictures(req) {
				if p.name != "section" && p.name != "fit" {
					continue
				}
				d, err := p.draw(req)
				if err != nil {
					t.Fatal(err)
				}
				s := &d.Sheets[0]
				waiting := s.waiting
				s.settle()
				for i, w := range waiting {
					seen++
					at := len(s.items) - 1 - 2*(len(waiting)-1-i) // each is its white and itself
					l := s.items[at].label
					if l == nil || l.Text != w.text {
						t.Fatalf("%s %s: %q is not where it was put", sc.name, u, w.text)
					}
					rest := Sheet{Paper: s.Paper, items: append(slices.Clone(s.items[:at-1]), s.items[at+1:]...)}
					if n := rest.struck(*l, rest.straights(), w.own); n > 0 {
						t.Errorf("%s %s %s: %q at %.1f, %.1f lies over %d lines", sc.name, u, p.name, w.text, l.At.X, l.At.Y, n)
					}
				}
			}
		}
	}
	if seen < 100 {
		t.Errorf("only %d dimensions were looked at", seen)
	}
}

// Every sheet says what it is, of which configuration, in which units, at which
// scale, when, and its number.
func TestTitleBlocks(t *testing.T) {
	each(t, func(t *testing.T, req Request, d Drawing) {
		for i := range d.Sheets {
			var all []string
			for _, it := range d.Sheets[i].items {
				if it.label != nil {
					all = append(all, it.label.Text)
				}
			}
			text := strings.Join(all, "\n")
			for _, want := range []string{"hatchwright", ShortDigest(req.Result.Digest), "2026-03-02", fmt.Sprintf("%d of %d", i+1, len(d.Sheets)), strings.Fields(unitsName(req.Units))[0]} {
				if !strings.Contains(text, want) {
					t.Errorf("sheet %d does not say %q", i+1, want)
				}
			}
		}
	})
}

// The same request gives the same bytes in every format, SVG is well-formed with
// its text as text, and PNG has the size asked for.
func TestFormats(t *testing.T) {
	for _, i := range []int{0, 2, 5, 9, 10, 11} {
		sc := scenes[i]
		a, b := request(t, sc.request, quantity.Metric), request(t, sc.request, quantity.Metric)
		for _, name := range Names(a.Result) {
			if strings.HasPrefix(name, "template") && name != "router" && i != 0 {
				continue // the first scene has them all
			}
			p, err := Draw(name, a)
			if err != nil {
				t.Fatal(err)
			}
			q, err := Draw(name, b)
			if err != nil {
				t.Fatal(err)
			}
			for format, write := range map[Format]func(Drawing) ([]byte, error){
				SVG: Drawing.SVG, PDF: Drawing.PDF, DXF: Drawing.DXF,
				PNG: func(d Drawing) ([]byte, error) { return d.PNG(72) },
			} {
				x, err := write(p)
				if errors.Is(err, ErrNoFormat) && format == DXF {
					continue
				}
				if err != nil {
					t.Errorf("%s %s %s: %v", sc.name, name, format, err)
					continue
				}
				y, err := write(q)
				if err != nil || !bytes.Equal(x, y) {
					t.Errorf("%s %s: %s differs from run to run", sc.name, name, format)
				}
				switch format {
				case SVG:
					wellFormed(t, x)
					if !bytes.Contains(x, []byte(">"+ShortDigest(a.Result.Digest)+"</text>")) {
						t.Errorf("%s %s: the digest is not text in the SVG", sc.name, name)
					}
				case PNG:
					img, err := png.Decode(bytes.NewReader(x))
					if err != nil {
						t.Fatal(err)
					}
					if w, want := img.Bounds().Dx(), int(math.Ceil(p.Sheets[0].Paper.Width*72/25.4)); w != want {
						t.Errorf("%s: %d pixels wide, want %d", name, w, want)
					}
				default: // the others have readers of their own in their tests
				}
			}
		}
	}
}

func wellFormed(t *testing.T, b []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(b))
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("SVG: %v", err)
		}
	}
}

func TestRefusals(t *testing.T) {
	req := request(t, scenes[0].request, quantity.Metric)
	if _, err := Draw("hinge", req); !errors.Is(err, ErrUnknownDrawing) {
		t.Errorf("unknown name: %v", err)
	}
	if _, err := Draw("plan", Request{}); !errors.Is(err, ErrNotDrawable) {
		t.Errorf("no result: %v", err)
	}
	if Names(nil) != nil || Names(&derivation.Result{Ruling: derivation.Ruling{Verdict: "not_makeable"}}) != nil {
		t.Error("names of what cannot be made")
	}
	d, err := Draw("plan", req)
	if err != nil {
		t.Fatal(err)
	}
	var res *ResolutionError
	for _, dpi := range []float64{-1, 10, 5000, math.NaN()} {
		if _, err := d.PNG(dpi); !errors.As(err, &res) {
			t.Errorf("%g dpi: %v", dpi, err)
		}
	}
	if _, err := d.SheetSVG(7); !errors.Is(err, ErrNoFormat) {
		t.Errorf("sheet 8 of 1: %v", err)
	}
	if d, err = Draw("router", req); err != nil {
		t.Fatal(err)
	}
	if _, err := d.DXF(); !errors.Is(err, ErrNoFormat) {
		t.Errorf("a table as DXF: %v", err)
	}
	huge, err := outline.Rectangle(90000, 90000, 0)
	if err != nil {
		t.Fatal(err)
	}
	var many *TooManyTilesError
	if _, err := template(req, Template{Name: "huge", Outline: huge}); !errors.As(err, &many) {
		t.Errorf("a template of 90 m: %v", err)
	}
}

// Lengths in inches against the table of decimal equivalents of an inch that hangs
// in every shop (1/32 = 0.03125, 15/32 = 0.46875, ...).
func TestLength(t *testing.T) {
	for _, c := range []struct {
		mm   float64
		u    quantity.System
		want string
	}{
		{520, quantity.Metric, "520 mm"}, {3.2, quantity.Metric, "3.2 mm"}, {0.850738, quantity.Metric, "0.85 mm"},
		{20.46875 * 25.4, quantity.Inch, "20.469 in (20 15/32)"}, {20.472 * 25.4, quantity.Inch, "20.472 in (20 15/32)"},
		{25.4, quantity.Inch, "1.000 in"}, {12.7, quantity.Inch, "0.500 in (1/2)"}, {0.3, quantity.Inch, "0.012 in"},
		{25.4 * 31.999, quantity.Inch, "31.999 in"}, {-6.35, quantity.Inch, "-0.250 in (-1/4)"}, {25.4 / 32, quantity.Inch, "0.031 in (1/32)"},
	} {
		if got := Length(c.mm, c.u); got != c.want {
			t.Errorf("%g: %q, want %q", c.mm, got, c.want)
		}
	}
}

func TestScales(t *testing.T) {
	for _, c := range []struct {
		w, h float64
		want string
	}{{620, 480, "1:5"}, {100, 50, "1:1"}, {40, 30, "2:1"}, {1e7, 1, "1:100"}, {10, 10, "2:1"}} {
		if got := FitScale(c.w, c.h, 150, 110, 2); got.String() != c.want {
			t.Errorf("%g by %g: %s, want %s", c.w, c.h, got, c.want)
		}
	}
}

// A clipped outline must keep its whole length over the tiles that part it: what
// is drawn of a template is all of it, once.
func TestTilesShowTheWholeCurve(t *testing.T) {
	for _, o := range []func() (outline.Outline, error){
		func() (outline.Outline, error) { return outline.Circle(533) },
		func() (outline.Outline, error) { return outline.Rectangle(612, 433, 51) },
		func() (outline.Outline, error) { return outline.Dee(700, 500, 0) },
	} {
		curve, err := o()
		if err != nil {
			t.Fatal(err)
		}
		v := View{Point{400, 300}, 1, true}
		full := v.Outline(curve)
		total := 0.0
		for x := 0.0; x < 800; x += 130 {
			for y := 0.0; y < 700; y += 97 {
				total += inkLength(clip(full, [4]float64{x, y, x + 130, y + 97}))
			}
		}
		if math.Abs(total-curve.Perimeter()) > 1e-6 {
			t.Errorf("%.9f mm over the tiles, %.9f mm round", total, curve.Perimeter())
		}
	}
}

func inkLength(p Path) float64 {
	l := 0.0
	var at, start Point
	for _, s := range p.steps {
		switch s.verb {
		case moveTo:
			start = s.to
		case lineTo:
			l += s.to.sub(at).norm()
		case arcTo:
			l += s.radius * math.Abs(s.sweep)
		case closePath:
			l += start.sub(at).norm()
			at = start
			continue
		}
		at = s.to
	}
	return l
}

// Hatching covers a region with lines the distance apart: their length times the
// distance is the area, within the lines at its edge.
func TestHatchCoversTheArea(t *testing.T) {
	s := Sheet{Paper: A4}
	p := Rect(50, 50, 80, 60)
	s.Hatch(p, 37, 0.5, Hair)
	if got := inkLength(s.items[0].path) * 0.5; math.Abs(got-4800) > 4800*0.01 {
		t.Errorf("%g mm2 hatched of 4800", got)
	}
}

func ExampleLength() {
	fmt.Println(Length(520, quantity.Metric))
	fmt.Println(Length(520, quantity.Inch))
	// Output:
	// 520 mm
	// 20.472 in (20 15/32)
}

func BenchmarkDraw(b *testing.B) {
	req := request(b, scenes[0].request, quantity.Metric)
	for _, name := range []string{"plan", "section", "exploded"} {
		d, err := Draw(name, req)
		if err != nil {
			b.Fatal(err)
		}
		for format, write := range map[Format]func() ([]byte, error){
			"model": func() ([]byte, error) { _, err := Draw(name, req); return nil, err },
			SVG:     d.SVG, PDF: d.PDF, PNG: func() ([]byte, error) { return d.PNG(150) },
		} {
			b.Run(name+"/"+string(format), func(b *testing.B) {
				n := 0
				for b.Loop() {
					out, err := write()
					if err != nil {
						b.Fatal(err)
					}
					n = len(out)
				}
				b.ReportMetric(float64(n), "bytes")
			})
		}
	}
}
