package service

import (
	"context"

	"hatchwright/service/record"
	"hatchwright/store"
)

// ListConfigurations lists kept configurations without their documents, newest
// first: a dealer's own, or everybody's for the shop.
func (s *Service) ListConfigurations(ctx context.Context, c Caller, f store.ConfigurationFilter, p store.Page) (store.Listing[record.Configuration], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return store.Listing[record.Configuration]{}, err
	}
	l, err := s.store.Configurations().List(ctx, c.Scope(), f, p)
	return l, storeFault(err, "configuration")
}
