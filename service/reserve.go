package service

import (
	"context"
	"errors"
	"slices"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/civil"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// draft is what an order will reserve, worked out before its transaction begins.
type draft struct {
	pulls   map[uuid.UUID]int // of registered molds
	demands map[string]stockDemand
	awaited map[string]stockroom.Amount // by orders before it
	plan    record.OrderPlan            // with its place in the schedule
	// Of the order that is replaced: what is freed, to be held in one go.
	oldMolds     map[uuid.UUID]int
	oldMaterials []string
}

// draft works out what an order of a quote reserves. It is nil for a quote that is
// not there or not open, which the transaction then refuses.
func (s *Service) draft(ctx context.Context, c Caller, quote, id uuid.UUID) (*draft, error) {
	now := s.now()
	q, err := s.store.Quotes().Get(ctx, c.Scope(), quote)
	if errors.Is(err, store.ErrNotFound) || err == nil && order.Open(q, now) != nil {
		return nil, nil //nolint:nilerr // the transaction says why
	}
	if err != nil {
		return nil, err
	}
	b, _, err := s.present()
	if err != nil {
		return nil, err
	}
	leave, err := s.gate.turn(ctx, c, b.Engine, 1, lineRequests(q)...)
	if err != nil {
		return nil, err
	}
	defer leave()
	d := &draft{pulls: pullsOf(q), awaited: b.Awaited(q.Revises)}
	plan, err := s.planQuote(ctx, b.Engine, q, now)
	if err != nil {
		return nil, err
	}
	var kept *backlog.Backlog // what is promised before the worker has been is no percentile
	if b == s.floor.backlog.Load() {
		kept = b
	}
	if d.plan, err = s.orderPlan(ctx, b.Engine, id, plan, kept, now); err != nil {
		return nil, err
	}
	promise, err := civil.ParseDate(q.Promise)
	if err != nil {
		return nil, err
	}
	// Stock is to be good on the day on which it is used, or until the promise where
	// the plan does not say.
	on, err := s.needDays(ctx, b, plan, id, q)
	if err != nil {
		return nil, err
	}
	d.demands = demandsOf(q, plan.Needs, on, promise)
	if q.Revises != nil {
		if d.oldMolds, d.oldMaterials, err = s.held(ctx, *q.Revises); err != nil {
			return nil, err
		}
	}
	return d, nil
}

// needDays are the days on which the first operation of each kind begins when the
// order is put among the open ones, no later than the promise. It is empty when that
// makes no difference: no lot of what is needed ends before the promise.
func (s *Service) needDays(ctx context.Context, b *backlog.Backlog, p backlog.Plan, id uuid.UUID, q record.Quote) (map[string]civil.Date, error) {
	promise, err := civil.ParseDate(q.Promise)
	if err != nil {
		return nil, err
	}
	lots, err := s.store.Stock().OnHand(ctx, store.ShopScope())
	if err != nil {
		return nil, err
	}
	ends := slices.ContainsFunc(lots, func(l record.Lot) bool {
		return stockroom.Past(stockroom.Day(l.ExpiresOn), promise) && slices.ContainsFunc(p.Needs, func(n backlog.Need) bool { return n.Material == l.Material })
	})
	if !ends {
		return nil, nil
	}
	days, err := b.NeedDays(p, id.String(), promise, s.now())
	if err != nil {
		s.log.WarnContext(ctx, "an order has no place in the schedule yet; its stock is to be good until its promise", "order", id, "error", err)
	}
	return days, nil
}

// held is what an order has reserved: pulls by mold, and materials.
func (s *Service) held(ctx context.Context, id uuid.UUID) (map[uuid.UUID]int, []string, error) {
	molds, err := s.store.Molds().Reservations(ctx, store.ShopScope(), &id)
	if err != nil {
		return nil, nil, err
	}
	pulls := map[uuid.UUID]int{}
	for _, v := range molds {
		pulls[v.MoldID] = v.Pulls
	}
	stock, err := s.store.Stock().Reservations(ctx, store.ShopScope(), &id)
	var materials []string
	for _, v := range stock {
		materials = append(materials, v.Material)
	}
	return pulls, materials, err
}

// reserve sets aside what an order takes, after what the order it replaces has set
// aside is free again. Molds are held first, then lots, each in the order of their
// ids, as wherever they are held together.
func (s *Service) reserve(ctx context.Context, tx store.Registers, c Caller, o record.Order, d *draft) error {
	for _, id := range idsOf(d.oldMolds, d.pulls) {
		if _, _, err := tx.Molds().Hold(ctx, store.ShopScope(), id); err != nil && !errors.Is(err, store.ErrNotFound) {
			return err
		}
	}
	if o.Replaces != nil {
		if _, err := tx.Stock().HoldMaterials(ctx, store.ShopScope(), d.materials()); err != nil {
			return err
		}
		if err := s.free(ctx, tx, c, *o.Replaces); err != nil {
			return err
		}
	}
	if err := s.reserveMolds(ctx, tx, o.ID, d.pulls); err != nil {
		return err
	}
	if err := s.reserveStock(ctx, tx, c.actor(), o.ID, d.demands, d.awaited); err != nil {
		return err
	}
	return tx.Plans().Put(ctx, store.ShopScope(), d.plan)
}

// materials are those that are held for the order and the one that it replaces.
func (d *draft) materials() []string {
	out := slices.Clone(d.oldMaterials)
	for m := range d.demands {
		out = append(out, m)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// free gives back what an order has reserved and not used.
func (s *Service) free(ctx context.Context, tx store.Registers, c Caller, id uuid.UUID) error {
	if err := s.freeMolds(ctx, tx, id); err != nil {
		return err
	}
	return s.freeStock(ctx, tx, c.actor(), id)
}
