package service

import (
	"context"

	"hatchwright/service/civil"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// MaterialStock is what there is of a material.
type MaterialStock struct {
	Material string
	Unit     string
	OnHand   stockroom.Amount
	Reserved stockroom.Amount
	Free     stockroom.Amount // good today and not reserved
	Expired  stockroom.Amount // on hand, past its date
	Lots     int
	NextEnd  *civil.Date // when the next lot that is still good expires
}

// Stock is what is on hand on a day.
type Stock struct {
	On        civil.Date // today, in the shop's zone
	Materials []MaterialStock
}

// ListStock sums what is on hand by material, sorted; for the shop.
func (s *Service) ListStock(ctx context.Context, c Caller) (Stock, error) {
	if err := needShop(c); err != nil {
		return Stock{}, err
	}
	hand, err := s.store.Stock().OnHand(ctx, c.Scope())
	if err != nil {
		return Stock{}, storeFault(err, "stock")
	}
	today := civil.DateOf(s.now(), s.Location())
	var out []MaterialStock
	for _, l := range hand { // by material, then by expiry
		if len(out) == 0 || out[len(out)-1].Material != l.Material {
			out = append(out, MaterialStock{Material: l.Material, Unit: l.Unit})
		}
		m := &out[len(out)-1]
		m.OnHand, m.Reserved, m.Lots = m.OnHand+l.OnHand, m.Reserved+l.Reserved, m.Lots+1
		expires := stockroom.Day(l.ExpiresOn)
		if stockroom.Past(expires, today) {
			m.Expired += l.OnHand
			continue
		}
		m.Free += l.OnHand - l.Reserved
		if m.NextEnd == nil {
			m.NextEnd = expires
		}
	}
	return Stock{On: today, Materials: out}, nil
}

// ListLots lists lots, newest first; for the shop.
func (s *Service) ListLots(ctx context.Context, c Caller, f store.LotFilter, p store.Page) (store.Listing[record.Lot], error) {
	if err := needShop(c); err != nil {
		return store.Listing[record.Lot]{}, err
	}
	list, err := s.store.Stock().Lots(ctx, c.Scope(), f, p)
	return list, storeFault(err, "lot")
}

// ListMoves lists the book of the stock, newest first; for the shop.
func (s *Service) ListMoves(ctx context.Context, c Caller, f store.MoveFilter, p store.Page) (store.Listing[record.StockMove], error) {
	if err := needShop(c); err != nil {
		return store.Listing[record.StockMove]{}, err
	}
	list, err := s.store.Stock().Moves(ctx, c.Scope(), f, p)
	return list, storeFault(err, "move")
}
