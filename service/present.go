package service

import (
	"context"
	"time"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
)

// KeptBacklog is the backlog as last worked out; nil when none has been.
func (s *Service) KeptBacklog() *backlog.Backlog { return s.floor.backlog.Load() }

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

// poke tells the worker that something changed which writes no event: stock, molds,
// the shop's documents.
func (s *Service) poke() {
	s.floor.changes.Add(1)
	s.floor.poked.ring()
}
