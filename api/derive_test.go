package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi/client"
	"hatchwright/service"
	"hatchwright/service/part"
)

const small = `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":60}}`

// scenarios are good configurations of every shape, in both units and by every
// basis.
var scenarios = map[string]string{
	"least":     small,
	"inches":    `{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20.123456789123,"width":15.1,"corner_radius":2.3333333333}}`,
	"obround":   `{"units":"mm","pattern":"flush-ledge","size_basis":"clear_opening","outline":{"shape":"obround","length":610,"width":360},"quantity":3}`,
	"circle":    `{"units":"in","pattern":"flush-ledge","size_basis":"deck_cutout","outline":{"shape":"circle","diameter":17.55555555555},"lid":{"land_width":0.6}}`,
	"dee":       `{"units":"mm","pattern":"flush-ledge","size_basis":"lid","outline":{"shape":"dee","length":700,"width":420,"corner_radius":45.1}}`,
	"taper":     `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"taper","length":560,"width_aft":480.3,"width_fwd":301.7,"corner_radius":60}}`,
	"polygon":   `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"polygon","corners":[{"x":-250,"y":-200,"radius":60},{"x":250,"y":-180,"radius":50.5},{"x":300,"y":0,"radius":80},{"x":250,"y":180,"radius":50},{"x":-250,"y":200,"radius":60}]}}`,
	"nulls":     `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":500},"deck":{"camber_radius":null,"depth_below":null},"needed_by":null,"hardware":[]}`,
	"listed":    `{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20,"width":15,"corner_radius":3},"laminate":{"schedule":"listed","lid":["mat-225","stitched-806","balsa-150-12","stitched-806"],"receiver":["mat-225","mat-450","mat-450"]}}`,
	"equipped":  `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":60},"hardware":[{"item":"flush latch","edge":"fore","count":1},{"item":"friction hinge","edge":"aft","count":2}],"needed_by":"2026-12-01","deck":{"camber_radius":9000.5}}`,
	"custom":    `{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20,"width":15,"corner_radius":3},"duty":{"kind":"custom","pressure":7.5,"point_load":900,"point_radius":2.9,"deflection_factor":150}}`,
	"gutter":    `{"units":"in","pattern":"flush-gutter","outline":{"shape":"rectangle","length":24,"width":20,"corner_radius":4},"gutter":{"drain_count":3,"rain_intensity":4.7}}`,
	"gutter mm": `{"units":"mm","pattern":"flush-gutter","outline":{"shape":"obround","length":700,"width":450}}`,
	"coaming":   `{"units":"in","pattern":"raised-coaming","outline":{"shape":"rectangle","length":24,"width":20,"corner_radius":4},"seal":{"tightness":"drip"}}`,
	"plate":     `{"units":"mm","pattern":"bolted-plate","outline":{"shape":"circle","diameter":400},"plate":{"overlap":42.5}}`,
	"auto":      `{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20,"width":15,"corner_radius":3},"laminate":{"schedule":"auto","prefer":"mass"}}`,
	"work deck": `{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20,"width":15,"corner_radius":3},"duty":{"kind":"working_deck","waterline_length":300,"displacement":2345.678,"category":"B"}}`,
}

// TestDerive checks and derives every scenario and sends the completed
// configuration again: it must mean the same hatch, to the digest and the byte.
func TestDerive(t *testing.T) {
	b := newBench(t)
	for name, body := range scenarios {
		t.Run(name, func(t *testing.T) {
			a := b.send(http.MethodPost, "/v1/check", b.shop, body)
			if a.status != http.StatusOK {
				t.Fatalf("check: %d %s", a.status, a.body)
			}
			var r client.Ruling
			strict(t, a.body, &r)
			completed := member(t, a.body, "configuration")
			again := b.send(http.MethodPost, "/v1/check", b.shop, string(completed))
			if again.status != http.StatusOK {
				t.Fatalf("the completed configuration is refused: %s", again.body)
			}
			if got := member(t, again.body, "configuration"); !bytes.Equal(got, completed) {
				t.Errorf("the completed configuration changes when it is sent again:\n%s\n%s", completed, got)
			}
			if got := member(t, again.body, "digest"); !bytes.Equal(got, member(t, a.body, "digest")) {
				t.Errorf("the digest changes when the completed configuration is sent again")
			}

			a = b.send(http.MethodPost, "/v1/derive", b.shop, body)
			if a.status != http.StatusOK {
				t.Fatalf("derive: %d %s", a.status, a.body)
			}
			var d client.Derivation
			strict(t, a.body, &d)
			if d.Digest != r.Digest || !bytes.Equal(member(t, a.body, "configuration"), completed) {
				t.Error("check and derive do not speak of the same hatch")
			}
			again = b.send(http.MethodPost, "/v1/derive", b.shop, string(completed))
			if !bytes.Equal(a.body, again.body) {
				t.Errorf("the derivation of the completed configuration differs: %s", firstDifference(a.body, again.body))
			}
			resolveAll(t, a.body, &d)
			pathsClose(t, &d)
		})
	}
}

// TestGivenFiguresComeBack sends figures that millimeters would spoil and finds
// them unchanged in the answer.
func TestGivenFiguresComeBack(t *testing.T) {
	b := newBench(t)
	for name, body := range scenarios {
		a := b.send(http.MethodPost, "/v1/check", b.shop, body)
		var asked, got map[string]any
		if err := json.Unmarshal([]byte(body), &asked); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(member(t, a.body, "configuration"), &got); err != nil {
			t.Fatal(err)
		}
		within(t, name, asked, got)
	}
}

// within checks that everything asked for stands in what came back, numbers to a
// billionth of their unit, which is what they are taken to.
func within(t *testing.T, at string, asked, got any) {
	t.Helper()
	switch asked := asked.(type) {
	case map[string]any:
		g, _ := got.(map[string]any)
		for k, v := range asked {
			within(t, at+"/"+k, v, g[k])
		}
	case []any:
		g, _ := got.([]any)
		if len(g) != len(asked) {
			t.Errorf("%s: %v came back as %v", at, asked, got)
			return
		}
		for i, v := range asked {
			within(t, at+"/"+strconv.Itoa(i), v, g[i])
		}
	case float64:
		if g, _ := got.(float64); math.Abs(g-asked) > 0.5000001e-9 {
			t.Errorf("%s: %v came back as %v", at, asked, got)
		}
	default:
		if got != asked {
			t.Errorf("%s: %v came back as %v", at, asked, got)
		}
	}
}

// TestUnitsDoNotMatter asks for the same hatch in both systems.
func TestUnitsDoNotMatter(t *testing.T) {
	b := newBench(t)
	// Every length is given: the defaults of the two systems are rounded to the
	// steps of each.
	mm := b.send(http.MethodPost, "/v1/check", b.shop, small)
	var doc map[string]any
	if err := json.Unmarshal(member(t, mm.body, "configuration"), &doc); err != nil {
		t.Fatal(err)
	}
	for i := range part.Parameters {
		p := &part.Parameters[i]
		if p.Unit != "mm" {
			continue
		}
		group, key, nested := strings.Cut(p.Pointer[1:], "/")
		object := doc
		if nested {
			object, _ = doc[group].(map[string]any)
		} else {
			key = group
		}
		if x, ok := object[key].(float64); ok {
			object[key] = x / 25.4
		}
	}
	doc["units"] = "in"
	body, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	in := b.send(http.MethodPost, "/v1/check", b.shop, string(body))
	var a, c client.Ruling
	strict(t, mm.body, &a)
	strict(t, in.body, &c)
	if a.Digest != c.Digest {
		t.Errorf("digest %s in mm, %s in inches:\n%s\n%s", a.Digest, c.Digest, mm.body, in.body)
	}
	if len(a.Findings) != len(c.Findings) {
		t.Fatalf("%d findings in mm, %d in inches", len(a.Findings), len(c.Findings))
	}
	for i, f := range a.Findings {
		g := c.Findings[i]
		if f.Unit == "mm" && (g.Unit != "in" || math.Abs(f.Measured-25.4*g.Measured) > 0.001 || math.Abs(f.Limit-25.4*g.Limit) > 0.001) {
			t.Errorf("%s: %v mm and %v %s", f.Code, f.Measured, g.Measured, g.Unit)
		}
	}
}

func TestNotMakeable(t *testing.T) {
	b := newBench(t)
	for name, c := range map[string]struct{ body, code string }{
		"hatch of 10 m":              {`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":10000,"width":380,"corner_radius":60}}`, "outline.too_large"},
		"corner radius too large":    {`{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20,"width":15,"corner_radius":9}}`, "outline.corner_radius_too_large"},
		"ledge wider than the hatch": {`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":60},"receiver":{"ledge_width":400}}`, ""},
		"reflex polygon":             {`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"polygon","corners":[{"x":-300,"y":-300},{"x":300,"y":-300},{"x":0,"y":-100},{"x":300,"y":300},{"x":-300,"y":300}]}}`, "outline.reflex_corner"},
		"crossing polygon":           {`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"polygon","corners":[{"x":0,"y":0},{"x":300,"y":300},{"x":300,"y":0},{"x":0,"y":300}]}}`, ""},
		"corners all in one place":   {`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"polygon","corners":[{"x":1,"y":1},{"x":1,"y":1},{"x":1,"y":1}]}}`, ""},
		"unknown material":           {`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":500},"gelcoat":{"color":"tartan"}}`, "gelcoat.color_unknown"},
		"smallest figures":           {`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":0.001}}`, ""},
	} {
		t.Run(name, func(t *testing.T) {
			a := b.send(http.MethodPost, "/v1/check", b.shop, c.body)
			if a.status != http.StatusOK {
				t.Fatalf("check: %d %s", a.status, a.body)
			}
			var r client.Ruling
			strict(t, a.body, &r)
			if r.Verdict != "not_makeable" || len(r.Findings) == 0 {
				t.Fatalf("verdict %s, findings %v", r.Verdict, r.Findings)
			}
			codes := ""
			for _, f := range r.Findings {
				codes += f.Code + " "
				if f.Code == "" || f.Pointer == "" || f.Unit == "" || f.Message == "" || f.Source == "" {
					t.Errorf("incomplete finding %+v", f)
				}
			}
			if !strings.Contains(codes, c.code) {
				t.Errorf("findings %s, want %s", codes, c.code)
			}
			a = b.send(http.MethodPost, "/v1/derive", b.shop, c.body)
			p := a.problem(t)
			if a.status != http.StatusUnprocessableEntity || p.Type != "/problems/not-makeable" || p.Verdict == nil || *p.Verdict != "not_makeable" || p.Configuration == nil || p.Digest == nil {
				t.Fatalf("derive: %d %s", a.status, a.body)
			}
			// The problem carries the very ruling that check gives.
			var ruling client.Ruling
			strict(t, b.send(http.MethodPost, "/v1/check", b.shop, c.body).body, &ruling)
			if !reflect.DeepEqual(ruling.Findings, p.Findings) {
				t.Errorf("check finds %+v, the problem carries %+v", ruling.Findings, p.Findings)
			}
		})
	}
}

// TestMendsMend puts every mend of bad configurations where it points, in the
// request itself, and sees the finding go: what a storefront's "fix it" button
// does. In both units.
func TestMendsMend(t *testing.T) {
	b := newBench(t)
	tried := 0
	for _, body := range []string{
		`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":200}}`,
		`{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20,"width":15,"corner_radius":3},"seal":{"thickness":0.05},"receiver":{"flange_width":0.9,"ledge_width":0.5}}`,
		`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":2500},"deck":{"camber_radius":4000,"depth_below":40}}`,
		`{"units":"in","pattern":"flush-ledge","outline":{"shape":"polygon","corners":[{"x":-10,"y":-8,"radius":9},{"x":10,"y":-8,"radius":2},{"x":10,"y":8,"radius":2},{"x":-10,"y":8,"radius":2}]}}`,
		`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":500},"gelcoat":{"color":"tartan"},"laminate":{"resin":"treacle"},"hardware":[{"item":"sky hook","edge":"aft","count":1}]}`,
	} {
		var r client.Ruling
		strict(t, b.send(http.MethodPost, "/v1/check", b.shop, body).body, &r)
		for _, f := range r.Findings {
			for _, m := range f.Mend {
				tried++
				var doc any
				if err := json.Unmarshal([]byte(body), &doc); err != nil {
					t.Fatal(err)
				}
				value, err := m.Value.MarshalJSON()
				if err != nil {
					t.Fatal(err)
				}
				mended, err := json.Marshal(put(doc, strings.Split(m.Pointer[1:], "/"), json.RawMessage(value)))
				if err != nil {
					t.Fatal(err)
				}
				a := b.send(http.MethodPost, "/v1/check", b.shop, string(mended))
				if a.status != http.StatusOK {
					t.Errorf("%s: the mend %s = %s is refused: %s", f.Code, m.Pointer, value, a.body)
					continue
				}
				var after client.Ruling
				strict(t, a.body, &after)
				for _, g := range after.Findings {
					if g.Code == f.Code && g.Pointer == f.Pointer {
						t.Errorf("%s at %s stays with %s = %s: %s", f.Code, f.Pointer, m.Pointer, value, g.Message)
					}
				}
			}
		}
	}
	if tried < 10 {
		t.Errorf("only %d mends were tried", tried)
	}
}

// put sets a value at a path, making objects on the way.
func put(at any, path []string, value any) any {
	if len(path) == 0 {
		return value
	}
	if list, ok := at.([]any); ok {
		i, _ := strconv.Atoi(path[0])
		list[i] = put(list[i], path[1:], value)
		return list
	}
	object, ok := at.(map[string]any)
	if !ok {
		object = map[string]any{}
	}
	object[path[0]] = put(object[path[0]], path[1:], value)
	return object
}

// TestOfflineIsTheSame works a configuration out as the command does, without a
// server or a store, and gets the very bytes that the API gives.
func TestOfflineIsTheSame(t *testing.T) {
	b := newBench(t)
	for name, body := range scenarios {
		r, err := DecodeConfiguration([]byte(body))
		if err != nil {
			t.Fatal(err)
		}
		result, err := service.DeriveOffline(r, monday, service.LeadTimeOptions{})
		if err != nil {
			t.Fatal(err)
		}
		offline, err := Derivation(result)
		if err != nil {
			t.Fatal(err)
		}
		if online := b.send(http.MethodPost, "/v1/derive", b.shop, body).body; !bytes.Equal(offline, online) {
			t.Errorf("%s: %s", name, firstDifference(offline, online))
		}
	}
}

func TestLeadTimeStartsNow(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	b.clock.Add(36 * time.Hour)
	configuration := client.Configuration{Units: "mm", Pattern: "flush-ledge", Outline: client.PlanShape{Shape: "circle", Diameter: number(500)}}
	r, err := b.client(b.shop).DeriveConfigurationWithResponse(ctx, nil, configuration)
	if err != nil || r.JSON200 == nil {
		t.Fatalf("%v %s", err, r.Body)
	}
	l := r.JSON200.LeadTime
	if !l.Start.Equal(monday.Add(36 * time.Hour)) {
		t.Errorf("start %v", l.Start)
	}
	// The example shop is in New York: UTC-5 in December.
	for _, at := range []time.Time{*l.Start, *l.P50At, *l.P80At, *l.P95At} {
		if _, offset := at.Zone(); offset != -5*3600 {
			t.Errorf("%v is not in the shop's zone", at)
		}
	}
	if len(l.CriticalPath) == 0 || len(l.Operations) < 10 || *l.WorkingHours <= 0 {
		t.Errorf("%d operations, path %v, %v h", len(l.Operations), l.CriticalPath, *l.WorkingHours)
	}
}

func number(x float64) *float64 { return &x }

// member returns a member of a JSON object as it was written.
func member(t *testing.T, body []byte, key string) json.RawMessage {
	t.Helper()
	var m map[string]json.RawMessage
	if err := json.Unmarshal(body, &m); err != nil {
		t.Fatalf("%v: %s", err, body)
	}
	return m[key]
}

func firstDifference(a, b []byte) string {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("at byte %d: %.80q and %.80q", i, a[max(0, i-40):], b[max(0, i-40):])
		}
	}
	return fmt.Sprintf("%d and %d bytes", len(a), len(b))
}

// resolveAll follows every pointer of a derivation: each bill line's source to a
// number, each finding's and each mend's place.
func resolveAll(t *testing.T, body []byte, d *client.Derivation) {
	t.Helper()
	var tree any
	if err := json.Unmarshal(body, &tree); err != nil {
		t.Fatal(err)
	}
	if len(d.Bill.Lines) < 8 {
		t.Errorf("only %d bill lines", len(d.Bill.Lines))
	}
	for _, l := range d.Bill.Lines {
		v, err := resolve(tree, l.From)
		x, ok := v.(float64)
		if err != nil || !ok || x <= 0 {
			t.Errorf("bill line %q: %s leads to %v, %v", l.Key, l.From, v, err)
		}
	}
	for _, f := range d.Findings {
		if _, err := resolve(tree, "/configuration"+f.Pointer); err != nil {
			t.Errorf("finding %s: %v", f.Code, err)
		}
		for _, m := range f.Mend {
			if _, err := resolve(tree, "/configuration"+m.Pointer); err != nil {
				t.Errorf("mend of %s: %v", f.Code, err)
			}
		}
	}
	operations := map[string]bool{}
	for _, o := range d.LeadTime.Operations {
		for _, before := range o.After {
			if !operations[before] {
				t.Errorf("operation %q waits for %q, which does not come before it", o.Key, before)
			}
		}
		operations[o.Key] = true
		// More often than not is said of the critical path, and of nothing else.
		if onPath := slices.Contains(d.LeadTime.CriticalPath, o.Key); onPath != (o.Criticality >= 0.5) {
			t.Errorf("operation %q: criticality %v, on the critical path %v", o.Key, o.Criticality, onPath)
		}
	}
	for _, k := range d.LeadTime.CriticalPath {
		if !operations[k] {
			t.Errorf("the critical path has %q, which is no operation", k)
		}
	}
}

// resolve follows a pointer (RFC 6901, section 4).
func resolve(tree any, pointer string) (any, error) {
	for _, token := range strings.Split(pointer, "/")[1:] {
		token = strings.NewReplacer("~1", "/", "~0", "~").Replace(token)
		switch at := tree.(type) {
		case map[string]any:
			next, ok := at[token]
			if !ok {
				return nil, fmt.Errorf("%s: no %q", pointer, token)
			}
			tree = next
		case []any:
			i, err := strconv.Atoi(token)
			if err != nil || i < 0 || i >= len(at) {
				return nil, fmt.Errorf("%s: no row %q of %d", pointer, token, len(at))
			}
			tree = at[i]
		default:
			return nil, fmt.Errorf("%s: nothing below %q", pointer, token)
		}
	}
	return tree, nil
}

// pathsClose walks every outline: pieces meet, and the area within the path, by
// the shoelace formula over chords and the arcs' segments, is the area told.
func pathsClose(t *testing.T, d *client.Derivation) {
	t.Helper()
	o := d.Geometry.Outlines
	for name, c := range map[string]client.Outline{"recess": o.Recess, "lid": o.Lid, "trunk": o.Trunk, "clear_opening": o.ClearOpening, "flange": o.Flange, "deck_cutout": o.DeckCutout} {
		area, length := 0.0, 0.0
		for i, p := range c.Path {
			next := c.Path[(i+1)%len(c.Path)]
			if p.X2 != next.X1 || p.Y2 != next.Y1 {
				t.Errorf("%s: piece %d ends at (%v, %v), the next begins at (%v, %v)", name, i, p.X2, p.Y2, next.X1, next.Y1)
			}
			area += (p.X1*p.Y2 - p.X2*p.Y1) / 2
			if p.Kind == "line" {
				length += math.Hypot(p.X2-p.X1, p.Y2-p.Y1)
				continue
			}
			sweep := *p.SweepDeg * math.Pi / 180
			area += *p.Radius * *p.Radius / 2 * (sweep - math.Sin(sweep))
			length += *p.Radius * sweep
		}
		// Coordinates are rounded to half a step, each side.
		step := 0.0005 * 25
		if math.Abs(area-c.Area) > step*c.Perimeter || math.Abs(length-c.Perimeter) > step*float64(len(c.Path)) {
			t.Errorf("%s: the path holds %v and is %v long, told are %v and %v", name, area, length, c.Area, c.Perimeter)
		}
	}
}
