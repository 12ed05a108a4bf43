package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// GetQuote returns a quote with its lines, in its state as of now. Another
// owner's is not there.
func (s *Service) GetQuote(ctx context.Context, c Caller, id uuid.UUID) (record.Quote, error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return record.Quote{}, err
	}
	q, err := s.store.Quotes().Get(ctx, c.Scope(), id)
	if err != nil {
		return record.Quote{}, storeFault(err, "quote")
	}
	q.State = order.StateAt(q, s.now())
	return q, nil
}

// ListQuotes lists quotes without their lines, newest first, in their states as of
// now. f.At is set here.
func (s *Service) ListQuotes(ctx context.Context, c Caller, f store.QuoteFilter, p store.Page) (store.Listing[record.Quote], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return store.Listing[record.Quote]{}, err
	}
	f.At = s.now()
	l, err := s.store.Quotes().List(ctx, c.Scope(), f, p)
	for i := range l.Items {
		l.Items[i].State = order.StateAt(l.Items[i], f.At)
	}
	return l, storeFault(err, "quote")
}
