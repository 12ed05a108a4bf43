package service

import (
	"context"
	"crypto/sha256"
	"errors"
	"sync"
	"time"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// How long claims last.
const (
	// claimRenewal is how often it does, so that two renewals may fail.
	claimRenewal = claimTime / 3
	// abandonTime is what freeing a claim may take once the request itself is
	// over.
	abandonTime = 2 * time.Second
)

// Made is what a use case made: its record, and the answer to give. Where the same
// request was answered before there is no record, but the answer that was kept.
type Made[T any] struct {
	Record T
	Answer record.Answer
}

// write is the part of a use case that runs in the transaction: it writes and
// returns the record that it made.
type write[T any] func(ctx context.Context, tx store.Registers) (T, error)

// once runs a creating use case. prepare does what needs no transaction and
// returns the rest. What that makes is rendered in the very transaction that writes,
// and with a claim it is kept there too, and given again to whoever sends the same key and body.
func once[T any](ctx context.Context, s *Service, c Caller, claim *Claim, what string, prepare func() (write[T], error)) (Made[T], error) {
	var made Made[T]
	// run does it; keep, if any, keeps the answer.
	run := func(keep func(tx store.Registers) error) error {
		w, err := prepare()
		if err != nil {
			return err
		}
		return s.writing(ctx, c, func(tx store.Registers) error {
			var err error
			if made.Record, err = w(ctx, tx); err != nil {
				return err
			}
			if made.Answer, err = s.wire.Render(c, made.Record); err != nil || keep == nil {
				return err
			}
			return keep(tx)
		})
	}
	if claim == nil {
		if err := run(nil); err != nil {
			return Made[T]{}, storeFault(err, what)
		}
		return made, nil
	}
	token, err := s.newID()
	if err != nil {
		return Made[T]{}, storeFault(err, what)
	}
	now := s.now()
	hash := sha256.New()
	hash.Write([]byte(claim.Path))
	hash.Write([]byte{0})
	hash.Write(claim.Body)
	scope, held := c.Scope(), record.IdempotencyClaim{
		Caller: c.claimant(), Key: c.claimed(claim.Key), Method: claim.Method, Route: claim.Route, BodyHash: hash.Sum(nil), Token: token,
		CreatedAt: now, LockedUntil: now.Add(claimTime), ExpiresAt: now.Add(s.keep.Answers),
	}
	begun, err := s.store.Idempotency().Begin(ctx, scope, held)
	if err != nil {
		return Made[T]{}, storeFault(err, "idempotency key")
	}
	switch begun.Outcome {
	case store.Fresh:
	case store.Stored:
		return Made[T]{Answer: unseal(c, begun.Record.Answer, held)}, nil
	case store.Running:
		f := fault.New(fault.InProgress, "A request with this Idempotency-Key is still being worked on.")
		f.After = min(begun.Record.LockedUntil.Sub(now), claimTime)
		return Made[T]{}, f
	case store.Other:
		return Made[T]{}, fault.New(fault.KeyReused, "This Idempotency-Key was used with another request. Take a new key for a new request.")
	}
	finished := false
	letGo := s.renewing(ctx, scope, held)
	defer func() {
		letGo()
		if finished {
			return
		}
		// Also after a panic, and although the request's own time may be over.
		free, cancel := context.WithTimeout(context.WithoutCancel(ctx), abandonTime)
		defer cancel()
		if err := s.store.Idempotency().Abandon(free, scope, held); err != nil {
			s.log.WarnContext(ctx, "idempotency claim not freed; it lapses", "error", err)
		}
	}()
	err = run(func(tx store.Registers) error {
		kept, err := s.seal(c, made.Answer, held)
		if err != nil {
			return err
		}
		return tx.Idempotency().Finish(ctx, scope, held, kept)
	})
	if err != nil {
		return Made[T]{}, storeFault(err, what)
	}
	finished = true
	return made, nil
}

// renewing renews a claim until letGo is called, which waits for a renewal that is on
// its way. A claim that was lost is not renewed any more: Finish tells.
func (s *Service) renewing(ctx context.Context, scope store.Scope, held record.IdempotencyClaim) (letGo func()) {
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx)) // the request's own time may be over while it still runs
	var done sync.WaitGroup
	done.Go(func() {
		tick := time.NewTicker(claimRenewal)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
			switch err := s.store.Idempotency().Renew(ctx, scope, held, s.now().Add(claimTime)); {
			case errors.Is(err, store.ErrLostClaim):
				return
			case err != nil && ctx.Err() == nil:
				s.log.WarnContext(ctx, "idempotency claim not renewed; tried again", "error", err)
			}
		}
	})
	return func() {
		cancel()
		done.Wait()
	}
}
