package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// QuoteChange is a change of a quote. Match is the version that the caller read,
// nil when it does not say. Answer writes what the caller is told.
type QuoteChange struct {
	ID     uuid.UUID
	Match  *int
	Answer func(record.Quote) (record.Answer, error)
}

// WithdrawQuote takes an open quote back.
func (s *Service) WithdrawQuote(ctx context.Context, c Caller, n QuoteChange, claim *Claim) (record.Answer, error) {
	if err := c.need(record.RoleDealer); err != nil {
		return record.Answer{}, err
	}
	return s.change(ctx, c, claim, "quote", func() (write, error) {
		return func(ctx context.Context, tx store.Registers) (record.Answer, error) {
			q, err := tx.Quotes().Get(ctx, c.Scope(), n.ID)
			if err != nil {
				return record.Answer{}, err
			}
			if n.Match != nil && *n.Match != q.Version {
				return record.Answer{}, stale(q.Version)
			}
			now := s.now()
			if err := order.Open(q, now); err != nil {
				return record.Answer{}, err
			}
			q.State, q.UpdatedAt = record.QuoteWithdrawn, now
			q.Version++
			if err := tx.Quotes().Update(ctx, c.Scope(), q, q.Version-1); err != nil {
				return record.Answer{}, staleVersion(err)
			}
			if err := s.emit(ctx, tx, c, happening{order.QuoteTakenBack, order.AboutQuote(q)}); err != nil {
				return record.Answer{}, err
			}
			return n.Answer(q)
		}, nil
	})
}
