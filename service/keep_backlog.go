package service

import (
	"context"
	"time"

	"hatchwright/service/backlog"
)

// KeepBacklog works the backlog out whenever it changes, and holds the promises
// against it, until ctx ends: the one worker that samples the shop's future. Requests
// only read what it has made.
func (s *Service) KeepBacklog(ctx context.Context) {
	kept := true // the last round of promises went through
	for {
		events, invalidated := s.bell.wait(), s.floor.invalidated.wait()
		changed, err := s.RefreshBacklog(ctx)
		if err != nil && ctx.Err() == nil {
			s.log.ErrorContext(ctx, "the backlog could not be worked out; the one before stays", "error", err)
		}
		if err == nil && (changed || !kept) {
			kept = s.KeepPromises(ctx) == nil // it logs each order's fault
		}
		if !rest(ctx, backlogRest) {
			return
		}
		timer := time.NewTimer(backlogPoll)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-events:
		case <-invalidated:
		case <-timer.C: // another process may have written
		}
		timer.Stop()
	}
}

// backlogRest is the least time between two refreshes, so that a burst of orders is
// one refresh.
const backlogRest = time.Second

// backlogPoll is how often the store is asked whether another process wrote: one
// small query.
const backlogPoll = 5 * time.Second

func rest(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}

// KeptBacklog is the backlog as last worked out; nil when none has been.
func (s *Service) KeptBacklog() *backlog.Backlog { return s.floor.backlog.Load() }
