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
	scope, key := c.Scope(), c.claimed(claim.Key)
	begun, err := s.store.Idempotency().Begin(ctx, scope, record.IdempotencyClaim{
		Key: key, Method: claim.Method, Route: claim.Route, BodyHash: hash.Sum(nil), Token: token,
		CreatedAt: now, LockedUntil: now.Add(claimLock), ExpiresAt: now.Add(s.keep.Answers),
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
		if err := s.store.Idempotency().Abandon(free, scope, key, token); err != nil {
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
			return tx.Idempotency().Finish(ctx, scope, key, token, answer)
		})
	}
	if err != nil {
		return record.Answer{}, storeFault(err, what)
	}
	finished = true
	return answer, nil
}
