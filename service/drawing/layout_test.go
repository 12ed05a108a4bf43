package drawing

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"hatchwright/service/derivation"
	"hatchwright/service/nest"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// words are the texts of all sheets of a drawing, in the order they were put.
func words(d Drawing) string {
	var all []string
	for i := range d.Sheets {
		for _, it := range d.Sheets[i].items {
			if it.label != nil {
				all = append(all, it.label.Text)
			}
		}
	}
	return strings.Join(all, " ")
}

// Every entry is set once and whole, in as many columns and sheets as it takes.
func TestFlowSetsEverything(t *testing.T) {
	var list []entry
	for i := range 300 {
		list = append(list, entry{mark: numeral(i), lines: [][]string{{fmt.Sprintf("entry-%d", i), "wide enough to be broken", "into two lines of a narrow column"}}})
		if i%40 == 0 {
			list = append(list, entry{title: true, head: fmt.Sprintf("title-%d", i)})
		}
	}
	d := Drawing{Sheets: overflow(A4, list, 60)}
	if len(d.Sheets) < 2 {
		t.Fatalf("%d sheets", len(d.Sheets))
	}
	text := words(d)
	at := -1
	for i := range 300 {
		mark := fmt.Sprintf("entry-%d ", i)
		if n := strings.Count(text, mark); n != 1 {
			t.Fatalf("%s is set %d times", mark, n)
		}
		if now := strings.Index(text, mark); now < at {
			t.Fatalf("%s is out of order", mark)
		} else {
			at = now
		}
	}
	for i := range d.Sheets {
		for _, fault := range Faults(&d.Sheets[i]) {
			t.Error(fault)
		}
		// A title is followed by an entry in its own column.
		var labels []Label
		for _, it := range d.Sheets[i].items {
			if it.label != nil {
				labels = append(labels, *it.label)
			}
		}
		for k, l := range labels {
			if strings.HasPrefix(l.Text, "title") && (k+1 == len(labels) || labels[k+1].At.Y < l.At.Y) {
				t.Errorf("%s stands alone at the foot of a column", l.Text)
			}
		}
	}
}

// A layout's key names every panel with its own size, turned or not, and every cut;
// all of a list is set in one size.
func TestSheetLayoutTellsAll(t *testing.T) {
	for _, sc := range scenes {
		for _, u := range []quantity.System{quantity.Metric, quantity.Inch} {
			req := request(t, sc.request, u)
			for i, l := range req.Result.Sheets {
				d, err := sheetLayout(req, i)
				if err != nil {
					t.Fatal(err)
				}
				text := words(d)
				for n, p := range l.Placements {
					a, b := p.Length, p.Width
					if p.Turned {
						a, b = b, a
					}
					size := Length(a, u) + " × " + Length(b, u)
					if !strings.Contains(text, size) || !strings.Contains(text, numeral(n)+" "+p.Panel+",") {
						t.Errorf("%s %s sheet %d: panel %d %s, %s is not in the key: %s", sc.name, u, i+1, n+1, p.Panel, size, text)
					}
				}
				for _, c := range l.Cuts {
					want := "rip at y = " + Length(c.At, u) + ","
					if c.Axis == nest.Crosscut {
						want = "crosscut at x = " + Length(c.At, u) + ","
					}
					if !strings.Contains(text, want) {
						t.Errorf("%s %s sheet %d: no %q", sc.name, u, i+1, want)
					}
				}
				for k := range d.Sheets {
					for _, it := range d.Sheets[k].items {
						if it.label != nil && (strings.HasPrefix(it.label.Text, "rip") || strings.HasPrefix(it.label.Text, "crosscut")) && it.label.Size != Small {
							t.Errorf("%q is set in %g", it.label.Text, it.label.Size)
						}
					}
				}
			}
		}
	}
}

// The scales that a common hatch is drawn at, by hand: a flange of 620 × 480 takes
// 124 × 96 of 273 × 169 mm at 1:5 and 248 × 192 at 1:2.5; a sheet of 2440 × 1220
// with ten cuts takes 244 × 122 at 1:10.
func TestDrawnAsLargeAsTheyFit(t *testing.T) {
	req := request(t, scenes[0].request, quantity.Metric)
	for name, want := range map[string]string{"plan": "1:5", "sheet-1": "1:10"} {
		d, err := Draw(name, req)
		if err != nil || d.scale != want {
			t.Errorf("%s: %s, want %s (%v)", name, d.scale, want, err)
		}
	}
}

// A plate's plan has a table of every bolt, measured from its middle.
func TestBoltTable(t *testing.T) {
	for _, u := range []quantity.System{quantity.Metric, quantity.Inch} {
		req := request(t, hatch(part.BoltedPlate, part.Plan{Shape: part.Taper, Length: 520, WidthAft: 420, WidthFwd: 300, CornerRadius: 60}, nil), u)
		d, err := Draw("plan", req)
		if err != nil {
			t.Fatal(err)
		}
		text := words(d)
		lo, hi := req.Result.Geometry.Outlines.Recess.Bounds()
		for i, b := range req.Result.Geometry.Bolts {
			want := fmt.Sprintf("b%d x %s, y %s", i+1, Length(b.X-(lo.X+hi.X)/2, u), Length(b.Y-(lo.Y+hi.Y)/2, u))
			if !strings.Contains(text, want) {
				t.Errorf("%s: no %q", u, want)
			}
		}
	}
}

// Drains of a gutter that is the same to port and starboard lie so, aft first; each
// on the middle of the floor.
func TestDrainPlaces(t *testing.T) {
	for _, shape := range []part.Plan{
		{Shape: part.Rectangle, Length: 620, Width: 480, CornerRadius: 80}, {Shape: part.Circle, Diameter: 560},
		{Shape: part.Taper, Length: 640, WidthAft: 520, WidthFwd: 400, CornerRadius: 80},
	} {
		for n := 1; n <= 6; n++ {
			req := request(t, hatch(part.FlushGutter, shape, map[string]float64{"/gutter/drain_count": float64(n), "/gutter/drain_diameter": 14, "/gutter/rain_intensity": 30}), quantity.Metric)
			places, err := drainPlaces(req.Result)
			if err != nil || len(places) != n {
				t.Fatalf("%s: %d of %d places, %v", shape.Shape, len(places), n, err)
			}
			g := &req.Result.Geometry
			want := (g.Corner(part.FloorOuter).N + g.Corner(part.FloorInner).N) / 2
			sum, aft := 0.0, places[0]
			for _, p := range places {
				if off := req.Result.Geometry.Outlines.Recess.Distance(p); math.Abs(off-want) > 1e-6 {
					t.Errorf("%s, %d: a drain lies %g from the recess, the floor's middle %g", shape.Shape, n, off, want)
				}
				sum += p.Y
				if p.X < aft.X-1e-3 && n > 1 && n <= 4 {
					t.Errorf("%s, %d: %v lies further aft than the first", shape.Shape, n, p)
				}
			}
			if (n <= 2 || n == 4) && math.Abs(sum) > 1e-3 {
				t.Errorf("%s, %d: not the same to port and starboard: %v", shape.Shape, n, places)
			}
			slices.SortFunc(places, func(a, b outline.Point) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(b)) })
			if len(slices.Compact(places)) != n {
				t.Errorf("%s, %d: two drains in one place: %v", shape.Shape, n, places)
			}
		}
	}
	req := request(t, scenes[0].request, quantity.Metric)
	if places, err := drainPlaces(req.Result); len(places) > 0 || err != nil {
		t.Errorf("a hatch without a gutter: %v, %v", places, err)
	}
}

// Every ply stands in the stack with its stage, its thickness drawn to the scale.
func TestStackSection(t *testing.T) {
	for _, u := range []quantity.System{quantity.Metric, quantity.Inch} {
		req := request(t, scenes[0].request, u)
		d, err := Draw("stack", req)
		if err != nil {
			t.Fatal(err)
		}
		if slices.Contains(d.Formats(), DXF) {
			t.Error("a stack has no curves for DXF")
		}
		text := words(d)
		for _, l := range []*derivation.Laminate{&req.Result.Lid, &req.Result.Receiver} {
			for i, p := range l.Stack.Plies() {
				if want := fmt.Sprintf("ply %d: %s, %s, glass %s", i+1, l.Rows[i].Key, fine(p.Thickness(), u), grams(p.GlassMass())); !strings.Contains(text, want) {
					t.Errorf("no %q in %s", want, text)
				}
			}
			if want := quantity.Decimal(l.Stack.MassPerArea(), 2) + " kg/m², glass " + quantity.Decimal(100*l.Stack.GlassFraction(), 1) + " %"; !strings.Contains(text, want) {
				t.Errorf("no %q", want)
			}
			sum := 0.0
			for _, k := range layers(l, u) {
				sum += k.thickness
			}
			if want := l.Thickness + l.Stack.Film(); math.Abs(sum-want) > 1e-9 {
				t.Errorf("layers are %g mm thick together, the laminate with its film %g", sum, want)
			}
		}
		if !strings.Contains(text, "stage 2") || !strings.Contains(text, "core: ") {
			t.Error("no stages or core")
		}
	}
}

// A schedule of many plies goes over several sheets, legibly.
func TestThickStack(t *testing.T) {
	docs := shop.Example()
	var mat string
	for _, r := range docs.Materials.Reinforcements {
		if r.Kind == "mat" {
			mat = r.Key
			break
		}
	}
	for _, n := range []int{13, 14, 23, 24, 40} {
		r := hatch(part.FlushLedge, part.Plan{Shape: part.Rectangle, Length: 900, Width: 700, CornerRadius: 60},
			map[string]float64{"/receiver/recess_depth": 80, "/lid/gap": 6, "/receiver/ledge_width": 90})
		r.Laminate.Schedule, r.Laminate.Lid, r.Laminate.Receiver = part.ScheduleListed, slices.Repeat([]string{mat}, n), slices.Repeat([]string{mat}, 4)
		for _, p := range []string{"/laminate/schedule", "/laminate/lid", "/laminate/receiver"} {
			r.Given[p] = true
		}
		e, err := derivation.New(docs)
		if err != nil {
			t.Fatal(err)
		}
		out, err := e.Derive(r, monday)
		if err != nil {
			t.Fatal(err)
		}
		// What is drawn are the stacks, whatever else the rules say of such a lid.
		d, err := stackSection(Request{Result: &out, Date: today})
		if err != nil {
			t.Fatal(err)
		}
		text := words(d)
		for i := range n {
			if !strings.Contains(text, fmt.Sprintf("ply %d: ", i+1)) {
				t.Errorf("%d plies: ply %d is missing", n, i+1)
			}
		}
		for i := range d.Sheets {
			for _, fault := range Faults(&d.Sheets[i]) {
				t.Errorf("%d plies, sheet %d: %s", n, i+1, fault)
			}
		}
	}
}
