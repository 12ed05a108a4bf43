package packet_test

import (
	"bytes"
	"compress/zlib"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/drawing"
	"hatchwright/service/finding"
	"hatchwright/service/packet"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// order is a request for two hatches of a pattern with hardware.
func order(pattern part.Pattern) part.Request {
	r := part.Request{Given: map[string]bool{"/pattern": true, "/outline/shape": true, "/outline/corner_radius": true, "/quantity": true}}
	r.Pattern, r.Quantity = pattern, 2
	r.Outline = part.Plan{Shape: part.Rectangle, Length: 620, Width: 480, CornerRadius: 80}
	return r
}

func prepare(t testing.TB, r part.Request, u quantity.System) packet.Request {
	t.Helper()
	docs := shop.Example()
	e, err := derivation.New(docs)
	if err != nil {
		t.Fatal(err)
	}
	r.Units = u
	out, err := e.Derive(r, time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	return packet.Request{MixesAt: func(c float64) ([]derivation.Mix, []finding.Finding, error) { return e.Mixes(&out, c) }, Result: &out, Units: u, Date: civil.Date{Year: 2026, Month: 3, Day: 2}, Shop: docs.Profile.Name, Location: e.Location()}
}

// page is a page's content stream, inflated.
func pages(t testing.TB, b []byte) []string {
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
			if s, err := io.ReadAll(z); err == nil && bytes.Contains(s, []byte(" Tj ET")) {
				out = append(out, string(s))
			}
		}
		rest = rest[j+len("\nendstream"):]
	}
}

var shown = regexp.MustCompile(`(?s)Td \((.*?)\) Tj ET`)

// texts are the lines of text of a page: UTF-16 in escaped strings.
func texts(page string) []string {
	var out []string
	for _, m := range shown.FindAllStringSubmatch(page, -1) {
		raw := []byte(strings.NewReplacer(`\\`, `\`, `\(`, `(`, `\)`, `)`, `\r`, "\r").Replace(m[1]))
		var wide []uint16
		for i := 0; i+1 < len(raw); i += 2 {
			wide = append(wide, uint16(raw[i])<<8|uint16(raw[i+1]))
		}
		out = append(out, string(utf16.Decode(wide)))
	}
	return out
}

func TestPacketOfEveryPattern(t *testing.T) {
	for _, pattern := range part.Patterns {
		for _, u := range []quantity.System{quantity.Metric, quantity.Inch} {
			t.Run(string(pattern)+" "+u.String(), func(t *testing.T) {
				req := prepare(t, order(pattern), u)
				b, err := packet.Write(req)
				if err != nil {
					t.Fatal(err)
				}
				again, err := packet.Write(prepare(t, order(pattern), u))
				if err != nil || !bytes.Equal(b, again) {
					t.Error("the same request gave other bytes")
				}
				all := pages(t, b)
				if n := bytes.Count(b, []byte("/Type /Page\n")); n != len(all) {
					t.Errorf("%d pages, %d with text", n, len(all))
				}
				short := req.Result.Digest[len("sha256:"):][:12]
				for i, page := range all {
					lines := texts(page)
					for _, want := range []string{short, "2026-03-02", fmt.Sprintf("%d of %d", i+1, len(all)), "hatchwright"} {
						if !contains(lines, want) {
							t.Errorf("page %d does not bear %q", i+1, want)
						}
					}
				}
				text := strings.Join(texts(strings.Join(all, "\n")), "\n")
				for _, want := range []string{
					req.Result.Digest, "Pelican Reach Composites", "Verdict: Makeable", "Cut list", "Router steps", "Inspection", "Buy list", "Operations",
					"Laminate of the receiver", "Laminate of the lid", "Stage 1 of", "this bar is 100 mm",
				} {
					if !strings.Contains(text, want) {
						t.Errorf("the packet does not say %q", want)
					}
				}
				for _, f := range req.Result.Findings {
					if first := strings.Fields(f.Message(u))[0]; !strings.Contains(text, first) {
						t.Errorf("finding %s is not in it", f.Code)
					}
				}
				// Every radius of every mold is on its build sheet.
				for _, m := range req.Result.Molds {
					for _, f := range m.Fillets {
						if want := "R " + length(f.Radius, u); !strings.Contains(text, want) {
							t.Errorf("mold of the %s: no %q", m.Part, want)
						}
					}
				}
				// Contents: each part on the page it says.
				for title, on := range map[string]string{"Operations": "Operations", "Inspection": "Inspection", "Buy list": "Buy list", "Cut list and sheets": "Cut list"} {
					n := -1
					for _, page := range all { // the cover may run on
						if lines := texts(page); n < 0 && contains(lines, "Contents") {
							n = pageOf(lines, title)
						}
					}
					if n < 1 || n > len(all) || !contains(texts(all[n-1]), on) {
						t.Errorf("contents: %q on page %d, which does not say so", title, n)
					}
				}
				for _, bad := range []string{"NaN", "Inf", "%!", "<nil>"} {
					if strings.Contains(text, bad) {
						t.Errorf("%q in the text", bad)
					}
				}
			})
		}
	}
}

func length(mm float64, u quantity.System) string {
	if u == quantity.Inch {
		return fmt.Sprintf("%.3f in", mm/25.4)
	}
	return strconv.FormatFloat(mm, 'f', -1, 64) + " mm"
}

func contains(lines []string, want string) bool {
	for _, l := range lines {
		if strings.Contains(l, want) {
			return true
		}
	}
	return false
}

// pageOf reads a page number from the contents: the text after the title.
func pageOf(lines []string, title string) int {
	for i, l := range lines {
		if l == title && i+1 < len(lines) {
			n, err := strconv.Atoi(strings.TrimPrefix(lines[i+1], "page "))
			if err == nil {
				return n
			}
		}
	}
	return -1
}

// number is a figure that stands in a text with nothing but figures in it.
var number = regexp.MustCompile(`^[-+±]? ?[0-9]+([.][0-9]+)?$`)

// No figure stands bare: a line of text that is a number alone would be one. Only
// step numbers in the router table's first column are.
func TestNoFigureWithoutAUnit(t *testing.T) {
	req := prepare(t, order(part.FlushLedge), quantity.Metric)
	b, err := packet.Write(req)
	if err != nil {
		t.Fatal(err)
	}
	for i, page := range pages(t, b) {
		lines := texts(page)
		if contains(lines, "Router steps") {
			continue
		}
		for _, l := range lines {
			if number.MatchString(l) {
				t.Errorf("page %d: %q has no unit: %q", i+1, l, lines)
			}
		}
	}
}

// Printed at full size the bar of a template is 100 mm: in the page's points,
// 1/72 in, within the two decimals of the file.
func TestPrintScale(t *testing.T) {
	req := prepare(t, order(part.FlushLedge), quantity.Inch)
	b, err := packet.Write(req)
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, page := range pages(t, b) {
		if !contains(texts(page), "this bar is 100 mm") {
			continue
		}
		found++
		var px, py, best float64
		best = math.Inf(1)
		for _, line := range strings.Split(page, "\n") {
			f := strings.Fields(line)
			if len(f) != 3 || f[2] != "m" && f[2] != "l" {
				continue
			}
			x, _ := strconv.ParseFloat(f[0], 64)
			y, _ := strconv.ParseFloat(f[1], 64)
			if f[2] == "l" && y == py {
				best = math.Min(best, math.Abs(math.Abs(x-px)-100*72/25.4))
			}
			px, py = x, y
		}
		if best > 0.0101 {
			t.Errorf("the bar is off by %g points", best)
		}
	}
	if found == 0 {
		t.Error("no page has a bar")
	}
}

func TestNotMakeable(t *testing.T) {
	if _, err := packet.Write(packet.Request{}); !errors.Is(err, packet.ErrNotMakeable) {
		t.Errorf("nothing to pack: %v", err)
	}
}

func TestAllTemplates(t *testing.T) {
	req := prepare(t, order(part.FlushLedge), quantity.Metric)
	masters, err := packet.Sheets(req)
	if err != nil {
		t.Fatal(err)
	}
	req.AllTemplates = true
	all, err := packet.Sheets(req)
	if err != nil {
		t.Fatal(err)
	}
	if len(all) <= len(masters) {
		t.Errorf("%d pages with all templates, %d with the masters", len(all), len(masters))
	}
}

func ExampleWrite() {
	docs := shop.Example()
	e, err := derivation.New(docs)
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := e.Derive(order(part.FlushLedge), time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))
	if err != nil {
		fmt.Println(err)
		return
	}
	b, err := packet.Write(packet.Request{Result: &r, Date: civil.Date{Year: 2026, Month: 3, Day: 2}, Shop: docs.Profile.Name})
	fmt.Println(string(b[:5]), err)
	// Output: %PDF- <nil>
}

func BenchmarkWrite(b *testing.B) {
	for _, pattern := range []part.Pattern{part.FlushLedge, part.FlushGutter} {
		b.Run(string(pattern), func(b *testing.B) {
			req := prepare(b, order(pattern), quantity.Metric)
			n := 0
			for b.Loop() {
				out, err := packet.Write(req)
				if err != nil {
					b.Fatal(err)
				}
				n = len(out)
			}
			b.ReportMetric(float64(n), "bytes")
		})
	}
}

// The table of mixes has every mix at every temperature from 16 to 30 °C as the
// engine works it out; where a product's table ends it says not to mix, and why.
func TestMixTable(t *testing.T) {
	for _, u := range []quantity.System{quantity.Metric, quantity.Inch} {
		req := prepare(t, order(part.FlushLedge), u)
		cold := finding.Finding{Code: "laminate.too_cold"}.Say("Too cold for it.")
		at := req.MixesAt
		req.MixesAt = func(c float64) ([]derivation.Mix, []finding.Finding, error) {
			if c < 18 {
				return nil, []finding.Finding{cold}, nil
			}
			return at(c)
		}
		b, err := packet.Write(req)
		if err != nil {
			t.Fatal(err)
		}
		text := ""
		for _, page := range pages(t, b) {
			if lines := texts(page); contains(lines, "Mixes by shop temperature") && !contains(lines, "Contents") {
				text += strings.Join(lines, " ") + " "
			}
		}
		if n := strings.Count(text, "do not mix"); n == 0 || !strings.Contains(text, "At 16 °C: Too cold for it.") {
			t.Errorf("%s: %d boxes say not to mix, at 16 °C: %q", u, n, text)
		}
		for c := 18.0; c <= 30; c += 2 {
			mixes, _, err := at(c)
			if err != nil || len(mixes) == 0 {
				t.Fatalf("%g °C: %d mixes, %v", c, len(mixes), err)
			}
			if want := fmt.Sprintf("%g °C", c); !strings.Contains(text, want) {
				t.Errorf("%s: no column of %s", u, want)
			}
			for _, m := range mixes {
				// A box's own lines come one after the other.
				want := fmt.Sprintf("%s %% %s mL %.0f min", quantity.Decimal(m.CatalystPercent, 2), quantity.Decimal(m.CatalystML, 1), m.GelMinutes)
				if m.Mass > 0 && !strings.Contains(text, want) {
					t.Errorf("%s, %g °C: %s stage %d: no %q", u, c, m.Part, m.Stage, want)
				}
			}
		}
	}
	req := prepare(t, order(part.FlushLedge), quantity.Metric)
	broken := errors.New("no such table")
	req.MixesAt = func(float64) ([]derivation.Mix, []finding.Finding, error) { return nil, nil, broken }
	if _, err := packet.Write(req); !errors.Is(err, broken) {
		t.Errorf("a mixer that fails: %v", err)
	}
	req.MixesAt = nil
	b, err := packet.Write(req)
	if err != nil {
		t.Fatal(err)
	}
	for _, page := range pages(t, b) {
		if contains(texts(page), "Mixes by shop temperature") {
			t.Error("a page of mixes without a mixer")
		}
	}
}

// The laminate sheet says when each stage is laid, by the shop's clock, as the plan
// has it: shop time, which is not that of the plan's instants.
func TestLaminateSheetTellsTheTime(t *testing.T) {
	req := prepare(t, order(part.FlushLedge), quantity.Metric)
	b, err := packet.Write(req)
	if err != nil {
		t.Fatal(err)
	}
	sheets := map[string]string{}
	for _, page := range pages(t, b) {
		lines := texts(page)
		for _, side := range []string{"receiver", "lid"} {
			for _, l := range lines {
				if strings.HasPrefix(l, "Laminate of the "+side) {
					sheets[side] += strings.Join(lines, " ")
					break
				}
			}
		}
	}
	told := 0
	for i, s := range req.Result.LeadTime.Steps {
		if s.Piece != 1 || s.Kind != "gelcoat" && s.Kind != "laminate" {
			continue
		}
		p := req.Result.LeadTime.Placements[i]
		at := func(x time.Time) string { return x.In(req.Location).Format("Mon 2 Jan 15:04") }
		want := fmt.Sprintf("Planned from %s to %s, then left alone until %s", at(p.Start), at(p.LaborEnd), at(p.End))
		if !strings.Contains(sheets[s.Part], want) {
			t.Errorf("%s: no %q in %.600s", s.Key, want, sheets[s.Part])
		}
		told++
	}
	if told < 4 {
		t.Errorf("only %d stages", told)
	}
}

// Of a run each operation that is done for every piece is one line with a box for
// each piece, in a few pages; of a few pieces each is a line of its own. Nothing is
// left out, and what is done in one go is marked in both.
func TestOperationsOfARun(t *testing.T) {
	e, err := derivation.New(shop.Example())
	if err != nil {
		t.Fatal(err)
	}
	for _, quantity := range []float64{4, 5, 30, 250} {
		r := part.Request{Given: map[string]bool{"/pattern": true, "/outline/shape": true, "/outline/corner_radius": true, "/quantity": true}}
		r.Pattern, r.Outline = part.FlushLedge, part.Plan{Shape: part.Rectangle, Length: 620, Width: 480, CornerRadius: 80}
		if err := r.SetNumber("/quantity", quantity); err != nil {
			t.Fatal(err)
		}
		out, err := e.Derive(r, time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		sheets, err := packet.Sheets(packet.Request{Result: &out, Date: civil.Date{Year: 2026, Month: 3, Day: 2}})
		if err != nil {
			t.Fatal(err)
		}
		b, err := drawing.WritePDF(sheets, drawing.Info{})
		if err != nil {
			t.Fatal(err)
		}
		var lines []string
		count := 0
		for _, p := range pages(t, b) {
			if l := texts(p); slices.Contains(l, "Operations") && !slices.Contains(l, "Contents") {
				lines = append(lines, l...)
				count++
			}
		}
		said := map[string]int{}
		for _, l := range lines {
			said[strings.TrimSpace(strings.Trim(l, "*° "))]++
		}
		boxes := map[string]int{} // that each piece has to have
		for _, s := range out.LeadTime.Steps {
			name := s.Task
			if s.Piece > 0 && said[s.Key] == 0 {
				boxes[fmt.Sprint(s.Piece)]++
				if said[name] == 0 {
					t.Fatalf("%g pieces: neither %q nor %q is listed", quantity, s.Key, name)
				}
				continue
			}
			if said[s.Key] != 1 {
				t.Errorf("%g pieces: %q is listed %d times", quantity, s.Key, said[s.Key])
			}
		}
		for n, want := range boxes {
			if said[n] < want {
				t.Errorf("%g pieces: %d boxes for piece %s, want %d", quantity, said[n], n, want)
			}
		}
		gelcoat := "receiver gelcoat °"
		if quantity <= 4 {
			gelcoat = "receiver 4 gelcoat °"
		}
		if !slices.ContainsFunc(lines, func(l string) bool { return strings.HasSuffix(l, gelcoat) }) {
			t.Errorf("%g pieces: no %q", quantity, gelcoat)
		}
		if (len(boxes) > 0) != (quantity > 4) || quantity == 30 && count > 5 {
			t.Errorf("%g pieces: %d with boxes, on %d pages", quantity, len(boxes), count)
		}
		for i := range sheets {
			for _, fault := range drawing.Faults(&sheets[i]) {
				t.Errorf("%g pieces, page %d: %s", quantity, i+1, fault)
			}
		}
	}
}

// The cover writes every day in one form: the day of the week, day, month and year.
// The working day of the end is said where the end is on another day.
func TestCoverWritesDaysInOneForm(t *testing.T) {
	e, err := derivation.New(shop.Example())
	if err != nil {
		t.Fatal(err)
	}
	out, err := e.Derive(order(part.FlushLedge), time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	date := civil.Date{Year: 2026, Month: 3, Day: 2}
	req := packet.Request{Result: &out, Date: date, Location: e.Location(), Plan: &packet.Plan{Order: "PO-1", Promise: "2026-03-20", AsOf: out.LeadTime.Start}}
	for _, moved := range []int{0, 1} {
		out.LeadTime.FinishDay = civil.DateOf(out.LeadTime.Finish, e.Location()).AddDays(moved)
		b, err := packet.Write(req)
		if err != nil {
			t.Fatal(err)
		}
		cover := strings.Join(texts(pages(t, b)[0]), " ")
		if n := strings.Count(cover, "working day"); n != moved {
			t.Errorf("the working day is said %d times, want %d", n, moved)
		}
		end := out.LeadTime.Finish.In(e.Location())
		for _, want := range []string{end.Format("Mon 2 Jan 2006 15:04"), "Fri 20 Mar 2026", end.AddDate(0, 0, moved).Format("Mon 2 Jan 2006")} {
			if !strings.Contains(cover, want) {
				t.Errorf("the cover does not say %q", want)
			}
		}
		iso := regexp.MustCompile(`\d{4}-\d{2}-\d{2}`).FindAllString(cover, -1)
		if len(iso) != 1 || iso[0] != date.String() {
			t.Errorf("days of another form than the title block's: %q", iso)
		}
	}
}
