package service

import (
	"context"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// StockAtHand is what the shop has on hand at an instant. Taking from it does not
// use it up: each derivation is told of all of it.
type StockAtHand struct {
	On     civil.Date // today, in the shop's zone
	engine *derivation.Engine
	lots   []derivation.Lot
}

func (s *Service) stockAtHand(ctx context.Context, e *derivation.Engine) (*StockAtHand, error) {
	list, err := s.store.Stock().OnHand(ctx, store.ShopScope())
	if err != nil {
		return nil, storeFault(err, "stock")
	}
	h := &StockAtHand{On: civil.DateOf(s.now(), e.Location()), engine: e}
	for _, l := range list {
		h.lots = append(h.lots, derivation.Lot{Material: l.Material, Unit: l.Unit, Batch: l.Batch,
			OnHand: l.OnHand.Float(), Free: (l.OnHand - l.Reserved).Float(), Expires: stockroom.Day(l.ExpiresOn)})
	}
	return h, nil
}
