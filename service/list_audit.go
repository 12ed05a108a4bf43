package service

import (
	"context"

	"hatchwright/service/record"
	"hatchwright/store"
)

// ListAudit lists who changed what, newest first; for the shop.
func (s *Service) ListAudit(ctx context.Context, c Caller, f store.AuditFilter, p store.Page) (store.Listing[record.AuditEntry], error) {
	if err := c.Need(record.RoleShop); err != nil {
		return store.Listing[record.AuditEntry]{}, err
	}
	l, err := s.store.Audit().List(ctx, c.Scope(), f, p)
	return l, storeFault(err, "audit entry")
}
