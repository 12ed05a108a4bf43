package api

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi/client"
)

func (b *bench) limits(body string) client.Limits {
	b.t.Helper()
	a := b.send(http.MethodPost, "/v1/limits", b.shop, body)
	if a.status != http.StatusOK {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	var l client.Limits
	strict(b.t, a.body, &l)
	return l
}

// changed sends the completed configuration with one figure changed to a check
// and returns the answer's status and verdict.
func (b *bench) changed(completed json.RawMessage, pointer string, value any) (int, client.Ruling) {
	b.t.Helper()
	var doc any
	if err := json.Unmarshal(completed, &doc); err != nil {
		b.t.Fatal(err)
	}
	body, err := json.Marshal(put(doc, strings.Split(pointer[1:], "/"), value))
	if err != nil {
		b.t.Fatal(err)
	}
	a := b.send(http.MethodPost, "/v1/check", b.shop, string(body))
	var r client.Ruling
	if a.status == http.StatusOK {
		strict(b.t, a.body, &r)
	}
	return a.status, r
}

func makeable(r client.Ruling) bool { return r.Verdict != "not_makeable" }

// TestLimitsHold sends every end of every number to a check, in the document's
// units, as a slider would: the end itself can be made, one step beyond it cannot,
// for the reason that was told, or is refused where the figure's own range ends.
// Every word of every choice likewise.
func TestLimitsHold(t *testing.T) {
	b := newBench(t)
	ends, words, ranges := 0, 0, 0
	for _, name := range fewer("least", "inches", "polygon", "equipped", "custom", "gutter", "coaming", "plate", "listed") {
		t.Run(name, func(t *testing.T) {
			b.t = t
			a := b.send(http.MethodPost, "/v1/limits", b.shop, scenarios[name])
			var l client.Limits
			strict(t, a.body, &l)
			completed := member(t, a.body, "configuration")
			if len(l.Numbers) < 12 || len(l.Choices) < 5 {
				t.Fatalf("%d numbers, %d choices", len(l.Numbers), len(l.Choices))
			}
			for _, n := range l.Numbers {
				if !n.Feasible || !n.Contains {
					t.Errorf("%s: feasible %v, contains %v in a hatch that can be made", n.Pointer, n.Feasible, n.Contains)
					continue
				}
				if n.Value != nil && !(*n.Value >= *n.Min && *n.Value <= *n.Max) {
					t.Errorf("%s: %v is not within %v to %v", n.Pointer, *n.Value, *n.Min, *n.Max)
				}
				scale := 1000.0 // steps to the unit
				switch {
				case n.Whole:
					scale = 1
				case strings.HasPrefix(string(n.Unit), "in"):
					scale = 100000
				}
				for _, end := range []struct {
					at    float64
					dir   float64
					bound client.LimitBound
				}{{*n.Min, -1, n.MinBound}, {*n.Max, 1, n.MaxBound}} {
					ends++
					if status, r := b.changed(completed, n.Pointer, end.at); status != http.StatusOK || !makeable(r) {
						t.Errorf("%s: the end %v: %d %s", n.Pointer, end.at, status, r.Verdict)
					}
					// The neighbor on the step; an end that is the present value may stand off it.
					k := math.Round(end.dir*end.at*scale) + 1
					if math.Abs(end.at*scale-math.Round(end.at*scale)) > 1e-4 {
						k = math.Ceil(end.dir * end.at * scale)
					}
					outside := end.dir * k / scale
					status, r := b.changed(completed, n.Pointer, outside)
					switch {
					case end.bound.Range != (end.bound.Finding == nil):
						t.Errorf("%s: range %v with finding %+v", n.Pointer, end.bound.Range, end.bound.Finding)
					case end.bound.Range:
						ranges++
						if status != http.StatusBadRequest {
							t.Errorf("%s: the range ends at %v, but %v gives %d", n.Pointer, end.at, outside, status)
						}
					case status != http.StatusOK || makeable(r):
						t.Errorf("%s: %v, a step beyond %v, gives %d %s; told was %s", n.Pointer, outside, end.at, status, r.Verdict, end.bound.Finding.Code)
					default:
						if !found(r.Findings, end.bound.Finding.Code, end.bound.Finding.Pointer) {
							t.Errorf("%s: %v is bound by %s, beyond it is %s", n.Pointer, end.at, end.bound.Finding.Code, r.Findings[0].Code)
						}
					}
				}
			}
			for _, c := range l.Choices {
				for _, word := range c.Allowed {
					words++
					if status, r := b.changed(completed, c.Pointer, word); status == http.StatusOK && !makeable(r) {
						t.Errorf("%s: %q is allowed and gives %s", c.Pointer, word, r.Findings[0].Code)
					}
				}
				for _, refused := range c.Refused {
					words++
					if status, r := b.changed(completed, c.Pointer, refused.Word); status == http.StatusOK && (makeable(r) || !found(r.Findings, refused.Finding.Code, refused.Finding.Pointer)) {
						t.Errorf("%s: %q is refused for %s and gives %s", c.Pointer, refused.Word, refused.Finding.Code, r.Verdict)
					}
				}
			}
		})
	}
	t.Logf("%d ends, %d of them a range, %d words", ends, ranges, words)
	if !testing.Short() && (ends < 300 || words < 100) || ranges == 0 || ranges == ends {
		t.Errorf("only %d ends, %d of them a range, and %d words were asked", ends, ranges, words)
	}
}

func found(list []client.Finding, code, pointer string) bool {
	for _, f := range list {
		if f.Code == code && f.Pointer == pointer {
			return true
		}
	}
	return false
}

// TestLimitsComplete asks with the least configuration: what is answered is the
// completed one, digest and all, as a check completes it.
func TestLimitsComplete(t *testing.T) {
	b := newBench(t)
	for _, name := range []string{"least", "inches", "nulls", "auto"} {
		a := b.send(http.MethodPost, "/v1/limits", b.shop, scenarios[name])
		c := b.send(http.MethodPost, "/v1/check", b.shop, scenarios[name])
		for _, key := range []string{"configuration", "digest", "revision", "verdict"} {
			if got, want := member(t, a.body, key), member(t, c.body, key); string(got) != string(want) {
				t.Errorf("%s: %s is %s, a check says %s", name, key, got, want)
			}
		}
	}
	for _, n := range b.limits(scenarios["nulls"]).Numbers {
		if left := n.Pointer == "/deck/camber_radius" || n.Pointer == "/deck/depth_below"; left != (n.Value == nil) {
			t.Errorf("%s: value %v", n.Pointer, n.Value)
		}
	}
}

// TestLimitsOfWhatCannotBeMade asks where one figure is wrong: the figure itself
// says within which interval it would be right, and what has nothing to do with it
// says that nothing helps.
func TestLimitsOfWhatCannotBeMade(t *testing.T) {
	b := newBench(t)
	l := b.limits(`{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20,"width":15,"corner_radius":9}}`)
	if l.Verdict != "not_makeable" || len(l.Findings) == 0 || len(l.Findings[0].Mend) != 0 {
		t.Fatalf("%s %+v", l.Verdict, l.Findings)
	}
	seen := map[string]client.NumberLimits{}
	for _, n := range l.Numbers {
		seen[n.Pointer] = n
		if n.Contains {
			t.Errorf("%s contains a value that cannot be made", n.Pointer)
		}
		if n.Feasible != (n.Min != nil) || n.Feasible != (n.Max != nil) {
			t.Errorf("%s: %+v", n.Pointer, n)
		}
	}
	radius, quantity := seen["/outline/corner_radius"], seen["/quantity"]
	if !radius.Feasible || *radius.Max > 7.5 || radius.MaxBound.Finding == nil || radius.Unit != "in" {
		t.Errorf("%+v", radius)
	}
	if quantity.Feasible || quantity.MinBound.Finding == nil || quantity.MinBound.Finding.Code != l.Findings[0].Code || quantity.Unit != "count" || !quantity.Whole {
		t.Errorf("%+v", quantity)
	}
}

// manyCorners is a polygon of n corners on an ellipse.
func manyCorners(n int) string {
	var corners []string
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		corners = append(corners, fmt.Sprintf(`{"x":%.4f,"y":%.4f,"radius":60}`, 300*c, 240*s))
	}
	return `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"polygon","corners":[` + strings.Join(corners, ",") + `]}}`
}

func TestLimitsOfCorners(t *testing.T) {
	b := newBench(t)
	radii := 0
	for _, n := range b.limits(manyCorners(24)).Numbers {
		if strings.HasPrefix(n.Pointer, "/outline/corners/") {
			radii++
		}
	}
	if radii != 24 {
		t.Errorf("%d corner radii", radii)
	}
}

// TestLimitsStop asks for work of many seconds where a request may take a tenth
// of one: it ends with a problem that says so.
func TestLimitsStop(t *testing.T) {
	b := newBenchWith(t, options{timeout: 100 * time.Millisecond})
	a := b.send(http.MethodPost, "/v1/limits", b.shop, manyCorners(200))
	if p := a.problem(t); a.status != http.StatusServiceUnavailable || p.Type != "/problems/timeout" || a.header.Get("Retry-After") == "" {
		t.Errorf("%d %s", a.status, a.body)
	}
}
