package service

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// freePulls tells how many pulls of each mold no order has reserved.
func freePulls(ctx context.Context, molds store.Molds, list []record.Mold) (map[uuid.UUID]int, error) {
	free := make(map[uuid.UUID]int, len(list))
	ids := make([]uuid.UUID, len(list))
	for i, m := range list {
		ids[i], free[m.ID] = m.ID, m.RemainingPulls
	}
	if len(list) == 0 {
		return free, nil
	}
	reserved, err := molds.Reserved(ctx, store.ShopScope(), ids)
	for id, n := range reserved {
		free[id] = max(0, free[id]-n)
	}
	return free, err
}

// moldsOf are the registered molds that a line comes out of, by part.
func moldsOf(l record.QuoteLine) map[string]uuid.UUID { return l.Molds }

// registeredIn are the same, as a routing takes them.
func registeredIn(l record.QuoteLine) map[string]string {
	out := map[string]string{}
	for part, id := range moldsOf(l) {
		out[part] = id.String()
	}
	return out
}

// pullsOf is how many pulls of which registered molds a quote counts on.
func pullsOf(q record.Quote) map[uuid.UUID]int {
	out := map[uuid.UUID]int{}
	for _, l := range q.Lines {
		for _, id := range moldsOf(l) {
			out[id] += l.Quantity
		}
	}
	return out
}

// idsOf are the keys of sets in the order in which things are held, so that two at
// once wait for each other and never each for the other.
func idsOf(sets ...map[uuid.UUID]int) []uuid.UUID {
	var out []uuid.UUID
	for _, set := range sets {
		for id := range set {
			out = append(out, id)
		}
	}
	slices.SortFunc(out, func(a, b uuid.UUID) int { return bytes.Compare(a[:], b[:]) })
	return slices.Compact(out)
}

// reserveMolds sets pulls aside for an order. The error is a *order.Refusal with
// MoldTaken when one of the molds no longer has them.
func (s *Service) reserveMolds(ctx context.Context, tx store.Registers, orderID uuid.UUID, pulls map[uuid.UUID]int) error {
	for _, id := range idsOf(pulls) {
		m, reserved, err := tx.Molds().Hold(ctx, store.ShopScope(), id)
		if errors.Is(err, store.ErrNotFound) {
			return &order.Refusal{Reason: order.MoldTaken, Detail: "A mold that the quote counts on is no longer in the shop. Make a new quote: price and date are worked out anew."}
		}
		if err != nil {
			return err
		}
		if free := max(0, m.RemainingPulls-reserved); m.State == record.MoldRetired || free < pulls[id] {
			return &order.Refusal{Reason: order.MoldTaken, Detail: fmt.Sprintf(
				"The quote counts on %s of %s, and %s. Make a new quote: price and date are worked out anew.", pullCount(pulls[id]), moldName(m), whyTaken(m, free))}
		}
		if err := tx.Molds().Reserve(ctx, store.ShopScope(), record.MoldReservation{OrderID: orderID, MoldID: id, Pulls: pulls[id]}); err != nil {
			return err
		}
	}
	return nil
}

func whyTaken(m record.Mold, free int) string {
	switch {
	case m.State == record.MoldRetired:
		return "it is retired"
	case free == 0:
		return "none is free any more"
	case free == 1:
		return "only 1 is free"
	}
	return fmt.Sprintf("only %d are free", free)
}

func pullCount(n int) string {
	if n == 1 {
		return "1 pull"
	}
	return fmt.Sprintf("%d pulls", n)
}

// moldName is how a person tells a mold from others.
func moldName(m record.Mold) string {
	if m.Tag == "" {
		return fmt.Sprintf("the registered mold of the %s", m.Part)
	}
	return fmt.Sprintf("the mold %q of the %s", m.Tag, m.Part)
}

// freeMolds gives back the pulls that an order has reserved and not taken.
func (s *Service) freeMolds(ctx context.Context, tx store.Registers, orderID uuid.UUID) error {
	list, err := tx.Molds().Reservations(ctx, store.ShopScope(), &orderID) // by mold
	if err != nil {
		return err
	}
	for _, v := range list {
		if v.Pulls == 0 {
			continue
		}
		if _, _, err := tx.Molds().Hold(ctx, store.ShopScope(), v.MoldID); err != nil {
			return err
		}
		if err := tx.Molds().Reserve(ctx, store.ShopScope(), record.MoldReservation{OrderID: orderID, MoldID: v.MoldID, Pulls: -v.Pulls}); err != nil {
			return err
		}
	}
	return nil
}

// takePull counts a part that came out of a registered mold, from what its order
// has reserved.
func (s *Service) takePull(ctx context.Context, tx store.Registers, orderID, mold uuid.UUID) error {
	m, _, err := tx.Molds().Hold(ctx, store.ShopScope(), mold)
	if errors.Is(err, store.ErrNotFound) {
		return nil // it left the register
	}
	if err != nil {
		return err
	}
	list, err := tx.Molds().Reservations(ctx, store.ShopScope(), &orderID)
	if err != nil {
		return err
	}
	change := record.MoldReservation{OrderID: orderID, MoldID: mold, Taken: 1}
	for _, v := range list {
		if v.MoldID == mold && v.Pulls > 0 {
			change.Pulls = -1
		}
	}
	if err := tx.Molds().Reserve(ctx, store.ShopScope(), change); err != nil {
		return err
	}
	before := m.Version
	m.Pulls, m.RemainingPulls = m.Pulls+1, max(0, m.RemainingPulls-1)
	m.Version, m.UpdatedAt = before+1, s.now()
	return tx.Molds().Update(ctx, store.ShopScope(), m, before)
}

// mostPulls is more than any mold of board gives (shop rule).
const mostPulls = 10_000
