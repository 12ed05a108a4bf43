package service

import (
	"context"
	"errors"

	"hatchwright/service/record"
	"hatchwright/service/webhook"
	"hatchwright/store"
)

// SecretsAtRest is how the signing secrets of webhooks stand in the store, those that
// still sign.
type SecretsAtRest struct {
	Sealed int // stood in the clear, and are sealed now
	Clear  int // stand in the clear: there is no key to seal them with
	Shut   int // were sealed with a key that is not at hand
}

// sealSecrets seals the signing secrets that stand in the clear, where there is a key.
func (s *Service) sealSecrets(ctx context.Context) (at SecretsAtRest, err error) {
	scope, now := worker.Scope(), s.now()
	all, err := every(func(p store.Page) (store.Listing[record.Webhook], error) {
		return s.store.Webhooks().List(ctx, scope, p)
	})
	if err != nil {
		return at, storeFault(err, "webhook")
	}
	for _, w := range all {
		sealed := 0
		for i := range w.Secrets {
			k := &w.Secrets[i]
			text, err := s.hooks.vault.Open(k.Sealed, w.ID.String())
			switch {
			case err != nil:
				if k.LiveAt(now) {
					at.Shut++
				}
			case !webhook.InTheClear(k.Sealed):
			case !s.hooks.vault.Seals():
				at.Clear++
			default:
				if k.Sealed, err = s.hooks.vault.Seal(text, w.ID.String(), s.random); err != nil {
					return at, storeFault(err, "webhook")
				}
				sealed++
			}
		}
		if sealed == 0 {
			continue
		}
		// Nothing that is read of the endpoint changes, so its version stays. One that
		// changes at this very moment is left for the next start.
		switch err := s.store.Webhooks().Update(ctx, scope, w, w.Version); {
		case errors.Is(err, store.ErrStaleVersion), errors.Is(err, store.ErrNotFound):
		case err != nil:
			return at, storeFault(err, "webhook")
		default:
			at.Sealed += sealed
		}
	}
	return at, nil
}
