package service

import (
	"context"
	"errors"
	"time"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/schedule"
)

// present is the kept backlog, or that of an idle shop when there is none for the
// shop's documents of now.
func (s *Service) present() (*backlog.Backlog, BacklogStamp, error) {
	e, err := s.derivations()
	if err != nil {
		return nil, BacklogStamp{}, err
	}
	return s.presentFor(e)
}

// presentFor is present for what e worked out: with documents of another day, an idle
// shop's.
func (s *Service) presentFor(e *derivation.Engine) (*backlog.Backlog, BacklogStamp, error) {
	now := s.now()
	b := s.floor.backlog.Load()
	there := b != nil && b.Engine == e && !now.Before(b.MadeAt)
	if !there {
		var err error
		if b, err = s.idle(e, now); err != nil {
			return nil, BacklogStamp{}, leadTimeFault(context.Background(), err)
		}
	}
	stale := !there || now.Sub(b.MadeAt) > 2*backlogAge
	return b, BacklogStamp{Version: b.Version, MadeAt: b.MadeAt, Orders: b.Orders, Operations: b.Operations(), Scenarios: b.Profiles.Scenarios(), Stale: stale}, nil
}

// idle is the backlog of a shop with nothing to do, for requests that come before
// the worker has made one.
func (s *Service) idle(e *derivation.Engine, now time.Time) (*backlog.Backlog, error) {
	s.floor.emptyMu.Lock()
	defer s.floor.emptyMu.Unlock()
	if b := s.floor.empty; b != nil && b.Engine == e && !now.Before(b.MadeAt) && now.Sub(b.MadeAt) < backlogAge {
		return b, nil
	}
	b, err := backlog.Idle(e, now)
	if err == nil {
		s.floor.empty = b
	}
	return b, err
}

// invalidate tells the worker that something changed which writes no event: stock, molds,
// the shop's documents.
func (s *Service) invalidate() {
	s.floor.changes.Add(1)
	s.floor.invalidated.ring()
}

// going tells a search whether to go on: until the context ends.
func going(ctx context.Context) func() bool { return func() bool { return ctx.Err() == nil } }

// leadTimeFault says in the callers' words why no lead time could be given.
func leadTimeFault(ctx context.Context, err error) error {
	if errors.Is(err, schedule.ErrStopped) {
		return storeFault(ctx.Err(), "request")
	}
	if errors.Is(err, schedule.ErrTooMany) {
		e := fault.Wrap(fault.Invalid, err, "So many hatches are more work than one order may be: %d operations at most.", schedule.MaxOperations)
		e.Fields = []fault.Field{{Pointer: "/quantity", Code: "too_much_work", Message: "Ask for fewer at a time."}}
		return e
	}
	if errors.Is(err, schedule.ErrNothingOpens) || errors.Is(err, schedule.ErrOutOfRange) {
		return fault.Wrap(fault.Conflict, err, "The shop has no working time for this within %d years. Look at its calendar and its open orders.", schedule.HorizonYears)
	}
	return fault.Wrap(fault.Internal, err, "The shop's documents do not cover this configuration.")
}

// BacklogStamp says what open work a date stands behind.
type BacklogStamp = backlog.Stamp
