package service_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/store"
	"hatchwright/store/sqlite"
)

var monday = time.Date(2026, 11, 30, 13, 0, 0, 0, time.UTC)

// open opens a migrated SQLite store in a file of its own.
func open(t *testing.T) store.Store {
	t.Helper()
	ctx := context.Background()
	s, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "test.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	if _, err := s.Migrate(ctx); err != nil {
		t.Fatal(err)
	}
	return s
}

func start(t *testing.T, s store.Store) *service.Service {
	t.Helper()
	made, err := service.New(service.Options{Store: s, Wire: api.Wire{}, Clock: func() time.Time { return monday }})
	if err != nil {
		t.Fatal(err)
	}
	return made
}

// TestFirstStart starts several services on one empty store at once: between them
// they make one shop key, and it opens the shop.
func TestFirstStart(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	var wg sync.WaitGroup
	var mu sync.Mutex
	var keys []string
	for range 6 {
		wg.Go(func() {
			made, err := start(t, s).Bootstrap(ctx)
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				t.Error(err)
			}
			if made.ShopKey != "" {
				keys = append(keys, made.ShopKey)
			}
		})
	}
	wg.Wait()
	if len(keys) != 1 {
		t.Fatalf("%d shop keys", len(keys))
	}
	later := start(t, s)
	if made, err := later.Bootstrap(ctx); err != nil || made.ShopKey != "" {
		t.Errorf("a later start: %v %v", made, err)
	}
	who, err := later.Authenticate(ctx, keys[0])
	if err != nil || who.Role != record.RoleShop || !who.Scope().Whole() {
		t.Errorf("%+v %v", who, err)
	}
	if !strings.HasPrefix(keys[0], "hw_") || len(keys[0]) != 3+43 {
		t.Errorf("key of %d characters", len(keys[0]))
	}
	for _, kind := range []string{record.DocumentProfile, record.DocumentMaterials, record.DocumentPriceBook} {
		if d, err := s.ShopDocuments().Latest(ctx, kind); err != nil || d.Version != 1 {
			t.Errorf("%s: version %d, %v", kind, d.Version, err)
		}
	}
}

func TestNotBootstrapped(t *testing.T) {
	s := start(t, open(t))
	if err := s.Ready(context.Background()); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("%v", err)
	}
	if _, err := service.New(service.Options{}); err == nil {
		t.Error("a service of nothing")
	}
}

func TestDemo(t *testing.T) {
	st := open(t)
	s := start(t, st)
	ctx := context.Background()
	if _, err := s.Bootstrap(ctx); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the second time it is there already
		keys, err := s.LoadDemo(ctx)
		if err != nil || len(keys) != 4 {
			t.Fatalf("%v %v", keys, err)
		}
	}
	seen := map[string]int{}
	for _, k := range service.DemoKeys {
		who, err := s.Authenticate(ctx, k.Key)
		if err != nil || who.Role != k.Role || (who.DealerID == nil) != (k.Dealer == "") {
			t.Errorf("%s: %+v %v", k.Key, who, err)
			continue
		}
		if !who.May(record.RoleDealer) {
			continue
		}
		l, err := s.ListConfigurations(ctx, who, store.ConfigurationFilter{}, store.Page{})
		if err != nil {
			t.Fatal(err)
		}
		seen[k.Dealer] = len(l.Items)
		for _, c := range l.Items {
			if c.Verdict == "not_makeable" {
				t.Errorf("the demo keeps %q, which cannot be made", c.Name)
			}
			if _, err := s.DrawConfiguration(ctx, who, c.ID, "section"); err != nil {
				t.Errorf("%q: %v", c.Name, err)
			}
		}
	}
	if seen["Brackwater Marine"] != 3 || seen["Fennimore Yachts"] != 2 || seen[""] != 5 {
		t.Errorf("%v", seen)
	}

	// On a store with dealers of its own the demo's keys would open them.
	st = open(t)
	s = start(t, st)
	if _, err := s.Bootstrap(ctx); err != nil {
		t.Fatal(err)
	}
	if err := st.Dealers().Insert(ctx, store.ShopScope(), record.Dealer{ID: uuid.Must(uuid.NewV7()), Name: "Real Dealer", CreatedAt: monday}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.LoadDemo(ctx); fault.KindOf(err) != fault.Conflict {
		t.Errorf("%v", err)
	}
	if _, err := s.Authenticate(ctx, service.DemoKeys[0].Key); fault.KindOf(err) != fault.Unauthenticated {
		t.Errorf("%v", err)
	}
}

// TestDrawnAsItWasKept changes the shop's profile after a configuration was kept:
// a new derivation follows the new profile, the kept one's drawing the old.
func TestDrawnAsItWasKept(t *testing.T) {
	st := open(t)
	s := start(t, st)
	ctx := context.Background()
	if _, err := s.Bootstrap(ctx); err != nil {
		t.Fatal(err)
	}
	if _, err := s.LoadDemo(ctx); err != nil {
		t.Fatal(err)
	}
	who, err := s.Authenticate(ctx, service.DemoKeys[0].Key)
	if err != nil {
		t.Fatal(err)
	}
	l, err := s.ListConfigurations(ctx, who, store.ConfigurationFilter{}, store.Page{Limit: 1})
	if err != nil {
		t.Fatal(err)
	}
	draw := func() []byte {
		d, err := s.DrawConfiguration(ctx, who, l.Items[0].ID, "section")
		if err != nil {
			t.Fatal(err)
		}
		svg, err := d.Render(service.FormatSVG)
		if err != nil {
			t.Fatal(err)
		}
		return svg
	}
	before := draw()
	body, _, _ := shop.ExampleBodies()
	var profile map[string]any
	if err := json.Unmarshal(body, &profile); err != nil {
		t.Fatal(err)
	}
	profile["defaults"].(map[string]any)["/receiver/flange_width"] = 64.0
	if body, err = json.Marshal(profile); err != nil {
		t.Fatal(err)
	}
	if _, err := st.ShopDocuments().Put(ctx, store.ShopScope(), record.ShopDocument{Kind: record.DocumentProfile, Body: body, CreatedAt: monday, Author: "test"}, 1); err != nil {
		t.Fatal(err)
	}
	if err := s.LoadDocuments(ctx); err != nil {
		t.Fatal(err)
	}
	r, err := api.DecodeConfiguration([]byte(`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":500}}`))
	if err != nil {
		t.Fatal(err)
	}
	now, err := s.Derive(ctx, who, r)
	if err != nil || now.Configuration.Receiver.FlangeWidth != 64 || now.Revision.Catalog != "2.1" {
		t.Errorf("flange %v, revision %+v, %v", now.Configuration.Receiver.FlangeWidth, now.Revision, err)
	}
	if !bytes.Equal(before, draw()) {
		t.Error("the kept configuration's drawing changed with the profile")
	}
}

// TestRolesAreCheckedHereToo calls use cases with callers that the routes would
// not have let through.
func TestRolesAreCheckedHereToo(t *testing.T) {
	s := start(t, open(t))
	ctx := context.Background()
	if _, err := s.Bootstrap(ctx); err != nil {
		t.Fatal(err)
	}
	id := uuid.Must(uuid.NewV7())
	for _, who := range []service.Caller{{}, {Role: "king"}, {Role: record.RoleStorefront}, {Role: record.RoleDealer, DealerID: &id}} {
		_, createDealer := s.CreateDealer(ctx, who, service.NewDealer{Name: "x"}, nil)
		_, createKey := s.CreateKey(ctx, who, service.NewKey{Role: record.RoleShop}, nil)
		_, listKeys := s.ListKeys(ctx, who, store.KeyFilter{}, store.Page{})
		_, listDealers := s.ListDealers(ctx, who, store.Page{})
		for name, err := range map[string]error{"create dealer": createDealer, "create key": createKey, "list keys": listKeys, "list dealers": listDealers, "revoke": s.RevokeKey(ctx, who, id)} {
			var f *fault.Error
			if !errors.As(err, &f) || f.Kind != fault.Forbidden {
				t.Errorf("%s as %q: %v", name, who.Role, err)
			}
		}
		if who.Role == record.RoleDealer {
			continue
		}
		if _, err := s.GetConfiguration(ctx, who, id); fault.KindOf(err) != fault.Forbidden {
			t.Errorf("get as %q: %v", who.Role, err)
		}
		if _, err := s.ListDrawings(ctx, who, id); fault.KindOf(err) != fault.Forbidden {
			t.Errorf("drawings as %q: %v", who.Role, err)
		}
	}
	if (service.Caller{Role: record.RoleDealer}).Scope() != (store.Scope{}) {
		t.Error("a dealer key of no dealer covers something")
	}
}
