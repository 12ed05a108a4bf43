package service

import (
	"context"
	"errors"
	"slices"

	"hatchwright/service/fault"
)

// LoadDocuments makes the engine anew from the latest shop documents. A latest version
// that is refused (it was stored by a release that asked for less) is told in the log,
// and the service works with the version before it.
func (s *Service) LoadDocuments(ctx context.Context) error {
	chosen, latest, e, refused, err := usable(ctx, s.store.ShopDocuments())
	if errors.Is(err, ErrDocuments) {
		return fault.Wrap(fault.Internal, err, "The shop's documents cannot be used, in no version that is kept. Start the release before this one on a copy of the store, "+
			"read there what this one refuses, put documents that keep to it, and start this release again.")
	}
	if err != nil {
		return err
	}
	now := inUse{}
	for i := range chosen {
		now.versions[i], now.latest[i] = chosen[i].Version, latest[i].Version
		if chosen[i].Version == latest[i].Version {
			continue
		}
		now.invented = now.invented || chosen[i].Author == builtIn
		s.log.ErrorContext(ctx, "the latest version of a document of the shop is refused and an older one is in use: put a mended version",
			"document", documentNames[i], "refused_version", latest[i].Version, "version_in_use", chosen[i].Version, "built_in", chosen[i].Author == builtIn, "faults", short(refused[documentNames[i]]))
	}
	if now.invented {
		s.log.ErrorContext(ctx, "a built-in document stands in for one of the shop's own: no quotes are made and no orders taken until a mended version is put")
	}
	if p, b := e.Documents().Profile.Currency, e.Documents().Prices.Currency; p != "" && p != b {
		s.log.WarnContext(ctx, "the shop's profile names another currency than the price book, which counts", "profile", p, "price_book", b)
	}
	s.documents.Store(&now)
	s.engine.Store(e)
	return nil
}

// InUse is the version of a document that the service works with, 0 while none is
// loaded. It is the latest unless that one is refused.
func (s *Service) InUse(kind string) int {
	now := s.documents.Load()
	if i := slices.Index(documentOrder[:], kind); now != nil && i >= 0 {
		return now.versions[i]
	}
	return 0
}
