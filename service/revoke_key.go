package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/access"
	"hatchwright/service/record"
	"hatchwright/store"
)

// RevokeKey makes a key open nothing from now on; for the shop. Revoking it again
// changes nothing. The last shop key stays: the cause of that fault is access.ErrLastShopKey.
func (s *Service) RevokeKey(ctx context.Context, c Caller, id uuid.UUID) error {
	if err := c.Need(record.RoleShop); err != nil {
		return err
	}
	err := s.writing(ctx, c, func(tx store.Registers) error {
		if err := access.KeepShopKey(ctx, tx.Keys(), s.now, map[uuid.UUID]bool{id: true}, true); err != nil {
			return err
		}
		_, err := tx.Keys().Revoke(ctx, c.Scope(), id, s.now())
		return err
	})
	s.keysEnded.ring()
	return storeFault(err, "key")
}
