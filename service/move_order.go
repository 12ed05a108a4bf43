package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// OrderChange is a change of an order. Match is the version that the caller read,
// nil when it does not say.
type OrderChange struct {
	ID    uuid.UUID
	Match *int
}

// move takes one step of the table: it finds the row, applies it, lets fill put in
// what else changes, lets each of also change what belongs to the order, and emits
// the row's event with what tell adds.
func (s *Service) move(ctx context.Context, c Caller, n OrderChange, claim *Claim, action order.Action, fill func(*record.Order) error, tell func(before record.Order, data *order.OrderData), also ...alongside) (Made[record.Order], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return Made[record.Order]{}, err
	}
	return change(ctx, s, c, claim, "order", func() (write[record.Order], error) {
		return func(ctx context.Context, tx store.Registers) (record.Order, error) {
			before, err := s.orderAt(ctx, tx, c, n)
			if err != nil {
				return record.Order{}, err
			}
			step, err := order.Find(action, before, c.Role)
			if err != nil {
				return record.Order{}, err
			}
			o := step.Apply(before, c.Role)
			o.UpdatedAt = s.now()
			if fill != nil {
				if err := fill(&o); err != nil {
					return record.Order{}, err
				}
			}
			if err := staleVersion(tx.Orders().Update(ctx, c.Scope(), o, before.Version)); err != nil {
				return record.Order{}, err
			}
			for _, a := range also {
				if err := a(ctx, tx, o); err != nil {
					return record.Order{}, err
				}
			}
			data := order.AboutOrder(o)
			if tell != nil {
				tell(before, &data)
			}
			if err := s.emit(ctx, tx, c, pendingEvent{step.Event, data}); err != nil {
				return record.Order{}, err
			}
			return o, nil
		}, nil
	})
}

// alongside changes what belongs to an order that was changed, in its transaction.
type alongside func(ctx context.Context, tx store.Registers, o record.Order) error

// orderAt reads the order in the version that the caller means.
func (s *Service) orderAt(ctx context.Context, tx store.Registers, c Caller, n OrderChange) (record.Order, error) {
	o, err := tx.Orders().Get(ctx, c.Scope(), n.ID)
	if err == nil && n.Match != nil && *n.Match != o.Version {
		err = stale(o.Version)
	}
	return o, err
}
