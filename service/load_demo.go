package service

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// DemoKey is a key of the demo scenario. Everybody knows it: it is in the source.
type DemoKey struct {
	Dealer string // "" for the shop's own
	Role   record.Role
	Key    string
}

// DemoKeys are the keys that LoadDemo makes.
var DemoKeys = []DemoKey{
	{"", record.RoleShop, "hw_demo_shop_known_to_everybody"},
	{"Brackwater Marine", record.RoleDealer, "hw_demo_brackwater_dealer_known_to_everybody"},
	{"Brackwater Marine", record.RoleStorefront, "hw_demo_brackwater_storefront_known_to_everybody"},
	{"Fennimore Yachts", record.RoleDealer, "hw_demo_fennimore_dealer_known_to_everybody"},
}

//go:embed demo/*.json
var demoFiles embed.FS

// demoConfiguration is a row of demo/configurations.json.
type demoConfiguration struct {
	Dealer        string          `json:"dealer"`
	Name          string          `json:"name"`
	Reference     string          `json:"reference"`
	Configuration json.RawMessage `json:"configuration"`
}

// LoadDemo puts the invented demo scenario into an empty store: dealers, keys
// that everybody knows, and kept configurations. On a store that has it already
// it changes nothing; on a store that holds other dealers it refuses, since the
// keys would open them.
func (s *Service) LoadDemo(ctx context.Context) ([]DemoKey, error) {
	e, err := s.derivations()
	if err != nil {
		return nil, err
	}
	_, err = s.store.Keys().ByHash(ctx, record.KeyHash(DemoKeys[0].Key))
	switch {
	case err == nil:
		return DemoKeys, nil
	case !errors.Is(err, store.ErrNotFound):
		return nil, storeFault(err, "demo")
	}
	there, err := s.store.Dealers().List(ctx, store.ShopScope(), store.Page{Limit: 1})
	if err != nil {
		return nil, storeFault(err, "demo")
	}
	if len(there.Items) > 0 {
		return nil, fault.New(fault.Conflict, "This store holds dealers already, and everybody knows the demo's keys. Load the demo into an empty store.")
	}
	body, err := demoFiles.ReadFile("demo/configurations.json")
	if err != nil {
		return nil, err
	}
	var rows []demoConfiguration
	if err := json.Unmarshal(body, &rows); err != nil {
		return nil, fmt.Errorf("demo configurations: %w", err)
	}

	dealers := map[string]*uuid.UUID{"": nil}
	var configurations []record.Configuration
	var newDealers []record.Dealer
	var keys []record.Key
	for _, k := range DemoKeys {
		if _, known := dealers[k.Dealer]; !known {
			id, err := s.newID()
			if err != nil {
				return nil, err
			}
			dealers[k.Dealer] = &id
			newDealers = append(newDealers, record.Dealer{ID: id, Name: k.Dealer, CreatedAt: s.now()})
		}
		key, err := s.keyRecord(k.Key, k.Role, dealers[k.Dealer], "demo "+string(k.Role))
		if err != nil {
			return nil, err
		}
		keys = append(keys, key)
	}
	for _, row := range rows {
		r, err := s.wire.Decode(row.Configuration)
		if err != nil {
			return nil, fmt.Errorf("demo configuration %q: %w", row.Name, err)
		}
		now, owner := s.now(), dealers[row.Dealer]
		worked, err := derive(e, r, "", now)
		if err != nil {
			return nil, fmt.Errorf("demo configuration %q: %w", row.Name, err)
		}
		result, err := s.place(ctx, e, ownerScope(owner), worked, now, LeadTimeOptions{})
		if err != nil {
			return nil, fmt.Errorf("demo configuration %q: %w", row.Name, err)
		}
		kept, err := s.configurationRecord(result, NewConfiguration{Requested: row.Configuration, Name: row.Name, Reference: row.Reference}, owner)
		if err != nil {
			return nil, err
		}
		configurations = append(configurations, kept)
	}
	err = s.writing(ctx, worker, func(tx store.Registers) error {
		for _, d := range newDealers {
			if err := tx.Dealers().Insert(ctx, store.ShopScope(), d); err != nil {
				return err
			}
		}
		for _, k := range keys {
			if err := tx.Keys().Insert(ctx, store.ShopScope(), k); err != nil {
				return err
			}
		}
		for _, c := range configurations {
			if err := tx.Configurations().Insert(ctx, store.ShopScope(), c); err != nil {
				return err
			}
		}
		return nil
	})
	return DemoKeys, storeFault(err, "demo")
}
