package api

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
	"hatchwright/service/shop"
)

// TestShopRangesAreTheDocuments holds the table of what the shop's documents may hold
// against the contract's document, both ways: every figure, decimal, list, map and text
// of either has the same range, words or form in the other.
func TestShopRangesAreTheDocuments(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	var walk func(place string, s *openapi3.Schema, of reflect.Type)
	walk = func(place string, s *openapi3.Schema, of reflect.Type) {
		for of.Kind() == reflect.Pointer {
			of = of.Elem()
		}
		exact := of == reflect.TypeFor[shop.Exact]()
		if of.Kind() == reflect.Struct && !exact {
			for i := range of.NumField() {
				key, _, _ := strings.Cut(of.Field(i).Tag.Get("json"), ",")
				if p := s.Properties[key]; p != nil {
					walk(of.Name()+"."+key, p.Value, of.Field(i).Type)
				}
			}
			return
		}
		if of.Kind() == reflect.Bool || of.Kind() == reflect.Interface {
			return
		}
		seen[place] = true
		r, ok := shop.RuleAt(place)
		if !ok && !(of.Kind() == reflect.Map && of.Elem().Kind() != reflect.Float64 && place == "") {
			t.Errorf("%s has no rule", place)
			return
		}
		sameRange(t, place, s, r, of, exact)
		switch of.Kind() {
		case reflect.Slice:
			walk(place+"/*", s.Items.Value, of.Elem())
		case reflect.Map:
			if of.Elem().Kind() != reflect.Interface {
				walk(place+"/*", s.AdditionalProperties.Schema.Value, of.Elem())
			}
		}
	}
	for name, of := range map[string]reflect.Type{"ShopProfile": reflect.TypeFor[shop.Profile](), "ShopMaterials": reflect.TypeFor[shop.Materials](), "PriceBook": reflect.TypeFor[shop.PriceBook]()} {
		walk(name, doc.Components.Schemas[name].Value, of)
	}
	for _, place := range shop.Places() {
		if !seen[place] {
			t.Errorf("%s has a rule and is no place of the documents", place)
		}
	}
	if len(seen) < 150 {
		t.Errorf("only %d places were looked at", len(seen))
	}
}

// sameRange holds one place of the contract's document against its rule. Where the schema has
// no words for a rule (0 or a range, the value of a decimal) the description has it.
func sameRange(t *testing.T, place string, s *openapi3.Schema, r shop.Rule, of reflect.Type, exact bool) {
	t.Helper()
	number := func(p *float64) string {
		if p == nil {
			return "none"
		}
		return fmt.Sprint(*p)
	}
	size := func(least uint64, most *uint64) string {
		if most == nil {
			return fmt.Sprintf("%d to any", least)
		}
		return fmt.Sprintf("%d to %d", least, *most)
	}
	want, got := "", ""
	switch {
	case exact:
		want, got = r.Form, s.Pattern
		if !strings.Contains(s.Description, r.String()) {
			t.Errorf("%s: the description %q does not say %q", place, s.Description, r)
		}
	case r.Words != nil:
		var list []string
		for _, w := range s.Enum {
			list = append(list, fmt.Sprint(w))
		}
		slices.Sort(list)
		want, got = fmt.Sprint(slices.Sorted(slices.Values(r.Words))), fmt.Sprint(list)
	case r.Form != "":
		want, got = r.Form, s.Pattern
		if s.Format == "date" {
			got = `^[0-9]{4}-[0-9]{2}-[0-9]{2}$`
		}
	case of.Kind() == reflect.String:
		want, got = fmt.Sprintf("%g to %g", r.Least, r.Most), size(s.MinLength, s.MaxLength)
	case of.Kind() == reflect.Slice:
		want, got = fmt.Sprintf("%g to %g", r.Least, r.Most), size(s.MinItems, s.MaxItems)
	case of.Kind() == reflect.Map:
		want, got = fmt.Sprintf("%g to %g", r.Least, r.Most), size(s.MinProps, s.MaxProps)
	default:
		least := r.Least
		if r.OrZero {
			least = 0
			if !strings.Contains(s.Description, r.String()) {
				t.Errorf("%s: the description %q does not say %q", place, s.Description, r)
			}
		}
		want = fmt.Sprintf("%v %v to %v %v", least, r.Above, r.Most, r.Below)
		without := func(b openapi3.ExclusiveBound) bool { return b.Bool != nil && *b.Bool }
		got = fmt.Sprintf("%s %v to %s %v", number(s.Min), without(s.ExclusiveMin), number(s.Max), without(s.ExclusiveMax))
	}
	if want != got {
		t.Errorf("%s: the document has %s, the table %s", place, got, want)
	}
}
