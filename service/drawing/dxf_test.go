package drawing

import (
	"bufio"
	"bytes"
	"math"
	"strconv"
	"strings"
	"testing"

	"hatchwright/service/outline"
	"hatchwright/service/quantity"
)

// polyline is one read back.
type polyline struct {
	layer  string
	closed bool
	at     []outline.Point
	bulge  []float64
}

// readDXF reads the pairs of an ASCII DXF file: header variables, layers and
// POLYLINEs. It knows nothing of the writer but the format.
func readDXF(t *testing.T, b []byte) (header map[string]string, layers map[string]bool, lines []polyline, texts []string) {
	t.Helper()
	type pair struct {
		code  int
		value string
	}
	var pairs []pair
	sc := bufio.NewScanner(bytes.NewReader(b))
	for sc.Scan() {
		code, err := strconv.Atoi(strings.TrimSpace(sc.Text()))
		if err != nil {
			t.Fatalf("group code %q", sc.Text())
		}
		if !sc.Scan() {
			t.Fatal("a group has no value")
		}
		pairs = append(pairs, pair{code, sc.Text()})
	}
	if n := len(pairs); n == 0 || pairs[n-1] != (pair{0, "EOF"}) {
		t.Fatal("no EOF")
	}
	header, layers = map[string]string{}, map[string]bool{}
	entity, variable := "", ""
	depth := 0
	for _, p := range pairs {
		num := func() float64 {
			x, err := strconv.ParseFloat(strings.TrimSpace(p.value), 64)
			if err != nil {
				t.Fatalf("number %q", p.value)
			}
			return x
		}
		if p.code == 0 {
			entity, variable = p.value, ""
			switch p.value {
			case "SECTION":
				depth++
			case "ENDSEC":
				depth--
			case "POLYLINE":
				lines = append(lines, polyline{})
			case "VERTEX":
				l := &lines[len(lines)-1]
				l.at, l.bulge = append(l.at, outline.Point{}), append(l.bulge, 0)
			}
			continue
		}
		switch {
		case p.code == 9:
			variable = p.value
		case variable != "":
			if header[variable] == "" {
				header[variable] = strings.TrimSpace(p.value)
			}
		case entity == "LAYER" && p.code == 2:
			layers[p.value] = true
		case entity == "TEXT" && p.code == 1:
			texts = append(texts, p.value)
		case entity == "POLYLINE" && p.code == 8:
			lines[len(lines)-1].layer = p.value
		case entity == "POLYLINE" && p.code == 70:
			lines[len(lines)-1].closed = int(num())&1 == 1
		case entity == "VERTEX":
			l := &lines[len(lines)-1]
			i := len(l.at) - 1
			switch p.code {
			case 10:
				l.at[i].X = num()
			case 20:
				l.at[i].Y = num()
			case 42:
				l.bulge[i] = num()
			}
		}
	}
	if depth != 0 {
		t.Fatal("a section is not ended")
	}
	return header, layers, lines, texts
}

// measure works out length and area of a polyline with bulges: with b = tan(a/4),
// the arc over a chord c has radius r = c (1 + b^2) / (4 |b|), length r |a| and
// the segment beside its chord r^2 (a - sin a) / 2.
func (l polyline) measure() (length, area float64) {
	for i, p := range l.at {
		if i == len(l.at)-1 && !l.closed {
			break
		}
		q := l.at[(i+1)%len(l.at)]
		c := math.Hypot(q.X-p.X, q.Y-p.Y)
		area += (p.X*q.Y - q.X*p.Y) / 2
		b := l.bulge[i]
		if b == 0 {
			length += c
			continue
		}
		a := 4 * math.Atan(b)
		r := c * (1 + b*b) / (4 * math.Abs(b))
		length += r * math.Abs(a)
		area += r * r * (a - math.Sin(a)) / 2
	}
	return length, area
}

// What is read back from the plan's DXF is every outline, whole and exact, on its
// own layer, in the units that the header says.
func TestDXFReadsBack(t *testing.T) {
	for _, sc := range scenes {
		for u, code := range map[quantity.System]string{quantity.Metric: "4", quantity.Inch: "1"} {
			req := request(t, sc.request, u)
			d, err := Draw("plan", req)
			if err != nil {
				t.Fatal(err)
			}
			b, err := d.DXF()
			if err != nil {
				t.Fatal(err)
			}
			header, layers, lines, texts := readDXF(t, b)
			if header["$ACADVER"] != "AC1009" || header["$INSUNITS"] != code {
				t.Errorf("%s: header %v", sc.name, header)
			}
			if !strings.Contains(strings.Join(texts, " "), req.Result.Digest) {
				t.Errorf("%s: no text says the digest: %q", sc.name, texts)
			}
			list := curves(&req.Result.Geometry.Outlines, req.Result.Configuration.Captions())
			if len(lines) != len(list) {
				t.Fatalf("%s: %d polylines, want %d", sc.name, len(lines), len(list))
			}
			k := u.Length(1)
			for i, c := range list {
				l := lines[i]
				if l.layer != c.layer || !layers[c.layer] || !l.closed {
					t.Errorf("%s: polyline %d on layer %q, closed %v; want %q", sc.name, i, l.layer, l.closed, c.layer)
				}
				length, area := l.measure()
				if want := c.o.Perimeter() * k; math.Abs(length-want) > 1e-8*want {
					t.Errorf("%s %s: %g round, want %g", sc.name, c.layer, length, want)
				}
				if want := c.o.Area() * k * k; math.Abs(area-want) > 1e-8*want {
					t.Errorf("%s %s: area %g, want %g", sc.name, c.layer, area, want)
				}
			}
		}
	}
}

// The sections read back as closed shapes; the shell's area is its own, by the
// back's and the face's curves.
func TestSectionDXFReadsBack(t *testing.T) {
	for _, sc := range scenes {
		req := request(t, sc.request, quantity.Metric)
		d, err := Draw("section", req)
		if err != nil {
			t.Fatal(err)
		}
		b, err := d.DXF()
		if err != nil {
			t.Fatal(err)
		}
		_, _, lines, _ := readDXF(t, b)
		seen := map[string]bool{}
		for _, l := range lines {
			length, area := l.measure()
			if !l.closed || !(math.Abs(area) > 1) || !(length > 1) {
				t.Errorf("%s %s: closed %v, area %g, length %g", sc.name, l.layer, l.closed, area, length)
			}
			seen[l.layer] = true
			// A laminate is thin: its area is about thickness times half its boundary.
			if l.layer == "RECEIVER" && !req.Result.Configuration.UpstandFilled() {
				thickness := 2 * math.Abs(area) / length
				shell := req.Result.Receiver.SkirtThickness
				if thickness > shell || thickness < 0.85*shell {
					t.Errorf("%s: receiver is %g mm thick on the mean, its laminate %g mm", sc.name, thickness, shell)
				}
			}
		}
		if !seen["RECEIVER"] || !seen["LID"] {
			t.Errorf("%s: layers %v", sc.name, seen)
		}
	}
}
