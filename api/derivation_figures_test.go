package api

import (
	"encoding/json"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
	"hatchwright/openapi/client"
	"hatchwright/service/shop"
)

// detailed names every group of a configuration: a step hatch with hardware, an
// automatic schedule and four of it.
const detailed = `{"units": "mm", "pattern": "flush-ledge", "size_basis": "recess",
 "outline": {"shape": "rectangle", "length": 520, "width": 380, "corner_radius": 60},
 "receiver": {"recess_depth": 19, "ledge_width": 28, "trunk_height": 38, "flange_width": 45, "edge_radius": 9.5, "root_radius": 6, "lip_radius": 6, "draft_deg": 1},
 "lid": {"gap": 3.5, "edge_radius": 9.5, "draft_deg": 1, "core": "auto"},
 "seal": {"thickness": 4, "width": 12, "compression": 0.4},
 "deck": {"thickness": 22, "camber_radius": 9000, "depth_below": 300},
 "duty": {"kind": "step", "waterline_length": 6800},
 "laminate": {"resin": "general-purpose vinylester", "schedule": "auto", "prefer": "cost"},
 "gelcoat": {"color": "white", "surface": "smooth"},
 "hardware": [{"item": "flush latch", "edge": "fore", "count": 1}, {"item": "friction hinge", "edge": "aft", "count": 2}],
 "quantity": 4, "needed_by": null, "size_tolerance": 5}`

// wireStep is what two figures rounded to the wire's 0.001 mm may differ by.
const wireStep = 0.001

// TestFiguresAgree holds figures of one derivation against others of it: sums,
// places, and the saw's cuts played through.
func TestFiguresAgree(t *testing.T) {
	b := newBench(t)
	kerf := shop.Example().Profile.Tooling.Kerf
	bodies := map[string]string{"detailed": detailed}
	for name, body := range scenarios {
		bodies[name] = body
	}
	for name, body := range bodies {
		t.Run(name, func(t *testing.T) {
			a := b.send(http.MethodPost, "/v1/derive", b.shop, body)
			if a.status != http.StatusOK {
				t.Fatalf("derive: %d %s", a.status, a.body)
			}
			var d client.Derivation
			strict(t, a.body, &d)
			resolveAll(t, a.body, &d)
			mm := 1.0
			if d.Configuration.Units == "in" {
				mm = 25.4
			}

			peroxide := 0.0
			for _, m := range d.Laminate.Mixes {
				if !strings.Contains(m.Product, "filler") {
					peroxide += m.CatalystMass
				}
			}
			// Each mix is rounded to a millionth of a kg.
			if math.Abs(peroxide-*d.Laminate.CatalystMass) > 1e-6*float64(len(d.Laminate.Mixes)) {
				t.Errorf("catalyst of the mixes %v, told %v", peroxide, *d.Laminate.CatalystMass)
			}

			gross := map[string]float64{}
			for _, l := range d.Bill.Lines {
				gross[l.Key] += l.Gross
				if r := l.Roll; r != nil {
					if area := r.Length * mm * r.Width * mm / 1e6; math.Abs(area-l.Gross) > 1e-4*l.Gross || r.Bound > r.Length+wireStep {
						t.Errorf("%s: roll %+v for %v m2", l.Key, *r, l.Gross)
					}
				}
			}
			if len(d.Bill.Purchases) != len(gross) {
				t.Errorf("%d purchases of %d materials", len(d.Bill.Purchases), len(gross))
			}
			for _, p := range d.Bill.Purchases {
				if math.Abs(p.Gross-gross[p.Key]) > 1e-5 || math.Abs(float64(p.Packs)*p.Pack-p.Buy-p.Left) > 1e-5 || p.FromStock != 0 || p.Cost.Amount != times(t, p.PricePerPack.Amount, p.Packs) {
					t.Errorf("purchase %+v of %v", p, gross[p.Key])
				}
			}

			placed := map[string]int{}
			for _, h := range d.Hardware {
				placed[h.From]++
				// A cut-out lies its edge distance inside the lid's straight edges.
				if reach := map[string]float64{"fore": h.At.X, "aft": -h.At.X, "port": h.At.Y, "starboard": -h.At.Y}[string(h.Edge)]; d.Configuration.Outline.Shape == "rectangle" {
					half := d.Geometry.Outlines.Lid.Length / 2
					if h.Edge == "port" || h.Edge == "starboard" {
						half = d.Geometry.Outlines.Lid.Width / 2
					}
					if math.Abs(half-reach-h.Width/2-h.EdgeDistance) > 2*wireStep {
						t.Errorf("%+v is not %v inside an edge %v out", h, h.EdgeDistance, half)
					}
				}
			}
			for i, h := range d.Configuration.Hardware {
				if n := placed["/configuration/hardware/"+strconv.Itoa(i)]; n != h.Count {
					t.Errorf("%d of row %d placed, %d asked for", n, i, h.Count)
				}
			}

			fit := d.Geometry.Fit
			if half := (fit.WorstCase.Max - fit.WorstCase.Min) / 2; math.Abs((fit.WorstCase.Max+fit.WorstCase.Min)/2-fit.Nominal) > wireStep || (fit.Rss.Max-fit.Rss.Min)/2 > half+wireStep {
				t.Errorf("fit %+v", fit)
			}
			for i := range d.Tooling.Sheets {
				playCuts(t, &d.Tooling.Sheets[i], kerf/mm)
			}
			receiver, lid := d.Laminate.Receiver, d.Laminate.Lid
			if lid.Panel == nil || receiver.Panel != nil || receiver.Selection != nil || (lid.Selection != nil) != (*d.Configuration.Laminate.Schedule == "auto") {
				t.Errorf("panel %v and %v, selection %v and %v", lid.Panel, receiver.Panel, lid.Selection, receiver.Selection)
			}
			for _, c := range lid.Checks {
				if c.UtilizationStress > 0 && math.Abs(math.Abs(c.Stress)/c.Allowable-c.UtilizationStress) > 1e-3 {
					t.Errorf("%s: %v of %v MPa is not %v", c.Load, c.Stress, c.Allowable, c.UtilizationStress)
				}
			}
			if s := lid.Selection; s != nil && s.Status == "optimal" && s.Prefer == "cost" && math.Abs(s.CostPerM2-s.Bound) > 1e-5 {
				t.Errorf("an optimal stack costs %v, proved is %v", s.CostPerM2, s.Bound)
			}
		})
	}
}

// playCuts saws a sheet as its list of cuts says: every panel and the offcut must
// come off, each in one piece that is larger by less than a kerf.
//
//	+-------+-+------+
//	|       |k|      |     a crosscut at x: one part ends there, the other
//	|       |e|      |     begins a kerf further on
//	|       |r|      |
//	+-------+-+------+
//	        at
func playCuts(t *testing.T, s *client.SheetLayout, kerf float64) {
	t.Helper()
	type part struct{ x0, y0, x1, y1 float64 }
	near := func(a, b float64) bool { return math.Abs(a-b) <= 2*wireStep }
	parts := []part{{0, 0, s.Length, s.Width}}
	for i, c := range s.Cuts {
		found := false
		for k, p := range parts {
			low, high, from, to := p.y0, p.y1, p.x0, p.x1
			if c.Axis == "crosscut" {
				low, high, from, to = p.x0, p.x1, p.y0, p.y1
			}
			if !near(from, c.From) || !near(to, c.To) || c.At < low-wireStep || c.At > high+wireStep {
				continue
			}
			a, z := p, p
			if c.Axis == "crosscut" {
				a.x1, z.x0 = c.At, c.At+kerf
			} else {
				a.y1, z.y0 = c.At, c.At+kerf
			}
			parts[k] = a
			if z.x0 < z.x1 && z.y0 < z.y1 {
				parts = append(parts, z)
			}
			found = true
			break
		}
		if !found {
			t.Errorf("sheet of %s: no part for cut %d, %+v, among %v", s.Stock, i, c, parts)
			return
		}
	}
	comesOff := func(what string, x, y, length, width float64) {
		for _, p := range parts {
			if near(p.x0, x) && near(p.y0, y) && p.x1 >= x+length-2*wireStep && p.y1 >= y+width-2*wireStep && p.x1 <= x+length+kerf+2*wireStep && p.y1 <= y+width+kerf+2*wireStep {
				return
			}
		}
		t.Errorf("sheet of %s: %s at (%v, %v), %v by %v, is none of the parts %v", s.Stock, what, x, y, length, width, parts)
	}
	for _, p := range s.Placements {
		comesOff(p.Panel, p.X, p.Y, p.Length, p.Width)
	}
	if o := s.Offcut; o != nil {
		comesOff("the offcut", o.X, o.Y, o.Length, o.Width)
	}
}

// TestEveryFigureIsTold derives the scenarios, many of the detailed one, which wait for
// their molds, and that one once more in a busy shop, and holds the document against the answers: each figure of a derivation is,
// in one of them, there and neither null, empty nor zero.
func TestEveryFigureIsTold(t *testing.T) {
	b := newBench(t)
	b.receive(0.1, "2027-12-31")
	told := map[string]bool{}
	var note func(at string, v any)
	note = func(at string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, x := range v {
				if at == "/laminate" && (k == "lid" || k == "receiver") {
					k = "part"
				}
				note(at+"/"+k, x)
			}
		case []any:
			for _, x := range v {
				note(at+"/*", x)
			}
		case float64:
			told[at] = told[at] || v != 0
		case string:
			told[at] = told[at] || v != ""
		case bool:
			told[at] = true
		}
	}
	many := strings.Replace(detailed, `"quantity": 4`, `"quantity": 20`, 1)
	for i, body := range append(values(scenarios), many, detailed) {
		var tree map[string]any
		query := "?stock=true&shorten=true"
		if i == len(scenarios)+1 {
			b.busy()
		}
		a := b.send(http.MethodPost, "/v1/derive"+query, b.shop, body)
		if err := json.Unmarshal(a.body, &tree); err != nil {
			t.Fatal(err)
		}
		note("", tree)
	}
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	var missing []string
	var walk func(at string, s *openapi3.Schema)
	walk = func(at string, s *openapi3.Schema) {
		for _, of := range s.AllOf {
			walk(at, of.Value)
		}
		switch {
		case len(s.Properties) > 0:
			for k, p := range s.Properties {
				if at == "/laminate" && (k == "lid" || k == "receiver") {
					k = "part" // of one schema: what the lid tells counts
				}
				walk(at+"/"+k, p.Value)
			}
		case s.Items != nil:
			walk(at+"/*", s.Items.Value)
		case len(s.AllOf) == 0 && !told[at]:
			missing = append(missing, at)
		}
	}
	for _, section := range []string{"geometry", "tooling", "laminate", "hardware", "bill", "lead_time", "cautions"} {
		walk("/"+section, doc.Components.Schemas["Derivation"].Value.Properties[section].Value)
	}
	// What none of these scenarios has, and why.
	never := map[string]string{
		"/laminate/part/selection/unpriced/*":   "everything that the example shop stocks has a price",
		"/lead_time/operations/*/followed_late": "the example shop's hours let a laminate follow its gelcoat every time",
	}
	slices.Sort(missing)
	missing = slices.Compact(missing)
	for _, at := range missing {
		if never[at] == "" {
			t.Errorf("%s is never told", at)
		}
		delete(never, at)
	}
	for at := range never {
		t.Errorf("%s is told", at)
	}
}

func values(m map[string]string) []string {
	out := make([]string, 0, len(m))
	for _, v := range m {
		out = append(out, v)
	}
	return out
}
