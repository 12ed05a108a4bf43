package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

func batch(rows ...string) string { return `{"configurations":[` + strings.Join(rows, ",") + `]}` }

// results returns what a batch gave, as it was written.
func (b *bench) results(rows ...string) []map[string]json.RawMessage {
	b.t.Helper()
	a := b.send(http.MethodPost, "/v1/derive/batch", b.shop, batch(rows...))
	if a.status != http.StatusOK {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	strict(b.t, a.body, &client.BatchResults{})
	var out struct{ Results []map[string]json.RawMessage }
	if err := json.Unmarshal(a.body, &out); err != nil {
		b.t.Fatal(err)
	}
	if len(out.Results) != len(rows) {
		b.t.Fatalf("%d results of %d", len(out.Results), len(rows))
	}
	return out.Results
}

// TestBatch sends good and bad configurations together, 200 in all (60 with -short): each result
// is, byte for byte, what the configuration would have been answered with alone.
func TestBatch(t *testing.T) {
	b := newBench(t)
	var rows []string
	names := slices.Sorted(maps.Keys(scenarios))
	bads := []string{
		`7`, `null`, `[]`, `{}`,
		`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diametre":500}}`,
		`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":-1}}`,
		`{"units":"in","pattern":"flush-ledge","outline":{"shape":"circle"}}`,
		`{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20,"width":15,"corner_radius":9}}`,
		`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":500},"gelcoat":{"color":"tartan"}}`,
	}
	n := 200
	if testing.Short() {
		n = 60
	}
	for i := 0; len(rows) < n; i++ {
		if i%2 == 0 {
			rows = append(rows, scenarios[names[i/2%len(names)]])
		} else {
			rows = append(rows, bads[i/2%len(bads)])
		}
	}
	alone := map[string]answer{}
	good, refused, invalid := 0, 0, 0
	for i, r := range b.results(rows...) {
		want, ok := alone[rows[i]]
		if !ok {
			want = b.send(http.MethodPost, "/v1/derive", b.shop, rows[i])
			alone[rows[i]] = want
		}
		if want.status == http.StatusOK {
			good++
			if !bytes.Equal(r["derivation"], want.body) {
				t.Errorf("%d: %s", i, firstDifference(r["derivation"], want.body))
			}
			continue
		}
		var got, single client.Problem
		strict(t, r["problem"], &got)
		strict(t, want.body, &single)
		if got.Type != single.Type || got.Status != want.status || got.Detail != single.Detail || len(got.Errors) != len(single.Errors) || len(got.Findings) != len(single.Findings) {
			t.Errorf("%d: %s alone is %s", i, r["problem"], want.body)
			continue
		}
		at := fmt.Sprintf("/configurations/%d", i)
		for k, e := range got.Errors {
			invalid++
			if e.Pointer != at+single.Errors[k].Pointer || e.Code != single.Errors[k].Code {
				t.Errorf("%d: %+v, alone %+v", i, e, single.Errors[k])
			}
		}
		for k, f := range got.Findings {
			refused++
			if f.Pointer != single.Findings[k].Pointer || f.Message != single.Findings[k].Message {
				t.Errorf("%d: %+v, alone %+v", i, f, single.Findings[k])
			}
		}
	}
	if good != n/2 || refused == 0 || invalid == 0 {
		t.Errorf("%d good, %d findings, %d errors", good, refused, invalid)
	}
}

// TestBatchRefusedWhole sends what is wrong with the batch itself.
func TestBatchRefusedWhole(t *testing.T) {
	b := newBench(t)
	many := make([]string, 201)
	for i := range many {
		many[i] = small
	}
	for _, c := range []bad{
		{"none", batch(), 400, "invalid-request", []string{"/configurations too_few_items"}},
		{"201", batch(many...), 400, "invalid-request", []string{"/configurations too_many_items"}},
		{"5,000 of nothing", batch(strings.TrimSuffix(strings.Repeat("{},", 5000), ",")), 400, "malformed-body", []string{"/configurations too_many_items"}},
		{"no list", `{"configurations":` + small + `}`, 400, "invalid-request", []string{"/configurations wrong_type"}},
		{"nothing", `{}`, 400, "invalid-request", []string{"/configurations missing"}},
		{"a configuration alone", small, 400, "invalid-request", []string{"/configurations missing", "/outline unknown_field", "/pattern unknown_field", "/units unknown_field"}},
		{"a word more, beside a bad row", `{"configurations":[{}],"units":"mm"}`, 400, "invalid-request", []string{"/units unknown_field"}},
		{"a key twice in a row", batch(small, `{"units":"mm","units":"in"}`), 400, "malformed-body", []string{"/configurations/1/units duplicate_key"}},
		{"cut off", batch(small)[:100], 400, "malformed-body", []string{" not_json"}},
		{"2 MiB", batch(strings.Repeat(" ", 2<<20) + small), 413, "body-too-large", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := b.send(http.MethodPost, "/v1/derive/batch", b.shop, c.body)
			p := a.problem(t)
			var got []string
			for _, e := range p.Errors {
				got = append(got, e.Pointer+" "+e.Code)
			}
			if a.status != c.status || p.Type != "/problems/"+c.kind || strings.Join(got, "; ") != strings.Join(c.errors, "; ") {
				t.Errorf("%d %s: %q", a.status, p.Type, got)
			}
		})
	}
}

// TestBatchesAtOnce sends several at once: they share two places and all come
// back whole, and nobody else's figures are among theirs.
func TestBatchesAtOnce(t *testing.T) {
	b := newBenchWith(t, options{timeout: 5 * time.Minute}) // on a busy machine six together take long
	done := make(chan string, 6)
	for n := range 6 {
		go func() {
			var rows []string
			for i := range 20 {
				rows = append(rows, fmt.Sprintf(`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":%d}}`, 400+20*n+i))
			}
			var out client.BatchResults
			a := b.send(http.MethodPost, "/v1/derive/batch", b.shop, batch(rows...))
			if err := json.Unmarshal(a.body, &out); err != nil || len(out.Results) != 20 {
				done <- fmt.Sprintf("%d %v", a.status, err)
				return
			}
			for i, r := range out.Results {
				if r.Derivation == nil || *r.Derivation.Configuration.Outline.Diameter != float64(400+20*n+i) {
					done <- fmt.Sprintf("batch %d, result %d: %+v", n, i, r.Problem)
					return
				}
			}
			done <- ""
		}()
	}
	for range 6 {
		if text := <-done; text != "" {
			t.Error(text)
		}
	}
}

// TestBatchOutOfTime sends more than can be worked out in the time of a request:
// what is done is answered, the rest says that time ran out.
func TestBatchOutOfTime(t *testing.T) {
	b := newBenchWith(t, options{timeout: 60 * time.Millisecond})
	rows := make([]string, 200)
	for i := range rows {
		rows[i] = manyCorners(20) // some milliseconds each
	}
	late := 0
	for i, r := range b.results(rows...) {
		if r["problem"] == nil {
			continue
		}
		late++
		var p client.Problem
		strict(t, r["problem"], &p)
		if p.Type != "/problems/timeout" || p.Status != http.StatusServiceUnavailable {
			t.Errorf("%d: %s", i, r["problem"])
		}
	}
	if late == 0 {
		t.Error("all of it was done in time")
	}
}

func TestStorefrontMayBatch(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleStorefront)
	if a := b.send(http.MethodPost, "/v1/derive/batch", key, batch(small)); a.status != http.StatusOK {
		t.Errorf("%d %s", a.status, a.body)
	}
}
