package api

import (
	"encoding/json"
	"flag"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/openapi/client"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/service/shop"
)

// mostQuantity is the most pieces that the property test asks for in one hatch.
const mostQuantity = 200

// TestAnyConfigurationIsAnswered asks everything that can be asked of any
// configuration within the documented ranges: what cannot be made is a finding or
// another clear refusal, never a fault of the service's own. For longer:
//
//	go test ./api -run AnyConfiguration -timeout 0 -rapid.checks 20000
func TestAnyConfigurationIsAnswered(t *testing.T) {
	b := newBenchWith(t, options{timeout: 5 * time.Minute}) // however busy the machine is
	_, dealer := b.dealer("Brackwater Marine", record.RoleDealer)
	documents := shop.Example()
	fewerChecks(t, "30")
	made := 0
	rapid.Check(t, func(rt *rapid.T) {
		hatch := drawHatch(rt, &documents)
		text, err := json.Marshal(hatch)
		if err != nil {
			rt.Fatal(err)
		}
		body, failed := string(text), b.t.Failed()
		key := rapid.SampledFrom([]string{b.shop, b.shop, dealer}).Draw(rt, "key")
		ask := func(method, path, body string, headers ...string) answer {
			a := b.send(method, path, key, body, headers...)

			if a.status >= 500 {
				rt.Fatalf("%s %s %v: %d %s\nof %s", method, path, headers, a.status, a.body, text)
			}
			if a.status >= 400 {
				var p client.Problem
				if err := json.Unmarshal(a.body, &p); err != nil || p.Detail == "" {
					rt.Fatalf("%s %s: %d without a word: %v %s", method, path, a.status, err, a.body)
				}
			}
			if b.t.Failed() && !failed { // the answer breaks the document
				b.t.Fatalf("%s %s %v was asked of %s", method, path, headers, text)
			}
			return a
		}
		if a := ask(http.MethodPost, "/v1/check", body); a.status != http.StatusOK {
			rt.Fatalf("within the ranges, and check says %d %s\nof %s", a.status, a.body, text)
		}
		derived := ask(http.MethodPost, "/v1/derive", body)
		query := rapid.SampledFrom([]string{"", "?shorten=true"}).Draw(rt, "query")
		switch rapid.SampledFrom([]string{"limits", "draw", "kept", "quote"}).Draw(rt, "asked") {
		case "limits":
			ask(http.MethodPost, "/v1/limits", body)
		case "draw":
			ask(http.MethodPost, "/v1/drawings/plan", body, "Accept", rapid.SampledFrom([]string{"image/svg+xml", "image/png", "application/pdf", "image/vnd.dxf"}).Draw(rt, "format"))
			ask(http.MethodPost, "/v1/drawings/model-lid", body, "Accept", rapid.SampledFrom([]string{"model/gltf-binary", "model/stl"}).Draw(rt, "format of model"))
		case "kept":
			a := ask(http.MethodPost, "/v1/configurations", `{"name":"any","configuration":`+body+`}`)
			if a.status >= 300 {
				break
			}
			kept := "/v1/configurations/" + idOf(rt, a)
			ask(http.MethodGet, kept+"/derivation"+query, "")
			if derived.status != http.StatusOK {
				break
			}
			ask(http.MethodGet, kept+"/mixes", "")
			ask(http.MethodGet, kept+"/packet", "")
			var list client.DrawingList
			if err := json.Unmarshal(ask(http.MethodGet, kept+"/drawings", "").body, &list); err != nil || len(list.Items) == 0 {
				rt.Fatalf("no drawings of %s: %v", text, err)
			}
			for range 3 {
				d := rapid.SampledFrom(list.Items).Draw(rt, "drawing")
				f := rapid.SampledFrom(d.Formats).Draw(rt, "format")
				if a := ask(http.MethodGet, kept+"/drawings/"+url.PathEscape(d.Name), "", "Accept", string(f)); a.status != http.StatusOK {
					rt.Fatalf("%s as %s is listed, and answered with %d %s\nof %s", d.Name, f, a.status, a.body, text)
				}
			}
		case "quote":
			ask(http.MethodPost, "/v1/quotes", `{"lines":[{"configuration":`+body+`}]}`)
			ask(http.MethodPost, "/v1/derive"+query, body)
		}
		if derived.status == http.StatusOK {
			made++
		}
	})
	t.Logf("%d could be made", made)
}

func idOf(t *rapid.T, a answer) string {
	var kept struct{ ID string }
	if err := json.Unmarshal(a.body, &kept); err != nil || kept.ID == "" {
		t.Fatalf("no id: %v %s", err, a.body)
	}
	return kept.ID
}

// fewerChecks has rapid draw so many times where the command line does not say how
// often: each draw here is several requests.
func fewerChecks(t *testing.T, checks string) {
	t.Helper()
	f := flag.Lookup("rapid.checks")
	if f.Value.String() != f.DefValue {
		return
	}
	if err := f.Value.Set(checks); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Value.Set(f.DefValue) })
}

// drawHatch draws a configuration: sizes that a shop meets, with some of the other
// figures anywhere in their ranges or at an end of them.
func drawHatch(t *rapid.T, d *shop.Documents) map[string]any {
	inches := rapid.Bool().Draw(t, "inches")
	c := part.Configuration{}
	c.Pattern = rapid.SampledFrom(part.Patterns).Draw(t, "pattern")
	c.Outline.Shape = rapid.SampledFrom(part.At("/outline/shape").Words).Draw(t, "shape")
	c.Duty.Kind = rapid.SampledFrom(part.At("/duty/kind").Words).Draw(t, "duty")
	c.Laminate.Schedule = rapid.SampledFrom(append(part.At("/laminate/schedule").Words, part.ScheduleStandard, part.ScheduleAuto)).Draw(t, "schedule")
	hatch := map[string]any{"units": "mm"}
	if inches {
		hatch["units"] = "in"
	}
	put := func(pointer string, value any) {
		at := hatch
		names := strings.Split(pointer[1:], "/")
		for _, n := range names[:len(names)-1] {
			if at[n] == nil {
				at[n] = map[string]any{}
			}
			at = at[n].(map[string]any)
		}
		at[names[len(names)-1]] = value
	}
	// The wire's step, to the inner side of the range.
	length := func(x, least, most float64) float64 {
		if !inches {
			return math.Min(math.Max(math.Round(x*1e3)/1e3, least), most)
		}
		x = math.Round(x/25.4*1e5) / 1e5
		return math.Min(math.Max(x, math.Ceil(least/25.4*1e5)/1e5), math.Floor(most/25.4*1e5)/1e5)
	}
	words := map[string][]string{
		"/lid/core": {"auto", "none"}, "/laminate/resin": nil, "/gelcoat/color": nil,
		"/needed_by": {"2026-12-01", "2027-03-31", "2026-01-01", "2199-12-31", "1970-01-01"},
	}
	var plies, fittings []string
	for _, m := range d.Materials.Reinforcements {
		plies = append(plies, m.Key)
	}
	for _, m := range d.Materials.Cores {
		words["/lid/core"] = append(words["/lid/core"], m.Key)
	}
	for _, m := range d.Materials.Resins {
		words["/laminate/resin"] = append(words["/laminate/resin"], m.Key)
	}
	for _, m := range d.Materials.Gelcoats {
		words["/gelcoat/color"] = append(words["/gelcoat/color"], m.Color)
	}
	for _, m := range d.Materials.Hardware {
		fittings = append(fittings, m.Key)
	}
	put("/pattern", c.Pattern)
	put("/outline/shape", c.Outline.Shape)
	put("/duty/kind", c.Duty.Kind)
	put("/laminate/schedule", c.Laminate.Schedule)
	wild := max(0, rapid.IntRange(-5, 8).Draw(t, "wild")) // of the figures that may be left out one in 7*wild is set, none with 0
	for i := range part.Parameters {
		p := &part.Parameters[i]
		if !p.Used(&c) {
			continue
		}
		name := p.Pointer
		outline := strings.HasPrefix(name, "/outline/") && p.IsNumber()
		if !outline && (wild == 0 || rapid.IntRange(0, 7*wild-1).Draw(t, "set "+name) > 0) {
			continue
		}
		switch {
		case name == "/pattern" || name == "/outline/shape" || name == "/duty/kind" || name == "/laminate/schedule":
		case !p.IsNumber():
			list := p.Words
			if list == nil {
				list = words[name]
			}
			put(name, rapid.SampledFrom(list).Draw(t, name))
		case name == "/quantity":
			put(name, rapid.SampledFrom([]int{1, 2, 3, 12, mostQuantity}).Draw(t, name))
		case p.Whole:
			put(name, rapid.IntRange(int(p.Min), int(p.Max)).Draw(t, name))
		default:
			x := drawFigure(t, p, d, outline && rapid.IntRange(0, 20).Draw(t, "wild "+name) > 0)
			if p.IsLength() {
				x = length(x, p.Min, p.Max)
			}
			put(name, x)
		}
	}
	if c.Outline.Shape == part.Polygon {
		n := rapid.IntRange(3, 9).Draw(t, "corners")
		size := rapid.SampledFrom([]float64{300, 600, 900, 0.001, 100_000}).Draw(t, "size")
		turn := rapid.Float64Range(0, 1).Draw(t, "turn")
		corners := make([]any, n)
		for i := range corners {
			s, cos := math.Sincos(2 * math.Pi * (float64(i) + turn) / float64(n))
			corner := map[string]any{"x": length(size/2*cos, -100_000, 100_000), "y": length(size/3*s, -100_000, 100_000)}
			if rapid.Bool().Draw(t, "rounded") {
				corner["radius"] = length(rapid.SampledFrom([]float64{0, 5, 40, 80, 100_000}).Draw(t, "radius"), 0, 100_000)
			}
			corners[i] = corner
		}
		put("/outline/corners", corners)
	}
	if c.Laminate.Schedule == part.ScheduleListed {
		for _, name := range []string{"/laminate/lid", "/laminate/receiver"} {
			stack := rapid.SliceOfN(rapid.SampledFrom(plies), 1, 12).Draw(t, name)
			if name == "/laminate/lid" && rapid.Bool().Draw(t, "cored") {
				core := rapid.SampledFrom(d.Materials.Cores).Draw(t, "core").Key
				stack = slices.Insert(slices.Clone(stack), rapid.IntRange(0, len(stack)).Draw(t, "above the core"), core)
			}
			put(name, stack)
		}
	}
	if n := max(0, rapid.IntRange(-4, 4).Draw(t, "fittings")); n > 0 {
		rows := make([]any, n)
		for i := range rows {
			rows[i] = map[string]any{
				"item":  rapid.SampledFrom(fittings).Draw(t, "item "+strconv.Itoa(i)),
				"edge":  rapid.SampledFrom([]string{"fore", "aft", "port", "starboard"}).Draw(t, "edge"),
				"count": rapid.SampledFrom([]int{1, 1, 2, 3, 100}).Draw(t, "count"),
			}
		}
		put("/hardware", rows)
	}
	return hatch
}

// drawFigure draws a value of p in its own unit: near what the shop would take, at
// an end of the range or anywhere in it. With near it is a size that shops make.
func drawFigure(t *rapid.T, p *part.Parameter, d *shop.Documents, near bool) float64 {
	if near {
		if p.Pointer == "/outline/corner_radius" {
			return rapid.SampledFrom([]float64{0, 20, 50, 75, 100}).Draw(t, p.Pointer)
		}
		return float64(rapid.IntRange(180, 1400).Draw(t, p.Pointer))
	}
	usual, ok := d.Profile.Defaults[p.Pointer].(float64)
	switch rapid.IntRange(0, 4).Draw(t, "how "+p.Pointer) {
	case 0:
		return p.Min
	case 1:
		return p.Max
	case 2:
		return rapid.Float64Range(p.Min, p.Max).Draw(t, p.Pointer)
	default:
		if !ok || usual == 0 {
			usual = math.Max(p.Min, 1)
		}
		return p.Within(usual * rapid.Float64Range(0.5, 2).Draw(t, p.Pointer))
	}
}
