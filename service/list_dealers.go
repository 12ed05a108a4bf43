package service

import (
	"context"

	"hatchwright/service/record"
	"hatchwright/store"
)

// ListDealers lists dealers, newest first; for the shop.
func (s *Service) ListDealers(ctx context.Context, c Caller, p store.Page) (store.Listing[record.Dealer], error) {
	if err := c.Need(record.RoleShop); err != nil {
		return store.Listing[record.Dealer]{}, err
	}
	l, err := s.store.Dealers().List(ctx, c.Scope(), p)
	return l, storeFault(err, "dealer")
}
