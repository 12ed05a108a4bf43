package service

import (
	"context"

	"github.com/govalues/decimal"

	"hatchwright/service/civil"
	"hatchwright/service/fault"
	"hatchwright/service/money"
	"hatchwright/service/stockroom"
)

// Shortages is what open orders need and the stock does not have.
type Shortages struct {
	// Met are the needs of open orders that are short, by the day on which their
	// operation begins by the plan.
	Met []stockroom.Met
	// Purchases is what to buy for them, most urgent first.
	Purchases []stockroom.Purchase
	// Unsourced are materials that are short and that the catalog does not say how
	// to buy.
	Unsourced []string
	// Units are what amounts of materials count, and Costs what the purchases cost,
	// by material, where the price book has it.
	Units   map[string]string
	Costs   map[string]money.Amount
	Backlog BacklogStamp
}

// ListShortages holds what the open orders still need, beyond what they have
// reserved, against the lots that are good on the day of need; for the shop. It is
// as of the backlog as last worked out.
func (s *Service) ListShortages(_ context.Context, c Caller) (Shortages, error) {
	var out Shortages
	if err := needShop(c); err != nil {
		return out, err
	}
	b, stamp, err := s.present()
	if err != nil {
		return out, err
	}
	out.Backlog, out.Units, out.Costs = stamp, map[string]string{}, map[string]money.Amount{}
	var demands []stockroom.Demand
	for _, n := range b.Needs {
		demands = append(demands, stockroom.Demand{Order: n.Order, Material: n.Material, Amount: n.Amount, On: n.On})
	}
	documents := b.Engine.Documents()
	sources := map[string]stockroom.Source{}
	unsourced := map[string]bool{}
	var short []stockroom.Met
	for _, m := range stockroom.Allocate(inStock(b.Shelf.Lots), demands) {
		if m.Short == 0 {
			continue
		}
		out.Met = append(out.Met, m)
		if price, known := documents.Prices.Prices[m.Material]; known {
			out.Units[m.Material] = price.Unit
		}
		purchase, known := documents.Materials.Purchasing[m.Material]
		if !known {
			if !unsourced[m.Material] {
				out.Unsourced = append(out.Unsourced, m.Material)
			}
			unsourced[m.Material] = true
			continue
		}
		source := stockroom.Source{Supplier: purchase.Supplier, LeadDays: purchase.LeadDays, LeastPacks: purchase.LeastPacks}
		if source.Pack, err = stockroom.Of(documents.Prices.Prices[m.Material].Pack); err != nil {
			return out, fault.Wrap(fault.Internal, err, "The price book's packs cannot be read.")
		}
		sources[m.Material] = source
		short = append(short, m)
	}
	out.Purchases, err = stockroom.Suggest(short, sources, b.Engine.Calendar(), civil.DateOf(s.now(), b.Engine.Location()))
	if err != nil {
		return out, fault.Wrap(fault.Conflict, err, "The shop's calendar has no day to order on. Look at its closures.")
	}
	for _, p := range out.Purchases {
		price, known := documents.Prices.Prices[p.Material]
		if !known {
			continue
		}
		packs, err := decimal.New(int64(p.Packs), 0)
		if err != nil {
			return out, fault.Wrap(fault.Internal, err, "The price of a purchase cannot be worked out.")
		}
		cost, err := price.Per.Mul(packs)
		if err != nil {
			return out, fault.Wrap(fault.Internal, err, "The price of a purchase cannot be worked out.")
		}
		out.Costs[p.Material] = money.Round(cost, documents.Prices.Currency)
	}
	return out, nil
}
