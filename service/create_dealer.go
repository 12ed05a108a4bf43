package service

import (
	"context"
	"errors"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// NewDealer is a dealer to add.
type NewDealer struct {
	Name  string
	Email string
}

// CreateDealer adds a dealer; for the shop. A name that is taken is a conflict.
func (s *Service) CreateDealer(ctx context.Context, c Caller, n NewDealer, claim *Claim) (Made[record.Dealer], error) {
	if err := c.Need(record.RoleShop); err != nil {
		return Made[record.Dealer]{}, err
	}
	return once(ctx, s, c, claim, "dealer", func() (write[record.Dealer], error) {
		id, err := s.newID()
		if err != nil {
			return nil, err
		}
		d := record.Dealer{ID: id, Name: n.Name, Email: n.Email, CreatedAt: s.now()}
		return func(ctx context.Context, tx store.Registers) (record.Dealer, error) {
			err := tx.Dealers().Insert(ctx, c.Scope(), d)
			if errors.Is(err, store.ErrConflict) {
				e := fault.Wrap(fault.Conflict, err, "There is a dealer of this name already.")
				e.Fields = []fault.Field{{Pointer: "/name", Code: "taken", Message: "Names are unique without regard to case. Use the dealer that is there, or another name."}}
				return record.Dealer{}, e
			}
			if err != nil {
				return record.Dealer{}, err
			}
			return d, nil
		}, nil
	})
}
