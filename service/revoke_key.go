package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// RevokeKey makes a key open nothing from now on; for the shop. Revoking it again
// changes nothing.
func (s *Service) RevokeKey(ctx context.Context, c Caller, id uuid.UUID) error {
	if err := c.need(record.RoleShop); err != nil {
		return err
	}
	err := s.writing(ctx, c, func(tx store.Registers) error {
		_, err := tx.Keys().Revoke(ctx, c.Scope(), id, s.now())
		return err
	})
	return storeFault(err, "key")
}
