package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// QuoteChange is a change of a quote. Match is the version that the caller read,
// nil when it does not say.
type QuoteChange struct {
	ID    uuid.UUID
	Match *int
}

// WithdrawQuote takes an open quote back.
func (s *Service) WithdrawQuote(ctx context.Context, c Caller, n QuoteChange, claim *Claim) (Made[record.Quote], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return Made[record.Quote]{}, err
	}
	return change(ctx, s, c, claim, "quote", func() (write[record.Quote], error) {
		return func(ctx context.Context, tx store.Registers) (record.Quote, error) {
			q, err := tx.Quotes().Get(ctx, c.Scope(), n.ID)
			if err != nil {
				return record.Quote{}, err
			}
			if n.Match != nil && *n.Match != q.Version {
				return record.Quote{}, stale(q.Version)
			}
			now := s.now()
			if err := order.Open(q, now); err != nil {
				return record.Quote{}, err
			}
			q.State, q.UpdatedAt = record.QuoteWithdrawn, now
			q.Version++
			if err := tx.Quotes().Update(ctx, c.Scope(), q, q.Version-1); err != nil {
				return record.Quote{}, staleVersion(err)
			}
			if err := s.emit(ctx, tx, c, pendingEvent{order.QuoteTakenBack, order.AboutQuote(q)}); err != nil {
				return record.Quote{}, err
			}
			return q, nil
		}, nil
	})
}
