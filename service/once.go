package service

import (
	"context"
	"crypto/sha256"
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
	// claimLock is how long an attempt may work before another one with the same
	// key may take over: several times the longest request timeout, so only a dead
	// process is taken over from.
	claimLock = 5 * time.Minute
	// claimLife is how long an answer is given again; the contract promises 24 h.
	claimLife = 48 * time.Hour
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
	scope := c.Scope()
	begun, err := s.store.Idempotency().Begin(ctx, scope, record.IdempotencyClaim{
		Key: claim.Key, Method: claim.Method, Route: claim.Route, BodyHash: hash.Sum(nil), Token: token,
		CreatedAt: now, LockedUntil: now.Add(claimLock), ExpiresAt: now.Add(claimLife),
	})
	if err != nil {
		return record.Answer{}, storeFault(err, "idempotency key")
	}
	switch begun.Outcome {
	case store.Fresh:
	case store.Stored:
		return begun.Record.Answer, nil
	case store.Running:
		return record.Answer{}, fault.New(fault.InProgress, "A request with this Idempotency-Key is still being worked on.")
	case store.Other:
		return record.Answer{}, fault.New(fault.KeyReused, "This Idempotency-Key was used with another request. Take a new key for a new request.")
	}
	var answer record.Answer
	finished := false
	defer func() {
		if finished {
			return
		}
		// Also after a panic, and although the request's own time may be over.
		free, cancel := context.WithTimeout(context.WithoutCancel(ctx), abandonTime)
		defer cancel()
		if err := s.store.Idempotency().Abandon(free, scope, claim.Key, token); err != nil {
			s.log.WarnContext(ctx, "idempotency claim not freed; it ends with its lock", "error", err)
		}
	}()
	w, err := prepare()
	if err == nil {
		err = s.writing(ctx, c, func(tx store.Registers) error {
			var err error
			if answer, err = w(ctx, tx); err != nil {
				return err
			}
			return tx.Idempotency().Finish(ctx, scope, claim.Key, token, answer)
		})
	}
	if err != nil {
		return record.Answer{}, storeFault(err, what)
	}
	finished = true
	return answer, nil
}

// sweepBatch is how many expired records one sweep statement removes at most, so
// that it never holds the store for long.
const sweepBatch = 500

// SweepIdempotency removes records whose time is over.
func (s *Service) SweepIdempotency(ctx context.Context) (removed int, err error) {
	for {
		n, err := s.store.Idempotency().Sweep(ctx, s.now(), sweepBatch)
		removed += n
		if err != nil || n < sweepBatch {
			return removed, storeFault(err, "idempotency key")
		}
	}
}

// housekeepingEvery is how often Housekeeping sweeps.
const housekeepingEvery = 10 * time.Minute

// Housekeeping sweeps from time to time until ctx ends.
func (s *Service) Housekeeping(ctx context.Context) {
	tick := time.NewTicker(housekeepingEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			if n, err := s.SweepIdempotency(ctx); err != nil {
				s.log.WarnContext(ctx, "sweep of idempotency keys", "error", err)
			} else if n > 0 {
				s.log.DebugContext(ctx, "swept idempotency keys", "removed", n)
			}
		}
	}
}
