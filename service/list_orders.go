package service

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// OrderDetail is an order with what was ordered and what the floor wrote down.
type OrderDetail struct {
	Order      record.Order
	Quote      record.Quote
	Operations []record.OperationRecord
	// Reserved is what the order has set aside; nil for whoever is not the shop.
	Reserved *OrderReserved
}

// OrderReserved is what an order has set aside in the shop, and what it has used of
// it.
type OrderReserved struct {
	Molds []record.MoldReservation // by mold
	Stock []record.Reservation     // by material and lot
	Units map[string]string        // what amounts of a material count, where it is known
	Plan  *OrderPlace              // nil for an order of the time before plans were kept
}

// OrderPlace is an order's place in the schedule.
type OrderPlace struct {
	// The percentiles of its end that were given when it was accepted, and the end
	// that came of it; the plan's operations are not in it.
	record.OrderPlan
	// Start and End are when it is worked at by the plan as last worked out; nil when
	// no work is left, while it is on hold, or when the worker has not been at it yet.
	Start, End *time.Time
}

// GetOrder returns an order. Another owner's is not there.
func (s *Service) GetOrder(ctx context.Context, c Caller, id uuid.UUID) (OrderDetail, error) {
	var d OrderDetail
	if err := c.Need(record.RoleDealer); err != nil {
		return d, err
	}
	var err error
	if d.Order, err = s.store.Orders().Get(ctx, c.Scope(), id); err != nil {
		return d, storeFault(err, "order")
	}
	if d.Quote, err = s.store.Quotes().Get(ctx, c.Scope(), d.Order.QuoteID); err != nil {
		return d, storeFault(err, "quote")
	}
	if d.Operations, err = s.store.Orders().Operations(ctx, c.Scope(), id); err != nil {
		return d, storeFault(err, "order")
	}
	if c.Role == record.RoleShop {
		d.Reserved, err = s.orderReserved(ctx, id)
	}
	return d, storeFault(err, "order")
}

// orderReserved reads what an order has set aside.
func (s *Service) orderReserved(ctx context.Context, id uuid.UUID) (*OrderReserved, error) {
	r := &OrderReserved{Units: map[string]string{}}
	var err error
	if r.Molds, err = s.store.Molds().Reservations(ctx, store.ShopScope(), &id); err != nil {
		return nil, err
	}
	if r.Stock, err = s.store.Stock().Reservations(ctx, store.ShopScope(), &id); err != nil {
		return nil, err
	}
	kept, err := s.store.Plans().Get(ctx, store.ShopScope(), id)
	if errors.Is(err, store.ErrNotFound) {
		return r, nil
	}
	if err != nil {
		return nil, err
	}
	plan, err := backlog.Read(kept.Body, kept.SchemaVersion)
	if err != nil {
		return nil, err
	}
	for _, n := range plan.Needs {
		r.Units[n.Material] = n.Unit
	}
	kept.Body = nil
	r.Plan = &OrderPlace{OrderPlan: kept}
	if b := s.floor.backlog.Load(); b != nil {
		for i, j := range b.Plan.Jobs {
			if j.Job == id.String() {
				r.Plan.Start, r.Plan.End = &b.Plan.Jobs[i].Start, &b.Plan.Jobs[i].End
			}
		}
	}
	return r, nil
}

// ListOrders lists orders, newest first: a dealer's own, or everybody's for the
// shop.
func (s *Service) ListOrders(ctx context.Context, c Caller, f store.OrderFilter, p store.Page) (store.Listing[record.Order], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return store.Listing[record.Order]{}, err
	}
	l, err := s.store.Orders().List(ctx, c.Scope(), f, p)
	return l, storeFault(err, "order")
}

// OrderEvents lists the history of an order, newest first: what happened, when,
// and by whom.
func (s *Service) OrderEvents(ctx context.Context, c Caller, id uuid.UUID, p store.Page) (store.Listing[record.Event], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return store.Listing[record.Event]{}, err
	}
	if _, err := s.store.Orders().Get(ctx, c.Scope(), id); err != nil {
		return store.Listing[record.Event]{}, storeFault(err, "order")
	}
	l, err := s.store.Events().List(ctx, c.Scope(), record.Subject{Kind: order.SubjectOrder, ID: id}, p)
	return l, storeFault(err, "event")
}
