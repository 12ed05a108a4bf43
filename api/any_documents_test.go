package api

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// TestAnyDocumentsAreAnswered puts random documents, each figure within its range and
// often at an end of it, and asks for random hatches: a document is taken, or refused
// with its faults, and no hatch is a fault of the service's own. For longer:
//
//	go test ./api -run AnyDocuments -timeout 0 -rapid.checks 2000
func TestAnyDocumentsAreAnswered(t *testing.T) {
	b := newBenchWith(t, options{timeout: 5 * time.Minute}) // however busy the machine is
	example := shop.Example()
	profile, materials, book := shop.ExampleBodies()
	fewerChecks(t, "25")
	taken, refused, made := 0, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		odds := rapid.SampledFrom([]int{10, 40, 150, 600}).Draw(rt, "odds")
		var bodies []string
		for _, d := range []struct {
			path, method string
			body         []byte
			of           reflect.Type
		}{
			{"/v1/shop/materials", http.MethodPut, materials, reflect.TypeFor[shop.Materials]()},
			{"/v1/shop/price-books", http.MethodPost, book, reflect.TypeFor[shop.PriceBook]()},
			{"/v1/shop/profile", http.MethodPut, profile, reflect.TypeFor[shop.Profile]()},
		} {
			var tree any
			if err := json.Unmarshal(d.body, &tree); err != nil {
				rt.Fatal(err)
			}
			varied := vary(rt, odds, tree, d.of, d.of.Name())
			if d.of == reflect.TypeFor[shop.Profile]() {
				varyDefaults(rt, odds, varied.(map[string]any)["defaults"].(map[string]any))
			}
			text, err := json.Marshal(varied)
			if err != nil {
				rt.Fatal(err)
			}
			bodies = append(bodies, string(text))
			headers := []string{"If-Match", "*"}
			if d.method == http.MethodPost {
				headers = nil
			}
			a := b.send(d.method, d.path, b.shop, string(text), headers...)
			switch {
			case a.status < 300:
				taken++
			case a.status == http.StatusBadRequest && len(a.problem(t).Errors) > 0:
				refused++
				for _, e := range a.problem(t).Errors {
					if e.Code == "out_of_range" && e.Range != nil && strings.HasPrefix(e.Message, "This must be "+*e.Range+", not ") && !strings.HasPrefix(e.Pointer, "/fillers/") {
						rt.Errorf("within the ranges, and %s is refused: %s\n%s", e.Pointer, e.Message, text)
					}
				}
			default:
				rt.Fatalf("%s %s: %d %s\n%s", d.method, d.path, a.status, a.body, text)
			}
		}
		for n := range 4 {
			hatch := []byte(fmt.Sprintf(plain, rapid.SampledFrom(part.At("/pattern").Words).Draw(rt, "pattern"), rapid.SampledFrom([]int{1, 2, 200}).Draw(rt, "quantity")))
			if n == 0 {
				var err error
				if hatch, err = json.Marshal(drawHatch(rt, &example)); err != nil {
					rt.Fatal(err)
				}
			}
			for _, path := range []string{"/v1/check", "/v1/derive"} {
				a := b.send(http.MethodPost, path, b.shop, string(hatch))
				if a.status >= 500 {
					rt.Fatalf("%s: %d %s\nof %s\nlog %.600s\nwith\n%s", path, a.status, a.body, hatch, lastError(b.log.String()), strings.Join(bodies, "\n"))
				}
				if path == "/v1/derive" && a.status == http.StatusOK {
					made++
				}
			}
		}
	})
	t.Logf("%d documents were taken, %d refused; %d hatches could be made", taken, refused, made)
	if taken == 0 || made == 0 {
		t.Errorf("%d documents were taken and %d hatches made: nothing was tried", taken, made)
	}
}

// plain is a hatch that the example shop makes, in any pattern.
const plain = `{"units":"mm","pattern":%q,"outline":{"shape":"rectangle","length":560,"width":410,"corner_radius":60},"quantity":%d}`

// lastError is the last line of a log that is an error.
func lastError(log string) string {
	if i := strings.LastIndex(log, "level=ERROR"); i >= 0 {
		return log[i:]
	}
	return ""
}

// axes are what has to rise from row to row: their figures are left as they are.
var axes = []string{"Catalyzed.temperatures/*", "Catalyzed.percents/*", "CurePoint.temperature", "WorkingPoint.temperature"}

// vary changes one in so many figures and words of a document to others within its
// rules, an end of the range as often as not.
func vary(t *rapid.T, odds int, value any, of reflect.Type, place string) any {
	for of.Kind() == reflect.Pointer {
		of = of.Elem()
	}
	switch v := value.(type) {
	case map[string]any:
		if of.Kind() == reflect.Map {
			for _, k := range sortedKeys(v) {
				v[k] = vary(t, odds, v[k], of.Elem(), place+"/*")
			}
			return v
		}
		if of.Kind() != reflect.Struct {
			return v
		}
		for i := range of.NumField() {
			key, _, _ := strings.Cut(of.Field(i).Tag.Get("json"), ",")
			if x, ok := v[key]; ok {
				v[key] = vary(t, odds, x, of.Field(i).Type, of.Name()+"."+key)
			}
		}
		return v
	case []any:
		for i := range v {
			v[i] = vary(t, odds, v[i], of.Elem(), place+"/*")
		}
		return v
	}
	r, ok := shop.RuleAt(place)
	if !ok || slices.Contains(axes, place) || strings.HasSuffix(place, ".schema_version") || rapid.IntRange(1, odds).Draw(t, "change "+place) > 1 {
		return value
	}
	x := rapid.SampledFrom([]float64{r.Least, r.Most, rapid.Float64Range(r.Least, r.Most).Draw(t, place)}).Draw(t, "end of "+place)
	if r.OrZero && rapid.IntRange(0, 4).Draw(t, "zero "+place) == 0 {
		x = 0
	}
	switch {
	case r.Words != nil:
		return rapid.SampledFrom(r.Words).Draw(t, place)
	case of == reflect.TypeFor[shop.Exact]():
		if r.Below && x == r.Most {
			x -= 1e-6
		}
		return fmt.Sprintf("%.6f", x)
	case of.Kind() == reflect.Int:
		return math.Round(x)
	case of.Kind() == reflect.Float64:
		return x
	}
	return value
}

func sortedKeys(m map[string]any) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// varyDefaults changes one in so many defaults of figures to another within its range.
func varyDefaults(t *rapid.T, odds int, defaults map[string]any) {
	for i := range part.Parameters {
		p := &part.Parameters[i]
		if _, ok := defaults[p.Pointer]; !ok || rapid.IntRange(1, odds).Draw(t, "change "+p.Pointer) > 1 {
			continue
		}
		switch {
		case p.IsNumber():
			x := rapid.SampledFrom([]float64{p.Min, p.Max, rapid.Float64Range(p.Min, p.Max).Draw(t, p.Pointer)}).Draw(t, "end of "+p.Pointer)
			if p.Whole {
				x = math.Round(x)
			}
			defaults[p.Pointer] = x
		case p.Words != nil:
			defaults[p.Pointer] = rapid.SampledFrom(p.Words).Draw(t, p.Pointer)
		}
	}
}
