package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// RevokeKey makes a key open nothing from now on; for the shop. Revoking it again
// changes nothing.
func (s *Service) RevokeKey(ctx context.Context, c Caller, id uuid.UUID) error {
	if err := c.need(record.RoleShop); err != nil {
		return err
	}
	_, err := s.store.Keys().Revoke(ctx, c.Scope(), id, s.now())
	return storeFault(err, "key")
}
