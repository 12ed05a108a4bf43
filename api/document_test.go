package api

import (
	"encoding/json"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
)

// TestRoutesAreTheDocuments holds the table of routes against the document, both
// ways.
func TestRoutesAreTheDocuments(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	table := map[string]route{}
	for _, r := range routes {
		table[r.method+" "+r.path] = r
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			r, ok := table[method+" "+path]
			if !ok {
				t.Errorf("the document has %s %s, the table has not", method, path)
				continue
			}
			delete(table, method+" "+path)
			if free := op.Security != nil && len(*op.Security) == 0; free != (r.role == open) {
				t.Errorf("%s %s: open %v in the document, role %q in the table", method, path, free, r.role)
			}
			// Each answer that the way to a handler can give must be in the document.
			need := []string{}
			if r.role != open {
				need = append(need, "401", "429", "500", "503")
				if r.role != "storefront" {
					need = append(need, "403")
				}
			}
			if op.RequestBody != nil {
				need = append(need, "400", "413", "415")
			}
			for _, status := range need {
				if op.Responses.Value(status) == nil {
					t.Errorf("%s %s: the document has no answer %s", method, path, status)
				}
			}
		}
	}
	for name := range table {
		t.Errorf("the table has %s, the document has not", name)
	}
}

// TestConfigurationSchemaIsTheTable holds the document's configuration against
// part.Parameters, both ways: the same figures, the same words, null where it may
// be, whole numbers where they must be, and each figure's unit in its description.
func TestConfigurationSchemaIsTheTable(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]*openapi3.Schema{}
	var walk func(at string, s *openapi3.Schema)
	walk = func(at string, s *openapi3.Schema) {
		for key, ref := range s.Properties {
			if p := ref.Value; p.Type.Is("object") {
				walk(at+"/"+key, p)
			} else {
				found[at+"/"+key] = p
			}
		}
	}
	walk("", doc.Components.Schemas["Configuration"].Value)
	for _, outside := range []string{"/units", "/outline/corners", "/laminate/lid", "/laminate/receiver", "/hardware"} {
		if found[outside] == nil {
			t.Errorf("the document has no %s", outside)
		}
		delete(found, outside)
	}
	units := map[quantity.Unit]string{
		quantity.Millimeter: "document's units", quantity.MillimeterPerHour: "hour's depth of it in the document's units", quantity.Degree: "degrees", quantity.Kilogram: "kg", quantity.Newton: "N", quantity.Kilopascal: "kPa",
		quantity.Ratio: "ratio", quantity.Count: "count",
	}
	for i := range part.Parameters {
		p := &part.Parameters[i]
		s := found[p.Pointer]
		if s == nil {
			t.Errorf("%s is not in the document", p.Pointer)
			continue
		}
		delete(found, p.Pointer)
		want := "string"
		if p.IsNumber() {
			want = "number"
			if p.Whole {
				want = "integer"
			}
			phrase, ok := units[p.Unit]
			if !ok || !strings.Contains(strings.ToLower(s.Description), strings.ToLower(phrase)) {
				t.Errorf("%s: the description %q does not say its unit, %q", p.Pointer, s.Description, phrase)
			}
		}
		if !s.Type.Is(want) {
			t.Errorf("%s: type %v, want %s", p.Pointer, s.Type.Slice(), want)
		}
		if s.Nullable != p.Null {
			t.Errorf("%s: nullable %v in the document, %v in the table", p.Pointer, s.Nullable, p.Null)
		}
		var words []string
		for _, w := range s.Enum {
			words = append(words, w.(string))
		}
		if !slices.Equal(words, p.Words) {
			t.Errorf("%s: words %v in the document, %v in the table", p.Pointer, words, p.Words)
		}
		if p.Whole && (s.Min == nil || *s.Min != p.Min || s.Max == nil || *s.Max != p.Max) {
			t.Errorf("%s: the document's range is not that of the table, %g to %g", p.Pointer, p.Min, p.Max)
		}
	}
	for pointer := range found {
		t.Errorf("%s is in the document and not in the table", pointer)
	}
}

// TestFormsInWords: whoever breaks a pattern of the document is told in words what it
// asks for.
func TestFormsInWords(t *testing.T) {
	patterns := map[string]bool{}
	for _, m := range regexp.MustCompile(`"pattern":("\^(?:[^"\\]|\\.)*")`).FindAllSubmatch(newBench(t).api.json, -1) {
		var p string
		if err := json.Unmarshal(m[1], &p); err != nil {
			t.Fatal(err)
		}
		patterns[p] = true
		if forms[p] == "" {
			t.Errorf("%s has no words", p)
		}
	}
	for p := range forms {
		if !patterns[p] {
			t.Errorf("%s is not in the document", p)
		}
	}
}

func TestProblemPages(t *testing.T) {
	b := newBench(t)
	for _, p := range problems {
		a := b.send(http.MethodGet, "/problems/"+p.name, "", "")
		if a.status != http.StatusOK || !strings.Contains(string(a.body), p.title) || !strings.Contains(a.header.Get("Content-Type"), "text/html") {
			t.Errorf("%s: %d %s", p.name, a.status, a.body)
		}
		if http.StatusText(p.status) == "" || p.meaning == "" || p.remedy == "" {
			t.Errorf("%s is not explained", p.name)
		}
	}
	if a := b.send(http.MethodGet, "/problems/nothing-like-it", "", ""); a.status != http.StatusNotFound {
		t.Errorf("unknown page: %d", a.status)
	}
	for kind, p := range byKind {
		if problems[p.name] != p {
			t.Errorf("%v leads to a problem without a page", kind)
		}
	}
}
