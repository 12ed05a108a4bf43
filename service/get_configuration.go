package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// GetConfiguration returns a kept configuration with its documents. Another
// owner's is not there.
func (s *Service) GetConfiguration(ctx context.Context, c Caller, id uuid.UUID) (record.Configuration, error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return record.Configuration{}, err
	}
	k, err := s.store.Configurations().Get(ctx, c.Scope(), id)
	return k, storeFault(err, "configuration")
}
