package service

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// Work is what the floor writes down about an operation.
type Work struct {
	Operation  string // its key
	StartedAt  time.Time
	FinishedAt *time.Time
	Hours      *float64 // person-hours
}

// RecordOperation writes down that an operation began, or that it is finished,
// with its hours; for the shop. The first record starts the work on the order, the
// last finish makes it ready. A part taken out of a registered mold counts a pull
// of it; an order that is ready has used what it had reserved. Sending the same record again changes nothing and is
// no error; another record of a finished operation is refused.
func (s *Service) RecordOperation(ctx context.Context, c Caller, n OrderChange, w Work, claim *Claim) (Made[record.Order], error) {
	if err := needShop(c); err != nil {
		return Made[record.Order]{}, err
	}
	now := s.now()
	w.StartedAt = record.Moment(w.StartedAt)
	if w.FinishedAt != nil {
		at := record.Moment(*w.FinishedAt)
		w.FinishedAt = &at
	}
	if err := order.CheckWork(w.StartedAt, w.FinishedAt, w.Hours, now); err != nil {
		return Made[record.Order]{}, refusalFault(err)
	}
	return change(ctx, s, c, claim, "order", func() (write[record.Order], error) {
		return func(ctx context.Context, tx store.Registers) (record.Order, error) {
			before, err := s.orderAt(ctx, tx, c, n)
			if err != nil {
				return record.Order{}, err
			}
			q, err := tx.Quotes().Get(ctx, c.Scope(), before.QuoteID)
			if err != nil {
				return record.Order{}, err
			}
			list, err := tx.Orders().Operations(ctx, c.Scope(), before.ID)
			if err != nil {
				return record.Order{}, err
			}
			entry := record.OperationRecord{OrderID: before.ID, Operation: w.Operation, StartedAt: w.StartedAt, FinishedAt: w.FinishedAt, Hours: w.Hours,
				UpdatedAt: now, By: c.actor()}
			after, same, err := order.Record(planned(q), list, entry)
			if err != nil {
				return record.Order{}, err
			}
			if same {
				return before, nil
			}
			o, events, err := s.work(before, c, entry, len(planned(q)), after)
			if err != nil {
				return record.Order{}, err
			}
			if err := staleVersion(tx.Orders().Update(ctx, c.Scope(), o, before.Version)); err != nil {
				return record.Order{}, err
			}
			if err := tx.Orders().PutOperation(ctx, c.Scope(), entry); err != nil {
				return record.Order{}, err
			}
			if err := s.consume(ctx, tx, c, o, planned(q), entry); err != nil {
				return record.Order{}, err
			}
			if err := s.emit(ctx, tx, c, events...); err != nil {
				return record.Order{}, err
			}
			return o, nil
		}, nil
	})
}

// demolding is the kind of operation that takes a part out of its mold.
const demolding = "demold"

// consume books what a record uses up of what the order has reserved: the pull of a
// mold with each demolding, the rest when the order is ready.
func (s *Service) consume(ctx context.Context, tx store.Registers, c Caller, o record.Order, planned []record.Operation, entry record.OperationRecord) error {
	if entry.FinishedAt == nil {
		return nil
	}
	demolds := slices.ContainsFunc(planned, func(p record.Operation) bool { return p.Key == entry.Operation && p.Kind == demolding })
	if demolds {
		mold, err := registeredMold(ctx, tx, o.ID, entry.Operation)
		if err != nil {
			return err
		}
		if mold != uuid.Nil {
			if err := s.takePull(ctx, tx, o.ID, mold); err != nil {
				return err
			}
		}
	}
	if o.State != record.OrderReady {
		return nil
	}
	if err := s.freeMolds(ctx, tx, o.ID); err != nil {
		return err
	}
	return s.useStock(ctx, tx, c.actor(), o.ID)
}

// registeredMold is the mold of the register that an operation of an order is done
// in, the nil id for none.
func registeredMold(ctx context.Context, tx store.Registers, id uuid.UUID, operation string) (uuid.UUID, error) {
	kept, err := tx.Plans().Get(ctx, store.ShopScope(), id)
	if errors.Is(err, store.ErrNotFound) {
		return uuid.Nil, nil // of the time before plans were kept with the order
	}
	if err != nil {
		return uuid.Nil, err
	}
	plan, err := backlog.Read(kept.Body, kept.SchemaVersion)
	if err != nil {
		return uuid.Nil, err
	}
	for _, k := range plan.Operations {
		if k.Key != operation || k.Registered == "" {
			continue
		}
		mold, err := uuid.Parse(k.Registered)
		if err != nil {
			return uuid.Nil, nil //nolint:nilerr // the plan names no mold of the register
		}
		return mold, nil
	}
	return uuid.Nil, nil
}

// planned is every operation of a quote's lines.
func planned(q record.Quote) (list []record.Operation) {
	for _, l := range q.Lines {
		list = append(list, l.Operations...)
	}
	return list
}

// work takes the steps that a record brings about: the start of the work with the
// first, its end with the last. One version for all of them.
func (s *Service) work(before record.Order, c Caller, entry record.OperationRecord, planned int, after []record.OperationRecord) (record.Order, []pendingEvent, error) {
	o := before
	var events []pendingEvent
	take := func(a order.Action, tell func(*order.OrderData)) error {
		step, err := order.Find(a, o, c.Role)
		if err != nil {
			return err
		}
		o = step.Apply(o, c.Role)
		o.Version, o.UpdatedAt = before.Version+1, s.now()
		data := order.AboutOrder(o)
		if tell != nil {
			tell(&data)
		}
		events = append(events, pendingEvent{step.Event, data})
		return nil
	}
	if slices.Contains([]record.OrderState{record.OrderReceived, record.OrderScheduled}, o.State) {
		if err := take(order.Start, nil); err != nil {
			return o, nil, err
		}
	}
	if err := take(order.RecordWork, func(d *order.OrderData) {
		d.Operation, d.StartedAt, d.Hours = entry.Operation, order.Instant(entry.StartedAt), entry.Hours
		if entry.FinishedAt != nil {
			d.FinishedAt = order.Instant(*entry.FinishedAt)
		}
	}); err != nil {
		return o, nil, err
	}
	if order.Finished(after) == planned {
		if err := take(order.Finish, nil); err != nil {
			return o, nil, err
		}
	}
	return o, events, nil
}
