package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the scenarios' answers anew")

const scenarios = "../../testdata/scenarios"

// scenarioStart is Monday 2027-02-01, 07:00 in the example shop's time zone.
const scenarioStart = "2027-02-01T07:00:00-05:00"

// mostDifferences is how many differing figures a failure lists: enough to see
// what kind of change it is.
const mostDifferences = 25

// scenarioRequests returns the requests' files by the scenario's name.
func scenarioRequests(t *testing.T) map[string]string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(scenarios, "*.request.json"))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, f := range files {
		out[strings.TrimSuffix(filepath.Base(f), ".request.json")] = f
	}
	return out
}

// TestScenarios derives each request of testdata/scenarios with the command and
// compares what it prints with the reviewed answer, figure by figure.
func TestScenarios(t *testing.T) {
	requests := scenarioRequests(t)
	for _, name := range slices.Sorted(maps.Keys(requests)) {
		t.Run(name, func(t *testing.T) {
			var out, errs bytes.Buffer
			code := run(context.Background(), streams{strings.NewReader(""), &out, &errs, nil}, []string{"derive", "-start", scenarioStart, requests[name]})
			if code != exitOK && code != exitNotMakeable {
				t.Fatalf("exit %d: %s", code, errs.String())
			}
			if makeable := strings.Contains(out.String(), `"cautions":[`); makeable != (code == exitOK) {
				t.Fatalf("exit %d, and the answer says otherwise", code)
			}
			now := readJSON(t, out.Bytes())
			golden := filepath.Join(scenarios, name+".answer.json")
			if *update {
				if err := os.WriteFile(golden, readable(t, now), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			kept, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			differences := differ(nil, "", readJSON(t, kept), now)
			for i, d := range differences {
				if i == mostDifferences {
					t.Errorf("… and %d figures more", len(differences)-i)
					break
				}
				t.Error(d)
			}
			if len(differences) == 0 && !bytes.Equal(kept, readable(t, now)) {
				t.Error("the figures are equal, but the file is not in the form that -update writes")
			}
		})
	}
}

// TestScenariosCover: each word that decides how a hatch is built stands in two
// scenarios at least that are worked out to their bill.
func TestScenariosCover(t *testing.T) {
	seen := map[string]int{}
	for name := range scenarioRequests(t) {
		b, err := os.ReadFile(filepath.Join(scenarios, name+".answer.json"))
		if err != nil {
			t.Fatal(err)
		}
		var a struct {
			Configuration struct {
				Units, Pattern string
				Outline        struct{ Shape string }
				Duty           struct{ Kind string }
				Laminate       struct{ Schedule string }
			}
			Bill *struct{}
		}
		if err := json.Unmarshal(b, &a); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if a.Bill == nil {
			continue
		}
		c := a.Configuration
		for _, word := range []string{"units " + c.Units, "pattern " + c.Pattern, "shape " + c.Outline.Shape, "duty " + c.Duty.Kind, "schedule " + c.Laminate.Schedule} {
			seen[word]++
		}
	}
	for kind, words := range map[string][]string{
		"units":    {"mm", "in"},
		"pattern":  {"flush-ledge", "flush-gutter", "raised-coaming", "bolted-plate"},
		"shape":    {"rectangle", "obround", "circle", "dee", "taper", "polygon"},
		"duty":     {"no_step", "step", "working_deck", "custom"},
		"schedule": {"standard", "auto", "listed"},
	} {
		for _, word := range words {
			t.Run(kind+" "+word, func(t *testing.T) {
				if n := seen[kind+" "+word]; n < 2 {
					t.Errorf("%d scenarios that can be made, want 2 or more", n)
				}
			})
		}
	}
}

// readJSON reads a document and keeps each number as it is written.
func readJSON(t *testing.T, b []byte) any {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(b))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

// readable writes a document with sorted names, one figure a line. Figures keep
// the digits that the answer has.
func readable(t *testing.T, v any) []byte {
	t.Helper()
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// differ appends where two documents differ, as JSON pointers with both values.
func differ(out []string, at string, kept, now any) []string {
	switch k := kept.(type) {
	case map[string]any:
		n, ok := now.(map[string]any)
		if !ok {
			break
		}
		names := maps.Clone(n)
		maps.Copy(names, k)
		for _, name := range slices.Sorted(maps.Keys(names)) {
			kv, inKept := k[name]
			nv, inNow := n[name]
			switch pointer := at + "/" + name; {
			case !inKept:
				out = append(out, fmt.Sprintf("%s: now %s, was not there", pointer, short(nv)))
			case !inNow:
				out = append(out, fmt.Sprintf("%s: not there now, was %s", pointer, short(kv)))
			default:
				out = differ(out, pointer, kv, nv)
			}
		}
		return out
	case []any:
		n, ok := now.([]any)
		if !ok || len(n) != len(k) {
			break
		}
		for i := range k {
			out = differ(out, fmt.Sprintf("%s/%d", at, i), k[i], n[i])
		}
		return out
	default:
		if kept == now {
			return out
		}
	}
	return append(out, fmt.Sprintf("%s: now %s, was %s", at, short(now), short(kept)))
}

// short writes a value in at most one line of a terminal.
func short(v any) string {
	if list, ok := v.([]any); ok {
		return fmt.Sprintf("a list of %d", len(list))
	}
	b, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	if len(b) > 120 {
		return string(b[:120]) + "…"
	}
	return string(b)
}
