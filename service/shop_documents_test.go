package service_test

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/store"
)

// put stores a version of a document past all checks, as a release that asked for less
// did.
func put(t *testing.T, st store.Store, kind, body, author string, expected int) {
	t.Helper()
	d := record.ShopDocument{Kind: kind, Body: json.RawMessage(body), CreatedAt: monday.Add(time.Duration(expected) * time.Minute), Author: author}
	if _, err := st.ShopDocuments().Put(context.Background(), store.ShopScope(), d, expected); err != nil {
		t.Fatal(err)
	}
}

// logged starts a service and gives what it logs.
func logged(t *testing.T, st store.Store) (*service.Service, *bytes.Buffer) {
	t.Helper()
	log := &bytes.Buffer{}
	s, err := service.New(service.Options{Store: st, Wire: api.Wire{}, Clock: func() time.Time { return monday }, Logger: slog.New(slog.NewTextHandler(log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	return s, log
}

const someKey = "01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55"

// TestStoredDocumentThatIsRefusedNow starts on stores whose latest documents were taken by
// a release that asked for less: the service works with the version before, says so in
// its log and in the list of versions, and goes on with a mended version once it is put.
func TestStoredDocumentThatIsRefusedNow(t *testing.T) {
	ctx := context.Background()
	profile, materials, book := shop.ExampleBodies()
	change := func(body []byte, old, changed string) string {
		t.Helper()
		if strings.Count(string(body), old) == 0 {
			t.Fatalf("the example has no %q", old)
		}
		return strings.Replace(string(body), old, changed, 1)
	}
	for _, c := range []struct {
		name     string
		kind     string
		versions []string // 2 and on
		used     int
		says     []string // in the log
	}{
		{"a million posts", record.DocumentProfile, []string{change(profile, `"kerf": 3.2`, `"kerf": 3.0`), change(profile, `"posts": 2`, `"posts": 1000000`)}, 2,
			[]string{"refused_version=3", "version_in_use=2", "/work_centers/0/posts", "put a mended version"}},
		{"two bad ones", record.DocumentMaterials, []string{change(materials, `"film": 0.5`, `"film": 0.55`), change(materials, `"density": 1160`, `"density": 1.16`), change(materials, `"use": "wax"`, `"use": "seal"`)}, 2,
			[]string{"refused_version=4", "version_in_use=2", "/coatings"}},
		{"a discount of five times the price", record.DocumentPriceBook, []string{change(book, `"margin": "0.30"`, `"margin": "0.31"`), change(book, `"discount": "0.04"`, `"discount": "5"`)}, 2,
			[]string{"refused_version=3", "/quantity_breaks/0/discount"}},
		{"not even a document", record.DocumentProfile, []string{change(profile, `"kerf": 3.2`, `"kerf": 3.0`), `[1, 2`}, 2, []string{"refused_version=3", "not one JSON document"}},
		{"two currencies are told and used", record.DocumentPriceBook, []string{change(book, `"currency": "USD"`, `"currency": "CAD"`)}, 2, []string{"another currency", "profile=USD", "price_book=CAD"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			st := open(t)
			first := start(t, st)
			made, err := first.Bootstrap(ctx)
			if err != nil {
				t.Fatal(err)
			}
			for i, body := range c.versions {
				put(t, st, c.kind, body, someKey, i+1)
			}
			s, log := logged(t, st)
			if _, err := s.Bootstrap(ctx); err != nil {
				t.Fatalf("it does not start: %v", err)
			}
			if got := s.InUse(c.kind); got != c.used {
				t.Errorf("version %d is in use, want %d", got, c.used)
			}
			for _, word := range c.says {
				if !strings.Contains(log.String(), word) {
					t.Errorf("the log does not say %q:\n%s", word, log)
				}
			}
			who, err := s.Authenticate(ctx, made.ShopKey)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := s.RefreshBacklog(ctx); err != nil {
				t.Errorf("the backlog: %v", err)
			}
			before := log.Len()
			if _, err := s.RefreshBacklog(ctx); err != nil || log.Len() != before {
				t.Errorf("a second look, nothing having changed: %v, logged %q", err, log.String()[before:])
			}
			latest, err := st.ShopDocuments().Latest(ctx, c.kind)
			if err != nil {
				t.Fatal(err)
			}
			mended := c.versions[0]
			_, err = s.PutShopDocument(ctx, who, service.NewShopDocument{Kind: c.kind, Body: json.RawMessage(mended), Match: &latest.Version}, nil)
			if c.name == "two currencies are told and used" {
				if fault.KindOf(err) != fault.Invalid {
					t.Errorf("a new book in another currency: %v, want it refused", err)
				}
				return
			}
			if err != nil {
				t.Fatalf("a mended version: %v", err)
			}
			if got := s.InUse(c.kind); got != latest.Version+1 {
				t.Errorf("version %d is in use after a mended one was put, want %d", got, latest.Version+1)
			}
		})
	}
}

// TestNothingIsPromisedFromInventedDocuments: where the only version left is the one that
// the service came with, it starts, and quotes nothing until the shop's own is mended.
func TestNothingIsPromisedFromInventedDocuments(t *testing.T) {
	ctx := context.Background()
	_, _, book := shop.ExampleBodies()
	st := open(t)
	made, err := start(t, st).Bootstrap(ctx)
	if err != nil {
		t.Fatal(err)
	}
	put(t, st, record.DocumentPriceBook, strings.Replace(string(book), `"margin": "0.30"`, `"margin": "30"`, 1), someKey, 1)
	s, log := logged(t, st)
	if _, err := s.Bootstrap(ctx); err != nil {
		t.Fatal(err)
	}
	who, err := s.Authenticate(ctx, made.ShopKey)
	if err != nil {
		t.Fatal(err)
	}
	r, err := api.DecodeConfiguration([]byte(`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":500}}`))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Derive(ctx, who, r); err != nil {
		t.Errorf("a derivation: %v, want one", err)
	}
	n := service.NewQuote{Lines: []service.NewQuoteLine{{Configuration: &service.NewConfiguration{Request: r, Requested: json.RawMessage(`{}`)}}}}
	if _, err := s.MakeQuote(ctx, who, n, nil); fault.KindOf(err) != fault.Unavailable || !strings.Contains(err.Error(), "mended") {
		t.Errorf("a quote: %v, want it refused until a mended document is put", err)
	}
	if !strings.Contains(log.String(), "no quotes are made") {
		t.Errorf("the log does not say so:\n%s", log)
	}
	if _, err := s.PutShopDocument(ctx, who, service.NewShopDocument{Kind: record.DocumentPriceBook, Body: book}, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := s.MakeQuote(ctx, who, n, nil); err != nil {
		t.Errorf("a quote after the mend: %v", err)
	}
}

// TestNoVersionCanBeUsed: a store with no usable version at all is not started on, and
// the error says what to do.
func TestNoVersionCanBeUsed(t *testing.T) {
	ctx := context.Background()
	st := open(t)
	put(t, st, record.DocumentProfile, `{}`, someKey, 0)
	s, _ := logged(t, st)
	_, err := s.Bootstrap(ctx)
	if err == nil {
		t.Fatal("it started without a profile")
	}
	for _, word := range []string{"Start the release before this one", "/work_centers"} {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("the error does not say %q: %v", word, err)
		}
	}
}

// TestNothingIsSoldAtOrBelowZero makes quotes of a shop that gives everything away, which
// its documents may say, and orders a quote that an earlier release made below zero.
func TestNothingIsSoldAtOrBelowZero(t *testing.T) {
	ctx := context.Background()
	_, _, book := shop.ExampleBodies()
	var free map[string]any
	if err := json.Unmarshal(book, &free); err != nil {
		t.Fatal(err)
	}
	for _, p := range free["prices"].(map[string]any) {
		p.(map[string]any)["price_per_pack"] = "0"
	}
	for k := range free["hourly_rates"].(map[string]any) {
		free["hourly_rates"].(map[string]any)[k] = "0"
	}
	body, err := json.Marshal(free)
	if err != nil {
		t.Fatal(err)
	}
	st := open(t)
	s := start(t, st)
	made, err := s.Bootstrap(ctx)
	if err != nil {
		t.Fatal(err)
	}
	who, err := s.Authenticate(ctx, made.ShopKey)
	if err != nil {
		t.Fatal(err)
	}
	r, err := api.DecodeConfiguration([]byte(`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":500}}`))
	if err != nil {
		t.Fatal(err)
	}
	var kept record.Quote
	n := service.NewQuote{Lines: []service.NewQuoteLine{{Configuration: &service.NewConfiguration{Request: r, Requested: json.RawMessage(`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":500}}`)}}}}
	if err := into(&kept)(s.MakeQuote(ctx, who, n, nil)); err != nil {
		t.Fatal(err)
	}
	// The quote of an earlier release.
	below := kept
	below.ID, below.Total.Value = uuid.Must(uuid.NewV7()), kept.Total.Value.Neg()
	if err := st.Quotes().Insert(ctx, store.ShopScope(), below); err != nil {
		t.Fatal(err)
	}
	place := service.NewOrder{QuoteID: below.ID}
	if _, err := s.PlaceOrder(ctx, who, place, nil); fault.KindOf(err) != fault.Conflict || !strings.Contains(err.Error(), "below zero") {
		t.Errorf("an order of %v: %v, want it refused", below.Total, err)
	}
	if _, err := s.PutShopDocument(ctx, who, service.NewShopDocument{Kind: record.DocumentPriceBook, Body: body}, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := s.MakeQuote(ctx, who, n, nil); fault.KindOf(err) != fault.Conflict || !strings.Contains(err.Error(), "0.00 USD") {
		t.Errorf("a quote of a shop that asks for nothing: %v, want it refused", err)
	}
}
