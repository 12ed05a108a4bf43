package api

import (
	"net/http"
	"strings"
	"testing"
)

// TestNothingOfAQueryIsLeftOut sends what a lenient reader leaves out or takes for
// something else: each is told, and together with all else that is wrong.
func TestNothingOfAQueryIsLeftOut(t *testing.T) {
	b := newBench(t)
	for _, c := range []struct {
		name, method, path, body string
		want                     []string // "parameter or pointer, code"
	}{
		{"a bad escape", http.MethodGet, "/v1/audit?created_from=%zz", "", []string{"created_from wrong_form"}},
		{"a semicolon", http.MethodGet, "/v1/audit?limit=5;subject=x", "", []string{"limit wrong_form"}},
		{"one bad escape of two parts", http.MethodGet, "/v1/audit?action=%4&limit=0", "", []string{"action wrong_form", "limit out_of_range"}},
		{"a plus that is a blank", http.MethodGet, "/v1/audit?created_from=2026-11-30T00:00:00+01:00", "", []string{"created_from wrong_form"}},
		{"an empty text", http.MethodGet, "/v1/orders?purchase_reference=", "", []string{"purchase_reference empty"}},
		{"an empty truth value", http.MethodGet, "/v1/stock/lots?held=", "", []string{"held empty"}},
		{"1 for true", http.MethodGet, "/v1/stock/lots?held=1", "", []string{"held wrong_type"}},
		{"TRUE for true", http.MethodGet, "/v1/stock/lots?held=TRUE", "", []string{"held wrong_type"}},
		{"t for true", http.MethodPost, "/v1/derive?shorten=t", small, []string{"shorten wrong_type"}},
		{"leading zeros", http.MethodGet, "/v1/keys?limit=007", "", []string{"limit wrong_type"}},
		{"a plus before a number", http.MethodGet, "/v1/keys?limit=%2B7", "", []string{"limit wrong_type"}},
		{"a version with leading zeros", http.MethodGet, "/v1/shop/price-books/01", "", []string{"version wrong_type"}},
		{"a number with a bare point", http.MethodGet, "/v1/configurations/" + nobody + "/mixes?temperature=20.", "", []string{"temperature wrong_type"}},
		{"an order backward", http.MethodGet, "/v1/orders?promised_from=2027-02-01&promised_to=2027-01-01", "", []string{"promised_to order"}},
		{"changes backward", http.MethodGet, "/v1/audit?created_from=2027-02-01T00:00:00Z&created_before=2027-01-01T00:00:00Z", "", []string{"created_before order"}},
		{"moves backward", http.MethodGet, "/v1/stock/moves?created_from=2027-02-01T00:00:00Z&created_before=2027-01-01T00:00:00%2B01:00", "", []string{"created_before order"}},
		{"all at once", http.MethodGet, "/v1/audit?created_from=2027-02-30T00:00:00Z&created_before=x&limit=0&key_id=7&nonsense=1&action=&thing=a&thing=b", "",
			[]string{"action empty", "nonsense unknown_parameter", "thing duplicate_parameter", "limit out_of_range", "key_id wrong_form", "created_from wrong_form", "created_before wrong_form"}},
		{"query and body at once", http.MethodPost, "/v1/derive?shorten=1&x=2", `{"units":"mm","colour":"white"}`,
			[]string{"x unknown_parameter", "shorten wrong_type", "/colour unknown_field", "/outline missing", "/pattern missing"}},
		{"query and text at once", http.MethodPost, "/v1/derive?x=2", `{"units":"mm","units":"in"}`, []string{"x unknown_parameter", "/units duplicate_key"}},
		{"a body where none is taken", http.MethodGet, "/v1/keys", `{"role":"shop"}`, []string{" unexpected_body"}},
		{"a body of a withdrawal", http.MethodPost, "/v1/quotes/" + nobody + "/withdrawal", `{"reason":"x"}`, []string{" unexpected_body"}},
		{"a long body where none is taken", http.MethodDelete, "/v1/keys/" + nobody, strings.Repeat(" ", 2000) + "{}", []string{" unexpected_body"}},
		{"half a surrogate pair", http.MethodPost, "/v1/dealers", `{"name":"a\ud83d"}`, []string{"/name not_unicode"}},
		{"the other half", http.MethodPost, "/v1/dealers", `{"name":"\udea4 a"}`, []string{"/name not_unicode"}},
		{"two first halves", http.MethodPost, "/v1/dealers", `{"name":"\ud83d\ud83d\udea4"}`, []string{"/name not_unicode"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := b.send(c.method, c.path, b.shop, c.body)
			if a.status != http.StatusBadRequest {
				t.Fatalf("status %d, want 400: %.300s", a.status, a.body)
			}
			got := map[string]bool{}
			for _, e := range a.problem(t).Errors {
				at := e.Pointer
				if e.Parameter != nil {
					at = *e.Parameter
				}
				got[at+" "+e.Code] = true
				if e.Message == "" {
					t.Errorf("%s has no message", at)
				}
			}
			if len(got) != len(c.want) {
				t.Errorf("got %v, want %q", got, c.want)
			}
			for _, w := range c.want {
				if !got[w] {
					t.Errorf("got %v, want %q among it", got, w)
				}
			}
		})
	}
	for _, c := range []struct{ name, method, path, body string }{
		{"a blank body where none is taken", http.MethodGet, "/v1/keys", " "},
		{"an empty object where none is taken", http.MethodGet, "/v1/keys", "{}"},
		{"a whole surrogate pair", http.MethodPost, "/v1/check", configuration(round, `,"gelcoat":{"color":"\ud83d\udea4"}`)},
		{"an escaped plus", http.MethodGet, "/v1/audit?created_from=2026-11-30T00:00:00%2B01:00", ""},
		{"an instant as both ends", http.MethodGet, "/v1/audit?created_from=2027-01-01T00:00:00Z&created_before=2027-01-01T00:00:00Z", ""},
		{"held lots", http.MethodGet, "/v1/stock/lots?held=true", ""},
		{"no lots held", http.MethodGet, "/v1/stock/lots?held=false", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			if a := b.send(c.method, c.path, b.shop, c.body); a.status != http.StatusOK {
				t.Errorf("status %d, want 200: %.300s", a.status, a.body)
			}
		})
	}
}
