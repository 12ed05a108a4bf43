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

// Claim is the Idempotency-Key of a request and what makes it the same request.
type Claim struct {
	Key    string
	Method string
	Route  string // the route's template
	Path   string // as it was asked for, with its ids
	Body   []byte
}

// How long claims last.
const (
	// claimTime is how long a claim lasts after it was made or last renewed: then
	// another attempt with the same key may take over. A request renews its claim for
	// as long as it runs, so only a dead process is taken over from, or one that stood
	// still; that one loses its claim, and with it all that it has written.
	claimTime = 30 * time.Second
	// claimRenewal is how often it does, so that two renewals may fail.
	claimRenewal = claimTime / 3
	// abandonTime is what freeing a claim may take once the request itself is
	// over.
	abandonTime = 2 * time.Second
)

// write is the part of a use case that runs in the transaction: it writes and
// returns the answer to give.
type write func(ctx context.Context, tx store.Registers) (record.Answer, error)

// once runs a creating use case. prepare does what needs no transaction and
// returns the rest. With a claim, the answer is stored in the very transaction
// that writes, and given again to whoever sends the same key and body.
func (s *Service) once(ctx context.Context, c Caller, claim *Claim, what string, prepare func() (write, error)) (record.Answer, error) {
	if claim == nil {
		w, err := prepare()
		if err != nil {
			return record.Answer{}, storeFault(err, what)
		}
		var answer record.Answer
		err = s.writing(ctx, c, func(tx store.Registers) error {
			var err error
			answer, err = w(ctx, tx)
			return err
		})
		return answer, storeFault(err, what)
	}
	token, err := s.newID()
	if err != nil {
		return record.Answer{}, storeFault(err, what)
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
		return record.Answer{}, storeFault(err, "idempotency key")
	}
	switch begun.Outcome {
	case store.Fresh:
	case store.Stored:
		return unseal(c, begun.Record.Answer, held), nil
	case store.Running:
		f := fault.New(fault.InProgress, "A request with this Idempotency-Key is still being worked on.")
		f.After = min(begun.Record.LockedUntil.Sub(now), claimTime)
		return record.Answer{}, f
	case store.Other:
		return record.Answer{}, fault.New(fault.KeyReused, "This Idempotency-Key was used with another request. Take a new key for a new request.")
	}
	var answer record.Answer
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
	w, err := prepare()
	if err == nil {
		err = s.writing(ctx, c, func(tx store.Registers) error {
			var err error
			if answer, err = w(ctx, tx); err != nil {
				return err
			}
			kept, err := s.seal(c, answer, held)
			if err != nil {
				return err
			}
			return tx.Idempotency().Finish(ctx, scope, held, kept)
		})
	}
	if err != nil {
		return record.Answer{}, storeFault(err, what)
	}
	finished = true
	return answer, nil
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
