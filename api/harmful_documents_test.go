package api

import (
	"bytes"
	"net/http"
	"strings"
	"testing"
)

// spoil changes one place of a document, and fails where the document has it not.
func spoil(t *testing.T, document, old, changed string) string {
	t.Helper()
	if strings.Count(document, old) == 0 {
		t.Fatalf("the document has no %q", old)
	}
	return strings.Replace(document, old, changed, 1)
}

// TestHarmfulDocumentsAreRefused puts documents that would do harm later, each with one
// figure wrong: a hatch dosed a thousand times over, a price below nothing, a figure that
// no derivation gets through, a size that takes all the memory. Each is refused where it
// is put, with the place, and with the range where it is one.
func TestHarmfulDocumentsAreRefused(t *testing.T) {
	b := newBench(t)
	body := func(path string) string { return string(b.send(http.MethodGet, path, b.shop, "").body) }
	profile, materials, book := body("/v1/shop/profile"), body("/v1/shop/materials"), body("/v1/shop/price-books/1")
	long := strings.Repeat("x", 2000)
	for _, c := range []struct {
		name, document, old, changed string
		at, kept                     string // pointer, and the range
	}{
		{"catalyst density in g/mL", "materials", `"density": 1160`, `"density": 1.16`, "/catalyst/density", "900 to 1300 kg/m³"},
		{"resin at 10 to 25 % of catalyst", "materials", `"percents": [1.0, 1.5, 2.0, 2.5]`, `"percents": [10, 15, 20, 25]`, "/resins/0/catalyzed/percents/0", "0.5 to 4 %"},
		{"permitted up to 25 %", "materials", `"most_percent": 2.5`, `"most_percent": 25`, "/resins/0/catalyzed/most_percent", "0.5 to 4 %"},
		{"gelcoat permitted from 0.1 %", "materials", `"least_percent": 1.2`, `"least_percent": 0.1`, "/gelcoats/0/catalyzed/least_percent", "0.5 to 4 %"},
		{"a gel chart outside what is permitted", "materials", `"percents": [1.0, 1.5, 2.0, 2.5]`, `"percents": [2.6, 2.8, 3, 4]`, "/resins/0/catalyzed/percents", ""},
		{"half of the paste hardener", "materials", `"hardener_percent": 2, "hardener_least": 1, "hardener_most": 3`, `"hardener_percent": 50, "hardener_least": 1, "hardener_most": 50`, "/fillers/0/hardener_percent", "0.5 to 5 %"},
		{"no sealer", "materials", `"use": "seal"`, `"use": "wax"`, "/coatings", ""},
		{"no wax", "materials", `"use": "wax"`, `"use": "seal"`, "/coatings", ""},
		{"no release film", "materials", `"use": "release"`, `"use": "seal"`, "/coatings", ""},
		{"no gelcoat stays on the mold", "materials", `"transfer_spray": 0.70`, `"transfer_spray": 0`, "/gelcoats/0/transfer_spray", "0.3 to 1"},
		{"a discount of five times the price", "book", `"discount": "0.04"`, `"discount": "5"`, "/quantity_breaks/0/discount", "0 to under 1"},
		{"a discount of all of the price", "book", `"discount": "0.04"`, `"discount": "1"`, "/quantity_breaks/0/discount", "0 to under 1"},
		{"a margin in percent", "book", `"margin": "0.30"`, `"margin": "30"`, "/margin", "0 to 5"},
		{"overhead in percent", "book", `"overhead": "0.22"`, `"overhead": "22"`, "/overhead", "0 to 5"},
		{"a book in another currency", "book", `"currency": "USD"`, `"currency": "EUR"`, "/currency", ""},
		{"a profile in another currency", "profile", `"currency": "USD"`, `"currency": "EUR"`, "/currency", ""},
		{"a pack of next to nothing", "book", `"pack": 20`, `"pack": 3e-7`, "/prices/general-purpose polyester/pack", "0.001 to 100000"},
		{"resin is wet out at next to nothing", "profile", `"wet_out_rate": 4.5`, `"wet_out_rate": 1e-9`, "/mixing/wet_out_rate", "0.5 to 30 kg/h"},
		{"no rain at all", "profile", `"/gutter/rain_intensity": 120`, `"/gutter/rain_intensity": 0`, "/defaults/~1gutter~1rain_intensity", "1 to 10000 mm/h"},
		{"a million posts", "profile", `"name": "Mold bench and router", "posts": 2`, `"name": "Mold bench and router", "posts": 1000000`, "/work_centers/0/posts", "1 to 200"},
		{"a search of ten million steps", "profile", `"nest_budget": 6000`, `"nest_budget": 10000000`, "/tooling/nest_budget", ""},
		{"waiting for a year", "profile", `"glue": 4`, `"glue": 8760`, "/waits/glue", ""},
		{"a name of two thousand letters", "profile", `"name": "Pelican Reach Composites"`, `"name": "` + long + `"`, "/name", ""},
		{"a rate that is gone", "profile", `"demold":  `, `"demould":  `, "/rates/demold", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			var a answer
			switch c.document {
			case "profile":
				a = b.send(http.MethodPut, "/v1/shop/profile", b.shop, spoil(t, profile, c.old, c.changed), "If-Match", "*")
			case "materials":
				a = b.send(http.MethodPut, "/v1/shop/materials", b.shop, spoil(t, materials, c.old, c.changed), "If-Match", "*")
			default:
				a = b.send(http.MethodPost, "/v1/shop/price-books", b.shop, spoil(t, book, c.old, c.changed))
			}
			if a.status != http.StatusBadRequest {
				t.Fatalf("status %d %.300s, want 400", a.status, a.body)
			}
			var got []string
			found := false
			for _, e := range a.problem(t).Errors {
				kept := ""
				if e.Range != nil {
					kept = *e.Range
				}
				got = append(got, e.Pointer+" ("+kept+"): "+e.Message)
				found = found || e.Pointer == c.at && (c.kept == "" || kept == c.kept)
			}
			if !found {
				t.Errorf("got %q, want an error at %s with the range %q", got, c.at, c.kept)
			}
		})
	}
}

// TestFaultsOfADocument puts a profile with many faults ten times: the answer lists all of
// them, in the order of the document, with the same bytes but for the request's id.
func TestFaultsOfADocument(t *testing.T) {
	b := newBench(t)
	profile := string(b.send(http.MethodGet, "/v1/shop/profile", b.shop, "").body)
	for _, c := range [][2]string{
		{`"shop_temperature": 21`, `"shop_temperature": 70`},
		{`"/seal/width": 14`, `"/seal/width": -14`},
		{`"/quantity": 1`, `"/quantity": 1, "/lid/colour": "white"`},
		{`"kerf": 3.2`, `"kerf": 320`},
		{`"cavity_margin": 75`, `"cavity_margin": 7500`},
		{`"start": "12:00"`, `"start": "11:00"`},
		{`"posts": 1`, `"posts": 0`},
		{`"work_center": "office"`, `"work_center": "attic"`},
		{`"glue": 4`, `"glue": -4`},
		{`"wet_out_rate": 4.5`, `"wet_out_rate": 0`},
	} {
		profile = spoil(t, profile, c[0], c[1])
	}
	want := []string{"/shop_temperature", "/defaults/~1seal~1width", "/defaults/~1lid~1colour", "/tooling/cavity_margin", "/tooling/kerf",
		"/calendar/shifts/0", "/work_centers/1/posts", "/rates/inspect/work_center", "/waits/glue", "/mixing/wet_out_rate"}
	var first []byte
	for range 10 {
		a := b.send(http.MethodPut, "/v1/shop/profile", b.shop, profile, "If-Match", "*")
		p := a.problem(t)
		var got []string
		for _, e := range p.Errors {
			got = append(got, e.Pointer)
		}
		if strings.Join(got, " ") != strings.Join(want, " ") {
			t.Fatalf("errors at\n%s, want\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		same := bytes.Replace(a.body, []byte(p.RequestId), nil, 1)
		if first == nil {
			first = same
		}
		if !bytes.Equal(first, same) {
			t.Fatalf("the same profile is answered with\n%s, then\n%s", first, same)
		}
	}
}
