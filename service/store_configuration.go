package service

import (
	"context"
	"errors"

	"hatchwright/service/record"
	"hatchwright/store"
)

// StoreConfiguration derives a configuration and keeps both. What cannot be made
// is not kept: the error is a *NotMakeableError.
func (s *Service) StoreConfiguration(ctx context.Context, c Caller, n NewConfiguration, claim *Claim) (Made[record.Configuration], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return Made[record.Configuration]{}, err
	}
	owner, err := c.owner(n.DealerID)
	if err != nil {
		return Made[record.Configuration]{}, err
	}
	return change(ctx, s, c, claim, "configuration", func() (write[record.Configuration], error) {
		e, err := s.derivations()
		if err != nil {
			return nil, err
		}
		leave, err := s.gate.turn(ctx, c, e, 1, n.Request)
		if err != nil {
			return nil, err
		}
		defer leave()
		now := s.now()
		result, err := deriveWhile(ctx, e, n.Request, n.Pointer, now)
		if err != nil {
			return nil, err
		}
		placed, err := s.place(ctx, e, ownerScope(owner), result, now, LeadTimeOptions{Near: true})
		if err != nil {
			return nil, err
		}
		kept, err := s.configurationRecord(placed, n, owner)
		if err != nil {
			return nil, err
		}
		return func(ctx context.Context, tx store.Registers) (record.Configuration, error) {
			if err := s.allow(ctx, tx, c, store.CountConfigurations); err != nil {
				return record.Configuration{}, err
			}
			if err := tx.Configurations().Insert(ctx, c.Scope(), kept); err != nil {
				if errors.Is(err, store.ErrNotFound) {
					err = s.missingOwner(ctx, tx, c, kept, err)
				}
				return record.Configuration{}, err
			}
			return kept, nil
		}, nil
	})
}
