package service

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// NewMove is a move of stock. Exactly one of LotID, Lot and Material says what of:
// a lot by its id; a new lot, with Kind receive; or, with Kind reserve, a material,
// from whose lots as much as it takes is set aside, first expired first out.
type NewMove struct {
	Kind     stockroom.Kind
	Amount   stockroom.Amount
	LotID    *uuid.UUID
	Lot      *NewLot
	Material string
	OrderID  *uuid.UUID
	Note     string
}

// StockMoved are the moves made, and the lots as they are then.
type StockMoved struct {
	Moves []record.StockMove
	Lots  []record.Lot
}

// NewLot is material that comes in.
type NewLot struct {
	Material   string
	Batch      string
	ReceivedOn string // local date of the shop, ISO 8601; "": today
	ExpiresOn  string // "": by the shelf life in the catalog, or never
}

// MoveStock enters a move into the stock's book; for the shop. What the rules
// refuse changes nothing: the fault's cause is a *stockroom.Refusal.
func (s *Service) MoveStock(ctx context.Context, c Caller, n NewMove, claim *Claim) (Made[StockMoved], error) {
	if err := needShop(c); err != nil {
		return Made[StockMoved]{}, err
	}
	named := 0
	for _, given := range []bool{n.LotID != nil, n.Lot != nil, n.Material != ""} {
		if given {
			named++
		}
	}
	switch {
	case named != 1:
		return Made[StockMoved]{}, badField("", "one_of", "Give exactly one of lot_id, lot and material.")
	case (n.Lot != nil) != (n.Kind == stockroom.Receive):
		return Made[StockMoved]{}, badField("/lot", "needed", "A receipt makes a lot, and only a receipt: give lot with the kind receive. What comes back to a lot is a return.")
	case n.Material != "" && n.Kind != stockroom.Reserve:
		return Made[StockMoved]{}, badField("/material", "needed", "Only a reservation can be made of a material as a whole; give lot_id.")
	case n.OrderID == nil && (n.Kind == stockroom.Reserve || n.Kind == stockroom.Release):
		return Made[StockMoved]{}, badField("/order_id", "missing", "A reservation is for an order: give its id.")
	}
	made, err := once(ctx, s, c, claim, "lot", func() (write[StockMoved], error) {
		e, err := s.derivations()
		if err != nil {
			return nil, err
		}
		today := civil.DateOf(s.now(), e.Location())
		var lot *record.Lot
		if n.Lot != nil {
			if lot, err = s.newLot(*n.Lot, e, today); err != nil {
				return nil, err
			}
		}
		return func(ctx context.Context, tx store.Registers) (StockMoved, error) {
			if n.OrderID != nil {
				// Held, so that it is not closed before what is set aside for it is there
				// to be given back.
				o, err := tx.Orders().Hold(ctx, c.Scope(), *n.OrderID)
				if errors.Is(err, store.ErrNotFound) {
					return StockMoved{}, unknownField(err, "/order_id", "There is no such order.", "Give the id of an order, or leave it out.")
				}
				if err != nil {
					return StockMoved{}, err
				}
				if n.Kind == stockroom.Reserve {
					if err := stillUses(o); err != nil {
						return StockMoved{}, err
					}
				}
			}
			if lot != nil {
				if err := tx.Stock().InsertLot(ctx, c.Scope(), *lot); err != nil {
					return StockMoved{}, err
				}
			}
			moves, lots, err := s.enter(ctx, tx, c, n, lot, today)
			if err != nil {
				return StockMoved{}, stockFault(err)
			}
			return StockMoved{Moves: moves, Lots: lots}, nil
		}, nil
	})
	if err == nil {
		s.invalidate()
	}
	return made, err
}

// stillUses refuses to set anything aside for an order that uses nothing any more:
// nobody would give it back.
func stillUses(o record.Order) error {
	var r *order.Refusal
	switch {
	case o.State.Closed():
		r = &order.Refusal{Reason: order.OrderClosed, Detail: fmt.Sprintf("The order is %s and uses no stock any more. Reserve for an open order, or enter an issue without order_id.", o.State)}
	case o.State == record.OrderReady:
		r = &order.Refusal{Reason: order.WrongState, Detail: "The order is ready: its work is done, and what it had reserved was booked as used. Enter what was used besides as an issue without order_id."}
	default:
		return nil
	}
	f := fault.Wrap(fault.Conflict, r, "%s", r.Detail)
	f.Fields = []fault.Field{{Pointer: "/order_id", Code: string(r.Reason), Message: r.Detail}}
	return f
}

// newLot makes a lot of what comes in.
func (s *Service) newLot(n NewLot, e *derivation.Engine, today civil.Date) (*record.Lot, error) {
	documents := e.Documents()
	price, known := documents.Prices.Prices[n.Material]
	if !known {
		return nil, stockFault(&stockroom.Refusal{Reason: stockroom.Unknown,
			Detail: fmt.Sprintf("There is no material %q in the price book. Give the key of one, or add it there first.", n.Material)})
	}
	id, err := s.newID()
	if err != nil {
		return nil, err
	}
	l := &record.Lot{ID: id, Material: n.Material, Unit: price.Unit, Batch: n.Batch, ReceivedOn: n.ReceivedOn, ExpiresOn: n.ExpiresOn, CreatedAt: s.now(), UpdatedAt: s.now()}
	received := today
	if n.ReceivedOn != "" {
		if received, err = civil.ParseDate(n.ReceivedOn); err != nil {
			return nil, badField("/lot/received_on", "date", "Give a date like 2027-03-05.")
		}
		if received.Compare(today) > 0 {
			return nil, badField("/lot/received_on", "ahead", fmt.Sprintf("It is %s; a lot is entered once it is there.", today))
		}
	}
	l.ReceivedOn = received.String()
	if n.ExpiresOn == "" {
		if days := documents.Materials.Purchasing[n.Material].ShelfDays; days > 0 {
			l.ExpiresOn = received.AddDays(days).String()
		}
		return l, nil
	}
	expires, err := civil.ParseDate(n.ExpiresOn)
	if err != nil {
		return nil, badField("/lot/expires_on", "date", "Give a date like 2027-03-05.")
	}
	if expires.Compare(received) < 0 {
		return nil, badField("/lot/expires_on", "order", "The lot expires before it is received. Mend one of the two dates.")
	}
	return l, nil
}

// enter makes the moves: one, or as many as a reservation of a material takes lots.
func (s *Service) enter(ctx context.Context, tx store.Registers, c Caller, n NewMove, lot *record.Lot, today civil.Date) ([]record.StockMove, []record.Lot, error) {
	takes := []stockroom.Take{{Amount: n.Amount}}
	switch {
	case n.LotID != nil:
		takes[0].Lot = n.LotID.String()
	case lot != nil:
		takes[0].Lot = lot.ID.String()
	default:
		var err error
		if takes, err = oldestFirst(ctx, tx, c, n, today); err != nil {
			return nil, nil, err
		}
	}
	var moves []record.StockMove
	var lots []record.Lot
	// In the order of the lots' ids, so that two at once wait for each other and
	// never each for the other.
	slices.SortFunc(takes, func(a, b stockroom.Take) int { return slices.Compare([]byte(a.Lot), []byte(b.Lot)) })
	for _, take := range takes {
		id, err := s.newID()
		if err != nil {
			return nil, nil, err
		}
		l, own, err := tx.Stock().Hold(ctx, c.Scope(), uuid.MustParse(take.Lot), n.OrderID)
		if errors.Is(err, store.ErrNotFound) {
			return nil, nil, unknownField(err, "/lot_id", "There is no such lot.", "Give the id of a lot, from the list of lots.")
		}
		if err != nil {
			return nil, nil, err
		}
		standing := stockroom.Standing{OnHand: l.OnHand, Reserved: l.Reserved, Own: own, Expires: stockroom.Day(l.ExpiresOn)}
		change, err := standing.Change(n.Kind, take.Amount, n.OrderID != nil, today)
		if err != nil {
			return nil, nil, err
		}
		m := record.StockMove{ID: id, LotID: l.ID, Material: l.Material, Kind: n.Kind, Amount: take.Amount, OrderID: n.OrderID, Note: n.Note, Change: change, CreatedAt: s.now(), By: c.actor()}
		if err := tx.Stock().Move(ctx, c.Scope(), m); err != nil {
			return nil, nil, err
		}
		l.OnHand, l.Reserved, l.UpdatedAt = l.OnHand+change.OnHand, l.Reserved+change.Reserved, m.CreatedAt
		moves, lots = append(moves, m), append(lots, l)
	}
	return moves, lots, nil
}

// oldestFirst finds the lots that a reservation of a material is made from.
func oldestFirst(ctx context.Context, tx store.Registers, c Caller, n NewMove, today civil.Date) ([]stockroom.Take, error) {
	if n.Amount <= 0 {
		_, err := stockroom.Standing{}.Change(n.Kind, n.Amount, true, today)
		return nil, err
	}
	hand, err := tx.Stock().OnHand(ctx, c.Scope())
	if err != nil {
		return nil, err
	}
	met := stockroom.Allocate(inStock(hand), []stockroom.Demand{{Material: n.Material, Amount: n.Amount, On: today}})[0]
	if met.Short > 0 {
		return nil, &stockroom.Refusal{Reason: stockroom.BelowZero, Detail: fmt.Sprintf(
			"Of %v of %s, %v are not there: free and good today are %v. Reserve that much, or receive more first.", n.Amount, n.Material, met.Short, n.Amount-met.Short)}
	}
	return met.Takes, nil
}
