package service

import (
	"context"
	"time"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// readShelf reads what the stock has.
func (s *Service) readShelf(ctx context.Context, e *derivation.Engine, now time.Time) (backlog.Shelf, error) {
	kept, err := s.store.Stock().Kept(ctx, store.ShopScope())
	if err != nil {
		return backlog.Shelf{}, err
	}
	lots, err := s.store.Stock().OnHand(ctx, store.ShopScope())
	return backlog.NewShelf(e, now, kept, lots), err
}

// inStock are lots as the rules of the stock see them.
func inStock(list []record.Lot) []stockroom.Lot {
	out := make([]stockroom.Lot, len(list))
	for i, l := range list {
		out[i] = l.InStock()
	}
	return out
}
