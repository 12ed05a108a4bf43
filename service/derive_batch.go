package service

import (
	"context"
	"fmt"
	"runtime/debug"
	"sync"
	"sync/atomic"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/store"
)

// MaxBatchPieces bounds the pieces of a batch together: each is about 6 KB of the answer
// and a millisecond of work, beside what its configuration takes.
const MaxBatchPieces = 1000

// BatchItem is one configuration of a batch.
type BatchItem struct {
	Request part.Request
	Pointer string // where the configuration stands in the body
}

// DeriveBatch works configurations out, each placed by itself behind the shop's open
// work. Nothing is kept. For each item, in no order and from several goroutines, done
// is called once, with what DeriveAndPlace would give; when the context ends, with that for all that
// is left. The error is about the batch as a whole: done was not called then.
func (s *Service) DeriveBatch(ctx context.Context, c Caller, items []BatchItem, o LeadTimeOptions, done func(i int, d *Derived, err error)) error {
	if err := c.Need(record.RoleStorefront); err != nil {
		return err
	}
	e, err := s.derivations()
	if err != nil {
		return err
	}
	pieces := 0
	for _, i := range items {
		pieces += piecesAsked(e, i.Request)
	}
	if pieces > MaxBatchPieces {
		return badField("/configurations", "too_many_pieces", fmt.Sprintf("The configurations are %d pieces in all, and a batch has 1 to %d: send several batches.", pieces, MaxBatchPieces))
	}
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(batchSlots, len(items)) {
		workers.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(items); i = int(next.Add(1)) - 1 {
				select {
				case s.batch <- struct{}{}:
					s.deriveItem(ctx, e, c.Scope(), items[i], o, func(d *Derived, err error) { done(i, d, err) })
					<-s.batch
				case <-ctx.Done():
					done(i, nil, ended(ctx))
				}
			}
		})
	}
	workers.Wait()
	return nil
}

// deriveItem works one item out. A panic is a fault of this item alone: no
// middleware stands above this goroutine.
func (s *Service) deriveItem(ctx context.Context, e *derivation.Engine, scope store.Scope, item BatchItem, o LeadTimeOptions, done func(*Derived, error)) {
	var result *Derived
	err := func() (err error) {
		defer func() {
			if p := recover(); p != nil {
				err = fault.Wrap(fault.Internal, fmt.Errorf("panic: %v\n%s", p, debug.Stack()), "Something went wrong that is not your doing.")
			}
		}()
		if ctx.Err() != nil { // a slot and the end may come together
			return ended(ctx)
		}
		now := s.now()
		r, err := deriveWhile(ctx, e, item.Request, item.Pointer, now)
		if err != nil {
			return err
		}
		result, err = s.place(ctx, e, scope, r, now, o)
		return err
	}()
	done(result, err)
}
