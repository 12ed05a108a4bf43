package api

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
)

// oddValues are values that a query parameter or a part of a path may be sent with
// by mistake or on purpose, as they stand in a URL.
var oddValues = map[string]string{
	"empty": "", "spaces": "%20%20", "zero": "0", "negative": "-1", "huge": "99999999999999999999999999", "a float": "1.5",
	"hexadecimal": "0x10", "NaN": "NaN", "infinity": "-Infinity", "1e999": "1e999", "a word": "nonsense", "TRUE": "TRUE", "null": "null",
	"a list": "1,2", "JSON": "%7B%22a%22%3A%5B%5D%7D", "umlaut": "%C3%BC", "emoji": "%F0%9F%9A%A4", "right to left": "%E2%80%AE2026", "combining": "e%CC%81",
	"full-width digits": "%EF%BC%91%EF%BC%92", "NUL": "a%00b", "line feed": "a%0Ab", "not UTF-8": "%FF%FE", "cut UTF-8": "%C3",
	"quotes": "%27%20OR%20%271%27%3D%271", "percent": "%25", "path": "..%2F..%2Fetc", "long": strings.Repeat("a", 5000),
	"no such day": "2026-02-30", "year 0": "0000-01-01", "last year": "9999-12-31", "a day": "2026-11-30", "no zone": "2026-11-30T00:00:00", "leap second": "2016-12-31T23:59:60Z",
	"nil UUID": "00000000-0000-0000-0000-000000000000", "UUID in braces": "%7B01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55%7D", "UUID without dashes": "01936f2e7c2a7b619d3e1f0c2b8a4d55",
}

// TestEveryQueryParameterAtOddValues sends each query parameter of the document at
// odd values, twice, and beside one that is not there, and puts the odd values into
// each place of each path: an answer as the document has it or a clear refusal that
// names the parameter, never a fault of the service's own.
func TestEveryQueryParameterAtOddValues(t *testing.T) {
	b := newBenchWith(t, options{timeout: 5 * time.Minute}) // however busy the machine is
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	names := slices.Sorted(maps.Keys(oddValues))
	asked, parameters := 0, 0
	ask := func(method, path, what, parameter string) answer {
		t.Helper()
		asked++
		body := ""
		if method == http.MethodPost || method == http.MethodPut || method == http.MethodPatch {
			body = "{}"
		}
		a := b.send(method, path, b.shop, body, "If-Match", "*")
		if a.status >= 500 {
			t.Errorf("%s %.200s, %s: %d %s", method, path, what, a.status, a.body)
		}
		if a.status == http.StatusBadRequest && parameter != "" {
			p := a.problem(t)
			// A body that lacks everything may be told first.
			if len(p.Errors) == 0 || p.Errors[0].Message == "" || body == "" && (p.Errors[0].Parameter == nil || *p.Errors[0].Parameter != parameter) {
				t.Errorf("%s %.200s, %s: the refusal does not name %s: %s", method, path, what, parameter, a.body)
			}
		}
		return a
	}
	for _, path := range slices.Sorted(maps.Keys(doc.Paths.Map())) {
		item := doc.Paths.Value(path)
		for method, op := range item.Operations() {
			if path == eventsPath {
				continue // a stream does not end by itself
			}
			whole := path
			var places []string
			for _, p := range slices.Concat(item.Parameters, op.Parameters) {
				if p.Value.In == openapi3.ParameterInPath {
					places = append(places, p.Value.Name)
					good := nobody
					if p.Value.Schema.Value.Format != "uuid" {
						good = fmt.Sprint(p.Value.Example)
					}
					whole = strings.ReplaceAll(whole, "{"+p.Value.Name+"}", url.PathEscape(good))
				}
			}
			for _, name := range fewer(names...) {
				for _, place := range places {
					if value := oddValues[name]; value != "" { // an empty one is another path
						p := strings.ReplaceAll(path, "{"+place+"}", value)
						for _, other := range places {
							p = strings.ReplaceAll(p, "{"+other+"}", nobody)
						}
						if a := ask(method, p, name+" for "+place, ""); a.status < 400 && op.Security == nil {
							t.Errorf("%s %.200s, %s: %d", method, p, name, a.status)
						}
					}
				}
				for _, p := range slices.Concat(item.Parameters, op.Parameters) {
					if p.Value.In == openapi3.ParameterInQuery {
						ask(method, whole+"?"+p.Value.Name+"="+oddValues[name], name+" for "+p.Value.Name, p.Value.Name)
					}
				}
			}
			for _, p := range slices.Concat(item.Parameters, op.Parameters) {
				if p.Value.In != openapi3.ParameterInQuery {
					continue
				}
				parameters++
				n := p.Value.Name
				if a := ask(method, whole+"?"+n+"=1&"+n+"=1", "twice", n); a.status < 400 {
					t.Errorf("%s %s: %s is taken twice", method, path, n)
				}
				ask(method, whole+"?"+strings.ToUpper(n)+"=1", "in capitals", strings.ToUpper(n))
				ask(method, whole+"?"+n, "without a value", n)
				ask(method, whole+"?"+n+"[]=1", "as a list", n+"[]")
				ask(method, whole+"?"+n+"%FF=1", "with a byte behind it", n+"\uFFFD")
			}
		}
	}
	t.Logf("%d requests, %d query parameters", asked, parameters)
	if parameters < 40 {
		t.Errorf("only %d query parameters in the document", parameters)
	}
}
