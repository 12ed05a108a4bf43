package api

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
)

// badTimes are texts that some readers take for times and that name none, or none of
// this service's years.
var badTimes = []string{
	"2027-03-15T23:59:60Z", "2016-12-31T23:59:60Z", "2027-02-30T08:00:00Z", "2027-02-29T08:00:00Z", "2027-04-31T08:00:00Z", "2027-13-01T08:00:00Z", "2027-00-10T08:00:00Z",
	"2027-03-15T24:00:00Z", "2027-03-15T08:60:00Z", "2027-03-15T08:00:00", "2027-03-15", "2027-03-15 08:00:00Z", "2027-03-15t08:00:00z", "2027-03-15T08:00:00+24:00",
	"2027-03-15T08:00:00+05:60", "2027-03-15T08:00:00+0500", "2027-03-15T08:00:00,5Z", "2027-03-15T08:00:00.Z", "2027-03-15T08:00:00.0123456789Z", "0000-01-01T00:00:00Z",
	"0001-01-01T00:00:00Z", "1969-12-31T23:59:59Z", "2200-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "20270315T080000Z", "2027-3-15T8:00:00Z", "1773561600", "tomorrow",
}

// badDates are the same for dates.
var badDates = []string{
	"2027-02-30", "2027-02-29", "2100-02-29", "2027-04-31", "2027-13-01", "2027-00-10", "2027-01-00", "2027-1-1", "20270101", "2027-W01-1", "2027-001",
	"0000-01-01", "0001-01-01", "1969-12-31", "2200-01-01", "9999-12-31", "2027-03-15T08:00:00Z", "03/15/2027", "today",
}

// TestEveryDateInABodyIsRead puts times and dates that do not exist into each body that
// takes one. A key that was to end must never live for good because its end was
// misspelt: each is refused, with its place and how to mend it, and nothing is made.
func TestEveryDateInABodyIsRead(t *testing.T) {
	b := newBench(t)
	dealer, _ := b.dealer("Brackwater Marine", "dealer")
	order := nobody
	line := `"lines":[{"configuration":` + small + `}]`
	for _, c := range []struct {
		name, method, path, pointer, body string
		bad                               []string
	}{
		{"a key's end", http.MethodPost, "/v1/keys", "/expires_at", `{"name":"n","role":"shop","expires_at":"@"}`, badTimes},
		{"a dealer's key's end", http.MethodPost, "/v1/dealers/" + dealer + "/keys", "/expires_at", `{"name":"n","role":"dealer","expires_at":"@"}`, badTimes},
		{"the end of a successor", http.MethodPost, "/v1/keys/" + nobody + "/rotation", "/expires_at", `{"expires_at":"@"}`, badTimes},
		{"a quote's end", http.MethodPost, "/v1/quotes", "/valid_until", `{` + line + `,"valid_until":"@"}`, badTimes},
		{"a record's start", http.MethodPut, "/v1/orders/" + order + "/operations/x/record", "/started_at", `{"started_at":"@"}`, badTimes},
		{"a record's finish", http.MethodPut, "/v1/orders/" + order + "/operations/x/record", "/finished_at", `{"started_at":"2026-11-30T08:00:00Z","finished_at":"@"}`, badTimes},
		{"a day wished for", http.MethodPost, "/v1/check", "/needed_by", configuration(round, `,"needed_by":"@"`), badDates},
		{"a lot's receipt", http.MethodPost, "/v1/stock/moves", "/lot/received_on", `{"kind":"receive","amount":1,"lot":{"material":"white gelcoat","received_on":"@"}}`, badDates},
		{"a lot's age", http.MethodPost, "/v1/stock/moves", "/lot/expires_on", `{"kind":"receive","amount":1,"lot":{"material":"white gelcoat","expires_on":"@"}}`, badDates},
	} {
		for _, text := range append([]string{""}, c.bad...) {
			t.Run(c.name+" "+text, func(t *testing.T) {
				a := b.send(c.method, c.path, b.shop, strings.ReplaceAll(c.body, "@", text))
				if a.status != http.StatusBadRequest {
					t.Fatalf("status %d, want 400: %.300s", a.status, a.body)
				}
				p := a.problem(t)
				if len(p.Errors) != 1 || p.Errors[0].Pointer != c.pointer {
					t.Fatalf("errors %+v, want one at %s", p.Errors, c.pointer)
				}
				if p.Errors[0].Message == "" {
					t.Error("the refusal does not say how to mend it")
				}
			})
		}
	}
}

// TestEveryDateInAQueryIsRead is the same for the query parameters of the document: a
// filter that cannot be read must not show everything.
func TestEveryDateInAQueryIsRead(t *testing.T) {
	b := newBench(t)
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, path := range slices.Sorted(maps.Keys(doc.Paths.Map())) {
		item := doc.Paths.Value(path)
		for method, op := range item.Operations() {
			for _, p := range slices.Concat(item.Parameters, op.Parameters) {
				if p.Value.In != openapi3.ParameterInQuery {
					continue
				}
				var bad []string
				switch p.Value.Schema.Value.Format {
				case "date":
					bad = badDates
				case "date-time":
					bad = badTimes
				default:
					continue
				}
				found++
				name := p.Value.Name
				for _, text := range append([]string{""}, bad...) {
					t.Run(method+" "+path+" "+name+" "+text, func(t *testing.T) {
						a := b.send(method, path+"?"+name+"="+url.QueryEscape(text), b.shop, "")
						if a.status != http.StatusBadRequest {
							t.Fatalf("status %d, want 400: %.300s", a.status, a.body)
						}
						e := a.problem(t).Errors
						if len(e) != 1 || e[0].Parameter == nil || *e[0].Parameter != name {
							t.Fatalf("errors %+v, want one of %s", e, name)
						}
					})
				}
			}
		}
	}
	if found < 12 {
		t.Errorf("%d query parameters that are dates or times, want 12 or more", found)
	}
}
