package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/civil"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
)

// KeepPromises holds the orders' promises against the backlog as last worked out. An
// order that was received and has its place in the plan is scheduled, with the date
// that it was promised. A promise that its p80 passes by at least a working day
// (backlog.Passed) moves to the working day of that p80, and the event says what
// moved it. Promises only move later here; to move one earlier, or to keep one that
// the plan does not, is for people. Orders on hold, ready or closed are left alone.
//
// Each order is changed in a transaction of its own and only in the version that the
// backlog was worked out from. So of several keepers one changes it, once for what
// they have seen; the others find another version and leave it for their next
// backlog, and one that dies between two orders, or between the two events of one,
// leaves the rest to the next. An order that cannot be changed does not keep the
// others from it; the error joins what went wrong.
func (s *Service) KeepPromises(ctx context.Context) error {
	s.floor.keeping.Lock()
	defer s.floor.keeping.Unlock()
	b := s.floor.backlog.Load()
	if b == nil {
		return nil
	}
	if s.floor.expected == nil {
		s.floor.expected = map[uuid.UUID]*backlog.Expectation{}
	}
	for id, f := range s.floor.expected {
		f.Held = f.Held || b.Held[id.String()]
		if _, open := b.Open[id.String()]; !open && !b.Held[id.String()] {
			delete(s.floor.expected, id)
		}
	}
	var faults []error
	percentiles := b.Profiles.Backlog()
	for i, f := range b.Plan.Jobs {
		if err := ctx.Err(); err != nil {
			return err
		}
		o := b.Open[f.Job]
		if err := s.keepPromise(ctx, b, o, f, percentiles[i]); err != nil {
			s.log.ErrorContext(ctx, "an order's promise could not be kept", "order", o.ID, "error", err)
			faults = append(faults, fmt.Errorf("order %v: %w", o.ID, err))
		}
	}
	return errors.Join(faults...)
}

// keepPromise schedules one order, and moves its promise when it no longer holds.
func (s *Service) keepPromise(ctx context.Context, b *backlog.Backlog, o record.Order, f schedule.Finish, p schedule.Percentiles) error {
	seen := b.Expect(o, f)
	before := s.floor.expected[o.ID]
	if before != nil && before.Promise != o.Promise {
		before = nil // somebody else gave it another one
	}
	if before == nil {
		s.floor.expected[o.ID] = seen
	}
	version := o.Version
	n := OrderChange{ID: o.ID, Match: &version}
	if o.State == record.OrderReceived {
		made, err := s.ScheduleOrder(ctx, worker, n, o.Promise, nil)
		if err != nil {
			return lostRace(err)
		}
		version = made.Record.Version
	}
	promise, err := civil.ParseDate(o.Promise)
	if err != nil {
		return err
	}
	on, err := b.Engine.Calendar().WorkingDay(p.P80)
	if err != nil {
		return err
	}
	passed, err := backlog.Passed(b.Engine.Calendar(), promise, on)
	if err != nil || !passed {
		return err
	}
	cause, err := b.Cause(o, f, before, seen, facts{ctx, s})
	if err != nil {
		return err
	}
	if _, err := s.ChangePromise(ctx, worker, n, on.String(), cause, nil); err != nil {
		return lostRace(err)
	}
	seen.Promise = on.String()
	s.floor.expected[o.ID] = seen
	return nil
}

// lostRace passes over the refusals that say that somebody else changed the order
// since the backlog was worked out.
func lostRace(err error) error {
	var r *order.Refusal
	if errors.As(err, &r) && (r.Reason == order.Stale || r.Reason == order.WrongState || r.Reason == order.OrderClosed) {
		return nil
	}
	return err
}

// facts looks up what a cause names.
type facts struct {
	ctx context.Context //nolint:containedctx // of one call
	s   *Service
}

func (f facts) Quoted(o record.Order) (time.Time, error) {
	q, err := f.s.store.Quotes().Get(f.ctx, worker.Scope(), o.QuoteID)
	return q.CreatedAt, err
}

func (f facts) Mold(key string) (string, error) {
	name, ok := routing.RegisteredMold(key)
	if !ok {
		return "a mold", nil // the order's own
	}
	id, err := uuid.Parse(name)
	if err != nil {
		return "", fmt.Errorf("mold %q: %w", key, err)
	}
	m, err := f.s.store.Molds().Get(f.ctx, worker.Scope(), id)
	if err != nil {
		return "", err
	}
	return moldName(m), nil
}
