package service

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/civil"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// freshShelf is the shelf as the store has it now, less what open orders of the
// backlog still wait for: what comes in is theirs first.
func (s *Service) freshShelf(ctx context.Context, b *backlog.Backlog) (backlog.Shelf, error) {
	h, err := s.readShelf(ctx, b.Engine, s.now())
	if err != nil {
		return h, err
	}
	for material, a := range b.Awaited(nil) {
		h.Free[material] = max(0, h.Free[material]-a)
	}
	return h, nil
}

// countOn freezes what a quote counts on of the stock: of each line's needs as much
// as is free now and good until the promised day. Materials that are not kept in
// stock are taken to be there and are not counted.
func (s *Service) countOn(ctx context.Context, q *record.Quote, needs [][]backlog.Need) error {
	b, _, err := s.present()
	if err != nil {
		return err
	}
	h, err := s.freshShelf(ctx, b)
	if err != nil {
		return err
	}
	promise, err := civil.ParseDate(q.Promise)
	if err != nil {
		return err
	}
	free := map[string]stockroom.Amount{}
	for _, l := range h.Lots {
		if !stockroom.Past(stockroom.Day(l.ExpiresOn), promise) {
			free[l.Material] += l.OnHand - l.Reserved
		}
	}
	for material, a := range b.Awaited(q.Revises) {
		free[material] = max(0, free[material]-a)
	}
	for i := range q.Lines {
		q.Lines[i].FromStock = nil
		for _, n := range needs[i] {
			a := min(n.Amount, free[n.Material])
			if a <= 0 {
				continue
			}
			free[n.Material] -= a
			q.Lines[i].FromStock = addCount(q.Lines[i].FromStock, n.Material, a)
		}
	}
	return nil
}

func addCount(list []record.StockCount, material string, a stockroom.Amount) []record.StockCount {
	for i := range list {
		if list[i].Material == material {
			list[i].Amount += a
			return list
		}
	}
	return append(list, record.StockCount{Material: material, Amount: a})
}

// stockDemand is what an order takes of a material, and when first.
type stockDemand struct {
	need    stockroom.Amount
	counted stockroom.Amount // the quote counts on it
	on      civil.Date
}

// demandsOf puts an order's needs beside what its quote counts on. on is the day on
// which the first operation of a kind begins; what has none is needed on the day
// given.
func demandsOf(q record.Quote, needs []backlog.Need, on map[string]civil.Date, otherwise civil.Date) map[string]stockDemand {
	out := map[string]stockDemand{}
	for _, n := range needs {
		d, there := out[n.Material]
		day, ok := on[n.Kind]
		if !ok {
			day = otherwise
		}
		if !there || day.Compare(d.on) > 0 {
			d.on = day
		}
		d.need += n.Amount
		out[n.Material] = d
	}
	for _, l := range q.Lines {
		for _, c := range l.FromStock {
			d, there := out[c.Material]
			if !there && len(needs) > 0 {
				continue // it is no longer needed
			}
			if !there {
				d.on = otherwise
			}
			d.counted += c.Amount
			if len(needs) == 0 { // nothing else is known of what it takes
				d.need = d.counted
			}
			out[c.Material] = d
		}
	}
	return out
}

// reserveStock sets material aside for an order, from lots that are good on the day
// of need, what expires first first, and not what earlier orders wait for. What is
// not there is left as a shortage. The error is a *order.Refusal with StockTaken
// when less is there than the quote counts on.
func (s *Service) reserveStock(ctx context.Context, tx store.Registers, by record.Actor, orderID uuid.UUID, demands map[string]stockDemand, awaited map[string]stockroom.Amount) error {
	var materials []string
	for m := range demands {
		materials = append(materials, m)
	}
	slices.Sort(materials)
	lots, err := tx.Stock().HoldMaterials(ctx, store.ShopScope(), materials)
	if err != nil {
		return err
	}
	var list []stockroom.Demand
	var counted []stockroom.Amount
	for _, m := range materials {
		d, there := demands[m]
		if !there {
			continue
		}
		spare := -awaited[m]
		for _, l := range lots {
			if l.Material == m && !stockroom.Past(stockroom.Day(l.ExpiresOn), d.on) {
				spare += l.OnHand - l.Reserved
			}
		}
		list = append(list, stockroom.Demand{Order: orderID.String(), Material: m, Amount: min(d.need, max(0, spare)), On: d.on})
		counted = append(counted, min(d.need, d.counted))
	}
	met := stockroom.Allocate(inStock(lots), list)
	var gone []string
	for i, m := range met {
		if m.Amount-m.Short < counted[i] {
			gone = append(gone, m.Material)
		}
	}
	if len(gone) > 0 {
		return &order.Refusal{Reason: order.StockTaken, Detail: fmt.Sprintf(
			"The quote counts on stock that is no longer free: %s. Make a new quote: it says by when the order can be done with what is bought.", strings.Join(gone, ", "))}
	}
	for _, m := range met {
		for _, take := range m.Takes {
			move := record.StockMove{LotID: uuid.MustParse(take.Lot), Material: m.Material, Kind: stockroom.Reserve, Amount: take.Amount,
				OrderID: &orderID, Note: "for the order", Change: stockroom.Change{Reserved: take.Amount}}
			if err := s.moveLot(ctx, tx, by, move); err != nil {
				return err
			}
		}
	}
	return nil
}

// moveLot enters a move into the book.
func (s *Service) moveLot(ctx context.Context, tx store.Registers, by record.Actor, m record.StockMove) (err error) {
	if m.ID, err = s.newID(); err != nil {
		return err
	}
	m.CreatedAt, m.By = s.now(), by
	return tx.Stock().Move(ctx, store.ShopScope(), m)
}

// freeStock gives back what an order has reserved and not used.
func (s *Service) freeStock(ctx context.Context, tx store.Registers, by record.Actor, orderID uuid.UUID) error {
	return s.settleStock(ctx, tx, by, orderID, func(a stockroom.Amount) record.StockMove {
		return record.StockMove{Kind: stockroom.Release, Note: "the order was cancelled", Change: stockroom.Change{Reserved: -a}}
	})
}

// useStock books what a finished order still has reserved as used: the floor took
// it, whether or not anybody wrote it down. What is left over comes back as a
// return.
func (s *Service) useStock(ctx context.Context, tx store.Registers, by record.Actor, orderID uuid.UUID) error {
	return s.settleStock(ctx, tx, by, orderID, func(a stockroom.Amount) record.StockMove {
		return record.StockMove{Kind: stockroom.Issue, Note: "the order is finished", Change: stockroom.Change{OnHand: -a, Reserved: -a}}
	})
}

// settleStock ends the reservations of an order, each by the move that how makes.
func (s *Service) settleStock(ctx context.Context, tx store.Registers, by record.Actor, orderID uuid.UUID, how func(stockroom.Amount) record.StockMove) error {
	list, err := tx.Stock().Reservations(ctx, store.ShopScope(), &orderID)
	if err != nil {
		return err
	}
	slices.SortFunc(list, func(a, b record.Reservation) int { return bytes.Compare(a.LotID[:], b.LotID[:]) })
	for _, v := range list {
		// Held first: what was reserved may have moved since it was read.
		_, own, err := tx.Stock().Hold(ctx, store.ShopScope(), v.LotID, &orderID)
		if err != nil {
			return err
		}
		if own == 0 {
			continue
		}
		m := how(own)
		m.LotID, m.Material, m.Amount, m.OrderID = v.LotID, v.Material, own, &orderID
		if err := s.moveLot(ctx, tx, by, m); err != nil {
			return err
		}
	}
	return nil
}
