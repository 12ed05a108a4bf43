package service

import (
	"context"
	"math/rand/v2"
	"time"

	"hatchwright/store"
)

// sweepBatch is how many rows one statement removes at most, so that it never holds
// the store for long; sweepPause lets others in between.
const (
	sweepBatch = 500
	sweepPause = 20 * time.Millisecond
)

// Swept is how much RemoveOld removed.
type Swept struct{ Answers, Deliveries, Events, Audit, Quotes, Configurations int }

// RemoveOld removes what is over its time, in batches. An event is removed after its
// deliveries, and never while one is pending or parked.
func (s *Service) RemoveOld(ctx context.Context) (Swept, error) {
	var swept Swept
	now, scope := s.now(), store.ShopScope()
	for _, k := range []struct {
		what   string
		into   *int
		remove func() (int, error)
	}{
		{"idempotency key", &swept.Answers, func() (int, error) { return s.store.Idempotency().Sweep(ctx, now, sweepBatch) }},
		{"delivery", &swept.Deliveries, func() (int, error) {
			return s.store.Retention().RemoveDeliveries(ctx, scope, now.Add(-s.keep.Deliveries), sweepBatch)
		}},
		{"event", &swept.Events, func() (int, error) {
			var n int
			err := s.store.InTx(ctx, func(tx store.Tx) (err error) {
				n, err = tx.Retention().RemoveEvents(ctx, scope, now.Add(-s.keep.Events), sweepBatch)
				return err
			})
			return n, err
		}},
		{"audit entry", &swept.Audit, func() (int, error) {
			var n int
			err := s.store.InTx(ctx, func(tx store.Tx) (err error) {
				n, err = tx.Retention().RemoveAudit(ctx, scope, now.Add(-s.keep.Audit), sweepBatch)
				return err
			})
			return n, err
		}},
		{"quote", &swept.Quotes, func() (int, error) {
			return s.store.Retention().RemoveQuotes(ctx, scope, now.Add(-s.keep.Unordered), sweepBatch)
		}},
		{"configuration", &swept.Configurations, func() (int, error) {
			return s.store.Retention().RemoveConfigurations(ctx, scope, now.Add(-s.keep.Unordered), sweepBatch)
		}},
	} {
		for {
			n, err := k.remove()
			*k.into += n
			if err != nil {
				return swept, storeFault(err, k.what)
			}
			if n < sweepBatch {
				break
			}
			select {
			case <-ctx.Done():
				return swept, storeFault(ctx.Err(), k.what)
			case <-time.After(sweepPause):
			}
		}
	}
	return swept, nil
}

// housekeepingEvery is how often Housekeeping sweeps, the first time within
// housekeepingFirst.
const (
	housekeepingEvery = 10 * time.Minute
	housekeepingFirst = time.Minute
)

// Housekeeping sweeps from time to time until ctx ends: soon for the first time, at
// random so that replicas that start together do not all sweep at once.
func (s *Service) Housekeeping(ctx context.Context) {
	tick := time.NewTimer(rand.N(housekeepingFirst)) //nolint:gosec // it spreads load, and need not be secret
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			tick.Reset(housekeepingEvery)
			if n, err := s.RemoveOld(ctx); err != nil {
				s.log.WarnContext(ctx, "removal of what is over its time", "error", err)
			} else if n != (Swept{}) {
				s.log.InfoContext(ctx, "removed what is over its time", "answers", n.Answers, "deliveries", n.Deliveries, "events", n.Events, "audit", n.Audit, "quotes", n.Quotes, "configurations", n.Configurations)
			}
		}
	}
}
