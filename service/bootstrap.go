package service

import (
	"context"
	"errors"
	"fmt"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/store"
)

// builtIn is the author of the documents that a new store starts with.
const builtIn = "built-in"

// Bootstrapped says what was made on a first start.
type Bootstrapped struct {
	// ShopKey is the new shop key, shown here and never again; empty when the
	// store held one already.
	ShopKey string
}

// Bootstrap prepares a store whose schema is up to date: the example shop's
// documents where there are none, a shop key where there has never been one, and
// the engine over the latest documents. Several services starting at once on one
// store make one key between them.
func (s *Service) Bootstrap(ctx context.Context) (Bootstrapped, error) {
	return s.BootstrapTo(ctx, func(string) error { return nil })
}

// BootstrapTo is Bootstrap with a place for the new shop key: keep gets it before the
// key counts. When keep fails there is no key, and the next start makes one.
func (s *Service) BootstrapTo(ctx context.Context, keep func(key string) error) (Bootstrapped, error) {
	var out Bootstrapped
	if err := s.seedDocuments(ctx); err != nil {
		return out, err
	}
	if err := s.LoadDocuments(ctx); err != nil {
		return out, err
	}
	text, key, err := s.makeKey(record.RoleShop, nil, "first shop key", nil)
	if err != nil {
		return out, err
	}
	var inserted bool
	err = s.writing(ctx, worker, func(tx store.Registers) (err error) {
		if inserted, err = tx.Keys().InsertFirst(ctx, key); err != nil || !inserted {
			return err
		}
		return keep(text)
	})
	if err != nil {
		return out, storeFault(err, "first shop key")
	}
	if inserted {
		out.ShopKey = text
	}
	return out, nil
}

// seedDocuments stores the example shop's documents where a kind has none.
func (s *Service) seedDocuments(ctx context.Context) error {
	profile, materials, prices := shop.ExampleBodies()
	for _, d := range []record.ShopDocument{
		{Kind: record.DocumentProfile, Body: profile},
		{Kind: record.DocumentMaterials, Body: materials},
		{Kind: record.DocumentPriceBook, Body: prices},
	} {
		_, err := s.store.ShopDocuments().Latest(ctx, d.Kind)
		if errors.Is(err, store.ErrNotFound) {
			d.CreatedAt, d.Author = s.now(), builtIn
			_, err = s.store.ShopDocuments().Put(ctx, store.ShopScope(), d, 0)
			if errors.Is(err, store.ErrStaleVersion) {
				err = nil // another service was faster
			}
		}
		if err != nil {
			return storeFault(fmt.Errorf("seed %s: %w", d.Kind, err), d.Kind)
		}
	}
	return nil
}

// LoadDocuments makes the engine anew from the latest shop documents.
func (s *Service) LoadDocuments(ctx context.Context) error {
	var docs [3]record.ShopDocument
	for i, kind := range []string{record.DocumentProfile, record.DocumentMaterials, record.DocumentPriceBook} {
		d, err := s.store.ShopDocuments().Latest(ctx, kind)
		if err != nil {
			return storeFault(fmt.Errorf("load %s: %w", kind, err), kind)
		}
		docs[i] = d
	}
	decoded, err := decodeDocuments(docs[0].Body, docs[1].Body, docs[2].Body, docs[0].Version, docs[1].Version, docs[2].Version)
	if err != nil {
		return fault.Wrap(fault.Internal, err, "The shop's documents cannot be used.")
	}
	e, err := derivation.New(decoded)
	if err != nil {
		return fault.Wrap(fault.Internal, err, "The shop's documents cannot be used.")
	}
	s.engine.Store(e)
	return nil
}

// decodeDocuments names the catalog by the versions of profile and materials,
// since both decide numbers.
func decodeDocuments(profile, materials, prices []byte, profileVersion, materialsVersion, pricesVersion int) (shop.Documents, error) {
	return shop.Decode(profile, materials, prices, fmt.Sprintf("%d.%d", profileVersion, materialsVersion), fmt.Sprint(pricesVersion))
}

// exampleDocuments are the documents that a new store starts with.
func exampleDocuments() (shop.Documents, error) {
	p, m, b := shop.ExampleBodies()
	return decodeDocuments(p, m, b, 1, 1, 1)
}
