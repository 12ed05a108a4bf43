package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/bill"
	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// StockAtHand is what the shop has on hand at an instant. Taking from it does not
// use it up: each derivation is told of all of it.
type StockAtHand struct {
	On     civil.Date // today, in the shop's zone
	engine *derivation.Engine
	lots   []derivation.Lot
}

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

func (s *Service) stockAtHand(ctx context.Context, e *derivation.Engine) (*StockAtHand, error) {
	list, err := s.store.Stock().OnHand(ctx, store.ShopScope())
	if err != nil {
		return nil, storeFault(err, "stock")
	}
	h := &StockAtHand{On: civil.DateOf(s.now(), e.Location()), engine: e}
	for _, l := range list {
		h.lots = append(h.lots, derivation.Lot{Material: l.Material, Unit: l.Unit, Batch: l.Batch,
			OnHand: l.OnHand.Float(), Free: (l.OnHand - l.Reserved).Float(), Expires: stockroom.Day(l.ExpiresOn)})
	}
	return h, nil
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
