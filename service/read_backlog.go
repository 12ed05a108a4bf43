package service

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/store"
)

// Limits of what is looked at.
const (
	// observationWindow is how many reports the learned factors rest on: the last
	// ones, since crews and rates change (shop rule).
	observationWindow = 20_000
	// outcomeWindow is how many finished orders the coverage is counted over.
	outcomeWindow = 10_000
)

// RefreshBacklog works the backlog out anew when something has changed since, or it
// has become old, and tells whether it did. It plans orders that are new, learns
// from what the floor has finished, and samples the profiles.
func (s *Service) RefreshBacklog(ctx context.Context) (changed bool, err error) {
	s.floor.mu.Lock()
	defer s.floor.mu.Unlock()
	if err := s.follow(ctx); err != nil {
		return false, err
	}
	e, err := s.derivations()
	if err != nil {
		return false, err
	}
	last, err := s.store.Events().Last(ctx)
	if err != nil {
		return false, storeFault(err, "backlog")
	}
	revision := e.Documents().Revision
	version := fmt.Sprintf("%d-%s-%d", last, revision.Catalog, s.floor.changes.Load())
	now := s.now()
	before := s.floor.backlog.Load()
	if before != nil && before.Version == version && before.Engine == e && now.Sub(before.MadeAt) < backlogAge && !now.Before(before.MadeAt) {
		return false, nil
	}
	read, err := s.snapshot(ctx, e, before, now)
	if err != nil {
		return false, storeFault(err, "backlog")
	}
	b, err := backlog.New(read)
	if err != nil {
		return false, storeFault(err, "backlog")
	}
	b.Version = version
	s.floor.backlog.Store(b)
	return true, nil
}

// follow takes on the shop's documents when another process has put newer ones.
func (s *Service) follow(ctx context.Context) error {
	now := s.documents.Load()
	if _, err := s.derivations(); err != nil || now == nil {
		return err
	}
	var versions [3]int
	for i, kind := range documentOrder {
		d, err := s.store.ShopDocuments().Latest(ctx, kind)
		if err != nil {
			return storeFault(err, kind)
		}
		versions[i] = d.Version
	}
	if now.latest == versions {
		return nil
	}
	return s.LoadDocuments(ctx)
}

// snapshot reads what a backlog is worked out from.
func (s *Service) snapshot(ctx context.Context, e *derivation.Engine, before *backlog.Backlog, now time.Time) (backlog.Snapshot, error) {
	out := backlog.Snapshot{Now: now, Engine: e, Reports: map[uuid.UUID][]backlog.Report{}}
	var err error
	if out.Orders, err = s.openOrders(ctx); err != nil {
		return out, err
	}
	if out.Plans, err = s.plansOf(ctx, e, out.Orders, before, now); err != nil {
		return out, err
	}
	observations, err := s.store.Plans().Observations(ctx, store.ShopScope(), observationWindow)
	if err != nil {
		return out, err
	}
	for _, o := range observations {
		out.Observations = append(out.Observations, backlog.Observation{Kind: o.Kind, Estimate: o.Estimate, Actual: o.Actual})
	}
	if out.Outcomes, err = s.store.Plans().Outcomes(ctx, store.ShopScope(), outcomeWindow); err != nil {
		return out, err
	}
	if out.Reservations, err = s.store.Stock().Reservations(ctx, store.ShopScope(), nil); err != nil {
		return out, err
	}
	if out.Shelf, err = s.readShelf(ctx, e, now); err != nil {
		return out, err
	}
	for _, o := range out.Orders {
		if o.State != record.OrderInWork {
			continue
		}
		reports, err := s.store.Orders().Operations(ctx, store.ShopScope(), o.ID)
		if err != nil {
			return out, err
		}
		for _, r := range reports {
			out.Reports[o.ID] = append(out.Reports[o.ID], backlog.Report{Operation: r.Operation, Started: r.StartedAt, Finished: r.FinishedAt})
		}
	}
	return out, nil
}

// openOrders lists the orders that still take work, or whose end is not noted yet.
func (s *Service) openOrders(ctx context.Context) ([]record.Order, error) {
	var out []record.Order
	for _, state := range []record.OrderState{record.OrderReceived, record.OrderScheduled, record.OrderInWork, record.OrderOnHold, record.OrderReady} {
		list, err := every(func(p store.Page) (store.Listing[record.Order], error) {
			return s.store.Orders().List(ctx, store.ShopScope(), store.OrderFilter{State: state}, p)
		})
		if err != nil {
			return nil, err
		}
		out = append(out, list...)
	}
	slices.SortFunc(out, func(a, b record.Order) int { return slices.Compare(a.ID[:], b.ID[:]) })
	// An order that moved from one state to the next between two pages is there twice.
	return slices.CompactFunc(out, func(a, b record.Order) bool { return a.ID == b.ID }), nil
}

// plansOf returns the plan of each open order: the one kept, or one made now and
// kept. Orders whose end is to be noted are finished here.
func (s *Service) plansOf(ctx context.Context, e *derivation.Engine, open []record.Order, before *backlog.Backlog, now time.Time) (map[uuid.UUID]backlog.Plan, error) {
	kept, err := s.store.Plans().Open(ctx, store.ShopScope())
	if err != nil {
		return nil, err
	}
	known := s.floor.plans
	plans := make(map[uuid.UUID]backlog.Plan, len(kept))
	byID := make(map[uuid.UUID]record.Order, len(open))
	for _, o := range open {
		byID[o.ID] = o
	}
	for _, k := range kept {
		p, ok := known[k.OrderID]
		if !ok {
			if p, err = backlog.Read(k.Body, k.SchemaVersion); err != nil {
				return nil, fmt.Errorf("order %v: %w", k.OrderID, err)
			}
		}
		plans[k.OrderID] = p
		o, isOpen := byID[k.OrderID]
		if !isOpen {
			if o, err = s.store.Orders().Get(ctx, store.ShopScope(), k.OrderID); err != nil {
				return nil, err
			}
		}
		switch o.State {
		case record.OrderInWork, record.OrderReady, record.OrderShipped:
			if err := s.observe(ctx, o, p); err != nil {
				return nil, err
			}
		default:
		}
	}
	for _, o := range open {
		if _, planned := plans[o.ID]; planned || o.State == record.OrderReady {
			continue
		}
		p, err := s.planOrder(ctx, e, o, before, now)
		if err != nil {
			return nil, fmt.Errorf("plan order %v: %w", o.ID, err)
		}
		plans[o.ID] = p
	}
	s.floor.plans = plans
	return plans, nil
}

// planOrder makes and keeps the plan of an order that has none: one that was placed
// before plans were kept with the order itself.
func (s *Service) planOrder(ctx context.Context, e *derivation.Engine, o record.Order, before *backlog.Backlog, now time.Time) (backlog.Plan, error) {
	q, err := s.store.Quotes().Get(ctx, store.ShopScope(), o.QuoteID)
	if err != nil {
		return backlog.Plan{}, err
	}
	p, err := s.planQuote(ctx, e, q, now)
	if err != nil {
		return p, err
	}
	kept, err := s.orderPlan(ctx, e, o.ID, p, before, now)
	if err != nil {
		return p, err
	}
	err = s.store.Plans().Put(ctx, store.ShopScope(), kept)
	if errors.Is(err, store.ErrConflict) { // another process was faster: its plan holds
		k, err := s.store.Plans().Get(ctx, store.ShopScope(), o.ID)
		if err != nil {
			return p, err
		}
		return backlog.Read(k.Body, k.SchemaVersion)
	}
	return p, err
}

// observe keeps what the floor has finished of an order as observations, and notes
// the end of the order.
func (s *Service) observe(ctx context.Context, o record.Order, p backlog.Plan) error {
	reports, err := s.store.Orders().Operations(ctx, store.ShopScope(), o.ID)
	if err != nil {
		return err
	}
	byKey := make(map[string]backlog.Operation, len(p.Operations))
	for _, k := range p.Operations {
		byKey[k.Key] = k
	}
	var end time.Time
	var fresh []record.Observation
	for _, r := range reports {
		k, known := byKey[r.Operation]
		if !known || r.FinishedAt == nil {
			continue
		}
		if r.FinishedAt.After(end) {
			end = *r.FinishedAt
		}
		if r.Hours == nil {
			continue // nothing to learn from
		}
		// Plan and report are person-hours; the crew is the same for both.
		seen := record.Observation{OrderID: o.ID, Operation: r.Operation, Kind: k.Kind, Estimate: k.Hours * float64(max(1, k.Crew)), Actual: *r.Hours, FinishedAt: *r.FinishedAt}
		if store.CheckObservation(seen) == nil && !s.floor.observed[o.ID][r.Operation] {
			fresh = append(fresh, seen)
		}
	}
	if len(fresh) > 0 {
		err := s.store.InTx(ctx, func(tx store.Tx) error {
			for _, seen := range fresh {
				if _, err := tx.Plans().Observe(ctx, store.ShopScope(), seen); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		if s.floor.observed == nil {
			s.floor.observed = map[uuid.UUID]map[string]bool{}
		}
		if s.floor.observed[o.ID] == nil {
			s.floor.observed[o.ID] = map[string]bool{}
		}
		for _, seen := range fresh {
			s.floor.observed[o.ID][seen.Operation] = true
		}
	}
	if o.State == record.OrderInWork || end.IsZero() {
		return nil
	}
	delete(s.floor.observed, o.ID)
	return s.store.Plans().Finish(ctx, store.ShopScope(), record.OrderPlan{OrderID: o.ID, FinishedAt: &end})
}
