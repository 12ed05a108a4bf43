package service

import (
	"context"
	"errors"
	"fmt"

	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/store"
)

// Bootstrapped says what was made on a first start.
type Bootstrapped struct {
	// ShopKey is the new shop key, shown here and never again; empty when the
	// store held one already.
	ShopKey string
	// Freed is how many requests with an idempotency key and deliveries of webhooks a
	// process that died had in hand, which were freed.
	Freed int
	// Secrets is how the signing secrets of webhooks stand in the store.
	Secrets SecretsAtRest
}

// Bootstrap prepares a store whose schema is up to date: the example shop's
// documents where there are none, a shop key where there has never been one, and
// the engine over the latest documents. It frees what a process that died holds, if no
// other one has the store open, and seals signing secrets that stand in the clear.
// Several services starting at once on one store make one key between them.
func (s *Service) Bootstrap(ctx context.Context) (Bootstrapped, error) {
	return s.BootstrapTo(ctx, func(string) error { return nil })
}

// BootstrapTo is Bootstrap with a place for the new shop key: keep gets it before the
// key counts. When keep fails there is no key, and the next start makes one.
func (s *Service) BootstrapTo(ctx context.Context, keep func(key string) error) (Bootstrapped, error) {
	var out Bootstrapped
	var err error
	if out.Freed, err = s.store.Free(ctx); err != nil {
		return out, storeFault(err, "idempotency key")
	}
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
	out.Secrets, err = s.sealSecrets(ctx)
	return out, err
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
