package api

import (
	"bytes"
	"context"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
	"hatchwright/openapi/client"
	"hatchwright/service/record"
	"hatchwright/service/shop"
)

// TestShopSchemasAreTheTypes holds the document's schemas of the shop's own data
// against the types that read it, both ways: the same fields, of the same kind, and
// optional where the type may leave them out. The example shop keeps to them.
func TestShopSchemasAreTheTypes(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	fields := 0
	var walk func(at string, s *openapi3.Schema, of reflect.Type)
	walk = func(at string, s *openapi3.Schema, of reflect.Type) {
		for of.Kind() == reflect.Pointer {
			of = of.Elem()
		}
		kind := ""
		switch {
		case of == reflect.TypeFor[shop.Exact]():
			kind = "string"
		case of.Kind() == reflect.Struct:
			kind = "object"
			var keys []string
			for i := range of.NumField() {
				f := of.Field(i)
				key, options, _ := strings.Cut(f.Tag.Get("json"), ",")
				p := s.Properties[key]
				if p == nil {
					t.Errorf("%s/%s is read and not in the document", at, key)
					continue
				}
				fields++
				keys = append(keys, key)
				if required := slices.Contains(s.Required, key); required == strings.Contains(options, "omit") {
					t.Errorf("%s/%s: required %v in the document, %q in the type", at, key, required, options)
				}
				if p.Value.Nullable != (f.Type.Kind() == reflect.Pointer) {
					t.Errorf("%s/%s: nullable %v", at, key, p.Value.Nullable)
				}
				walk(at+"/"+key, p.Value, f.Type)
			}
			for key := range s.Properties {
				if !slices.Contains(keys, key) {
					t.Errorf("%s/%s is in the document and not read", at, key)
				}
			}
		case of.Kind() == reflect.Slice:
			kind = "array"
			walk(at+"/0", s.Items.Value, of.Elem())
		case of.Kind() == reflect.Map:
			kind = "object"
			if of.Elem().Kind() != reflect.Interface {
				walk(at+"/*", s.AdditionalProperties.Schema.Value, of.Elem())
			}
		default:
			kind = map[reflect.Kind]string{reflect.String: "string", reflect.Float64: "number", reflect.Int: "integer", reflect.Bool: "boolean"}[of.Kind()]
			if (kind == "number" || kind == "integer") && (s.Min == nil || s.Max == nil) && !strings.HasSuffix(at, "/0") {
				t.Errorf("%s has no range", at)
			}
		}
		if !s.Type.Is(kind) {
			t.Errorf("%s: %v in the document, %s in the type", at, s.Type.Slice(), kind)
		}
	}
	profile, materials, prices := shop.ExampleBodies()
	for name, c := range map[string]struct {
		of   reflect.Type
		body []byte
	}{"ShopProfile": {reflect.TypeFor[shop.Profile](), profile}, "ShopMaterials": {reflect.TypeFor[shop.Materials](), materials}, "PriceBook": {reflect.TypeFor[shop.PriceBook](), prices}} {
		s := doc.Components.Schemas[name].Value
		walk(name, s, c.of)
		tree, err := decodeStrict(c.body)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range checkSchema(s, tree) {
			t.Errorf("the example's %s: %+v", name, f)
		}
	}
	if fields < 150 {
		t.Errorf("only %d fields were looked at", fields)
	}
}

// TestShopDocuments reads, changes and reads back each document, through the
// generated client; the next derivation is made with it.
func TestShopDocuments(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	shopClient := b.client(b.shop)
	derive := func() (d client.Derivation) {
		t.Helper()
		strict(t, b.send(http.MethodPost, "/v1/derive", b.shop, small).body, &d)
		return d
	}
	before := derive()
	read, err := shopClient.GetShopProfileWithResponse(ctx, nil)
	if err != nil || read.JSON200 == nil || read.HTTPResponse.Header.Get("ETag") != `"1"` {
		t.Fatalf("%v %s", err, read.Body)
	}
	if a := b.send(http.MethodGet, "/v1/shop/profile", b.shop, "", "If-None-Match", `"1"`); a.status != http.StatusNotModified || len(a.body) != 0 {
		t.Errorf("%d %s", a.status, a.body)
	}
	changed := *read.JSON200
	changed.Waste.Resin = 0.5
	body := strings.Replace(string(read.Body), `"resin": 0.10`, `"resin": 0.5`, 1)
	b.send(http.MethodPut, "/v1/shop/profile", b.shop, body).wants(t, 428, "precondition-required")
	b.send(http.MethodPut, "/v1/shop/profile", b.shop, body, "If-Match", `"2"`).wants(t, 412, "precondition-failed")
	b.clock.Add(time.Minute)
	put, err := shopClient.PutShopProfileWithResponse(ctx, &client.PutShopProfileParams{IfMatch: pointer(`"1"`)}, changed)
	if err != nil || put.JSON200 == nil || put.JSON200.Version != 2 || put.JSON200.ChangedBy == nil || put.JSON200.ChangedBy.KeyId == nil || put.JSON200.ChangedBy.Issuer != nil || put.JSON200.ChangedBy.Subject != nil || !put.JSON200.ChangedAt.Equal(monday.Add(time.Minute)) || put.HTTPResponse.Header.Get("ETag") != `"2"` {
		t.Fatalf("%v %s", err, put.Body)
	}
	after := derive()
	if after.Revision.Catalog != "2.1" || before.Revision.Catalog != "1.1" || after.Bill.Totals.Price == before.Bill.Totals.Price {
		t.Errorf("before %+v %+v, after %+v %+v", before.Revision, before.Bill.Totals, after.Revision, after.Bill.Totals)
	}
	b.send(http.MethodPut, "/v1/shop/profile", b.shop, body, "If-Match", `"1"`).wants(t, 412, "precondition-failed")
	old := b.send(http.MethodGet, "/v1/shop/profile?version=1", b.shop, "")
	if !bytes.Equal(old.body, read.Body) || old.header.Get("ETag") != `"1"` {
		t.Errorf("version 1 is another now: %s", old.body)
	}
	b.send(http.MethodGet, "/v1/shop/profile?version=3", b.shop, "").wants(t, 404, "not-found")
	one := 1
	first, err := shopClient.ListShopProfileVersionsWithResponse(ctx, &client.ListShopProfileVersionsParams{Limit: &one})
	if err != nil || first.JSON200 == nil || first.JSON200.Items[0].Version != 2 || !reflect.DeepEqual(first.JSON200.Items[0].ChangedBy, put.JSON200.ChangedBy) || first.JSON200.NextCursor == nil {
		t.Fatalf("%v %s", err, first.Body)
	}
	second, err := shopClient.ListShopProfileVersionsWithResponse(ctx, &client.ListShopProfileVersionsParams{Limit: &one, Cursor: first.JSON200.NextCursor})
	if err != nil || second.JSON200 == nil || second.JSON200.Items[0].Version != 1 || second.JSON200.Items[0].ChangedBy != nil || second.JSON200.NextCursor != nil {
		t.Errorf("%v %s", err, second.Body)
	}

	// Materials.
	stuff := b.send(http.MethodGet, "/v1/shop/materials", b.shop, "")
	heavier := strings.Replace(string(stuff.body), `"cured_density": 1200`, `"cured_density": 1210`, 1)
	if a := b.send(http.MethodPut, "/v1/shop/materials", b.shop, heavier, "If-Match", "*"); a.status != 200 || a.header.Get("ETag") != `"2"` {
		t.Errorf("%d %s", a.status, a.body)
	}
	if got := b.send(http.MethodGet, "/v1/shop/materials", b.shop, ""); string(got.body) != heavier || derive().Revision.Catalog != "2.2" {
		t.Errorf("%s", got.body)
	}

	// Price books: each a new one.
	book := b.send(http.MethodGet, "/v1/shop/price-books/1", b.shop, "")
	dearer := strings.Replace(string(book.body), `"margin": "0.30"`, `"margin": "0.35"`, 1)
	added := b.send(http.MethodPost, "/v1/shop/price-books", b.shop, dearer, "Idempotency-Key", "spring")
	again := b.send(http.MethodPost, "/v1/shop/price-books", b.shop, dearer, "Idempotency-Key", "spring")
	if added.status != http.StatusCreated || added.header.Get("Location") != "/v1/shop/price-books/2" || !bytes.Equal(added.body, again.body) {
		t.Errorf("%d %s, then %s", added.status, added.body, again.body)
	}
	b.send(http.MethodPost, "/v1/shop/price-books", b.shop, string(book.body), "Idempotency-Key", "spring").wants(t, 422, "idempotency-key-reused")
	books, err := shopClient.ListPriceBooksWithResponse(ctx, nil)
	if err != nil || books.JSON200 == nil || len(books.JSON200.Items) != 2 || books.JSON200.Items[0].Version != 2 {
		t.Errorf("%v %s", err, books.Body)
	}
	if d := derive(); d.Revision.PriceBook != "2" || *d.Bill.Totals.Margin == *after.Bill.Totals.Margin {
		t.Errorf("%+v %+v", d.Revision, d.Bill.Totals)
	}
	b.send(http.MethodGet, "/v1/shop/price-books/3", b.shop, "").wants(t, 404, "not-found")
	b.send(http.MethodGet, "/v1/shop/price-books/0", b.shop, "").wants(t, 400, "invalid-request")
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	b.send(http.MethodGet, "/v1/shop/profile", key, "").wants(t, 403, "forbidden")
}
