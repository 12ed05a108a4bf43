package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/bill"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/record"
)

// StockAtHand reads the stock for derivations; for the shop.
func (s *Service) StockAtHand(ctx context.Context, c Caller) (*StockAtHand, error) {
	if c.Role != record.RoleShop {
		e := fault.New(fault.Forbidden, "The stock is the shop's: this takes a shop key; yours is a %s key.", c.Role)
		e.Fields = []fault.Field{{Parameter: "stock", Code: "forbidden", Message: "Leave this out: the answer is then what has to be bought with nothing on hand."}}
		return nil, e
	}
	engine, err := s.derivations()
	if err != nil {
		return nil, err
	}
	return s.stockAtHand(ctx, engine)
}

// Take has a derivation take of the stock before it buys. b is its bill, or what is
// left of it.
func (h *StockAtHand) Take(r *derivation.Result, b *bill.Bill) error {
	if err := h.engine.TakeStock(r, b, h.lots, h.On); err != nil {
		return fault.Wrap(fault.Internal, err, "The shop's documents do not cover this configuration.")
	}
	return nil
}

// RevisitWithStock works a kept configuration out once more, with the documents of
// the day on which it was kept and the stock, the molds and the open work of today; for the shop.
func (s *Service) RevisitWithStock(ctx context.Context, c Caller, id uuid.UUID) (*Derived, *StockAtHand, error) {
	h, err := s.StockAtHand(ctx, c)
	if err != nil {
		return nil, nil, err
	}
	v, err := s.revisit(ctx, c, id)
	if err != nil {
		return nil, nil, err
	}
	due, err := s.leadTime(ctx, v.engine, ownerScope(v.kept.DealerID), v.result, s.now(), LeadTimeOptions{Near: true})
	if err != nil {
		return nil, nil, err
	}
	d := derived(v.result, due)
	h.engine = v.engine
	return d, h, h.Take(d.Result, &d.Due.Bill)
}
