package service

import (
	"context"

	"hatchwright/service/access"
	"hatchwright/service/record"
	"hatchwright/store"
)

// ListKeys lists keys, newest first, with what they have spent today; for the shop.
func (s *Service) ListKeys(ctx context.Context, c Caller, f store.KeyFilter, p store.Page) (store.Listing[record.Key], error) {
	if err := c.Need(record.RoleShop); err != nil {
		return store.Listing[record.Key]{}, err
	}
	l, err := s.store.Keys().List(ctx, c.Scope(), f, p)
	now := s.now()
	for i := range l.Items {
		k := &l.Items[i]
		k.Spent, k.SpentOn = access.SpentOn(*k, now), record.Day(now)
	}
	return l, storeFault(err, "key")
}
