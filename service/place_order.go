package service

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// NewOrder is an order to place.
type NewOrder struct {
	QuoteID           uuid.UUID
	PurchaseReference string
}

// PlaceOrder orders an open quote. The order is the quote owner's. In the one
// transaction that places it the order reserves the pulls of registered molds and
// the stock that its quote counts on, what else of its material is in stock, and its
// capacity: its plan, which every schedule from then on holds. It is refused when
// molds or stock that the quote counts on are no longer free. The quoted date is
// kept although other orders came in between; see KeepPromises.
//
// A quote that revises an order replaces it: that one is cancelled in the same
// transaction, and when it no longer can be the new one is not placed.
func (s *Service) PlaceOrder(ctx context.Context, c Caller, n NewOrder, claim *Claim) (Made[OrderDetail], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return Made[OrderDetail]{}, err
	}
	if err := s.needOwnDocuments(); err != nil {
		return Made[OrderDetail]{}, err
	}
	return change(ctx, s, c, claim, "order", func() (write[OrderDetail], error) {
		id, err := s.newID()
		if err != nil {
			return nil, err
		}
		draft, err := s.draft(ctx, c, n.QuoteID, id)
		if err != nil {
			return nil, err
		}
		return func(ctx context.Context, tx store.Registers) (OrderDetail, error) {
			if err := s.allow(ctx, tx, c, store.CountOrders); err != nil {
				return OrderDetail{}, err
			}
			q, err := tx.Quotes().Get(ctx, c.Scope(), n.QuoteID)
			if errors.Is(err, store.ErrNotFound) {
				e := fault.Wrap(fault.NotFound, err, "There is no such quote.")
				e.Fields = []fault.Field{{Pointer: "/quote_id", Code: "unknown", Message: "Give the id of an open quote."}}
				return OrderDetail{}, e
			}
			if err != nil {
				return OrderDetail{}, err
			}
			now := s.now()
			if err := order.Open(q, now); err != nil {
				return OrderDetail{}, err
			}
			if !q.Total.Value.IsPos() { // of a release that quoted such
				return OrderDetail{}, worthless("/quote_id", q.Total)
			}
			if draft == nil { // it was over when it was drafted, by another clock
				return OrderDetail{}, fault.New(fault.Unavailable, "The quote changed while it was read. Send the request again.")
			}
			step, err := order.Find(order.Place, record.Order{}, c.Role)
			if err != nil {
				return OrderDetail{}, err
			}
			o := step.Apply(record.Order{}, c.Role)
			o.ID, o.DealerID, o.QuoteID, o.PurchaseReference = id, q.DealerID, q.ID, n.PurchaseReference
			o.Promise, o.Total, o.CreatedAt, o.UpdatedAt = q.Promise, q.Total, now, now
			var events []pendingEvent
			if q.Revises != nil {
				o.Replaces = q.Revises
				old, err := s.replace(ctx, tx, c, *q.Revises)
				if err != nil {
					return OrderDetail{}, err
				}
				data := order.AboutOrder(old)
				data.ReplacedBy = &o.ID
				events = append(events, pendingEvent{order.OrderCancelled, data})
			}
			// The unique quote decides between two orders at once; the version
			// between an order and a withdrawal.
			if err := tx.Orders().Insert(ctx, c.Scope(), o); err != nil {
				return OrderDetail{}, s.lostQuote(ctx, tx, c, q.ID, err)
			}
			if err := s.reserve(ctx, tx, c, o, draft); err != nil {
				return OrderDetail{}, err
			}
			q.State, q.OrderID, q.UpdatedAt = record.QuoteOrdered, &o.ID, now
			q.Version++
			if err := tx.Quotes().Update(ctx, c.Scope(), q, q.Version-1); err != nil {
				return OrderDetail{}, s.lostQuote(ctx, tx, c, q.ID, err)
			}
			if err := s.emit(ctx, tx, c, append(events, pendingEvent{step.Event, order.AboutOrder(o)})...); err != nil {
				return OrderDetail{}, err
			}
			return OrderDetail{Order: o, Quote: q}, nil
		}, nil
	})
}

// lostQuote says why a quote that was open a moment ago no longer is.
func (s *Service) lostQuote(ctx context.Context, tx store.Registers, c Caller, id uuid.UUID, cause error) error {
	if !errors.Is(cause, store.ErrConflict) && !errors.Is(cause, store.ErrStaleVersion) {
		return cause
	}
	q, err := tx.Quotes().Get(ctx, c.Scope(), id)
	if err != nil {
		return err
	}
	if err := order.Open(q, s.now()); err != nil {
		return err
	}
	return cause
}

// replacedReason is the reason of a cancellation by a revised quote.
const replacedReason = "replaced by the order of a revised quote"

// replace cancels the order that a revised one takes the place of.
func (s *Service) replace(ctx context.Context, tx store.Registers, c Caller, id uuid.UUID) (record.Order, error) {
	o, err := tx.Orders().Get(ctx, c.Scope(), id)
	if err != nil {
		return o, err
	}
	step, err := order.Find(order.Cancel, o, c.Role)
	if err != nil {
		return o, err
	}
	before := o.Version
	o = step.Apply(o, c.Role)
	o.Reason, o.UpdatedAt = replacedReason, s.now()
	return o, staleVersion(tx.Orders().Update(ctx, c.Scope(), o, before))
}
