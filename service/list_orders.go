package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// OrderDetail is an order with what was ordered and what the floor wrote down.
type OrderDetail struct {
	Order      record.Order
	Quote      record.Quote
	Operations []record.OperationRecord
}

// GetOrder returns an order. Another owner's is not there.
func (s *Service) GetOrder(ctx context.Context, c Caller, id uuid.UUID) (OrderDetail, error) {
	var d OrderDetail
	if err := c.need(record.RoleDealer); err != nil {
		return d, err
	}
	var err error
	if d.Order, err = s.store.Orders().Get(ctx, c.Scope(), id); err != nil {
		return d, storeFault(err, "order")
	}
	if d.Quote, err = s.store.Quotes().Get(ctx, c.Scope(), d.Order.QuoteID); err != nil {
		return d, storeFault(err, "quote")
	}
	d.Operations, err = s.store.Orders().Operations(ctx, c.Scope(), id)
	return d, storeFault(err, "order")
}

// ListOrders lists orders, newest first: a dealer's own, or everybody's for the
// shop.
func (s *Service) ListOrders(ctx context.Context, c Caller, f store.OrderFilter, p store.Page) (store.Listing[record.Order], error) {
	if err := c.need(record.RoleDealer); err != nil {
		return store.Listing[record.Order]{}, err
	}
	l, err := s.store.Orders().List(ctx, c.Scope(), f, p)
	return l, storeFault(err, "order")
}

// OrderEvents lists the history of an order, newest first: what happened, when,
// and by whom.
func (s *Service) OrderEvents(ctx context.Context, c Caller, id uuid.UUID, p store.Page) (store.Listing[record.Event], error) {
	if err := c.need(record.RoleDealer); err != nil {
		return store.Listing[record.Event]{}, err
	}
	if _, err := s.store.Orders().Get(ctx, c.Scope(), id); err != nil {
		return store.Listing[record.Event]{}, storeFault(err, "order")
	}
	l, err := s.store.Events().List(ctx, c.Scope(), record.Subject{Kind: order.SubjectOrder, ID: id}, p)
	return l, storeFault(err, "event")
}
