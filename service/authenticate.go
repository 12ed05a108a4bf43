package service

import (
	"context"
	"errors"
	"time"

	"hatchwright/service/fault"
	"hatchwright/service/identity"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// longestKey bounds what is hashed for an unknown caller.
const longestKey = 200

// touchEvery is how often the last use of a key is noted: a write for each
// request would cost more than the request.
const touchEvery = time.Minute

// Authenticate finds who holds a key, or whom a token of the identity provider
// speaks of, if there is one: a token lets a person of the shop in. What is missing or
// unknown gives one fault; who holds a key that was good is told that it was revoked
// (the cause is ErrKeyRevoked) or is over (ErrKeyExpired).
func (s *Service) Authenticate(ctx context.Context, key string) (Caller, error) {
	if key == "" {
		return Caller{}, fault.New(fault.Unauthenticated, "Send a key: Authorization: Bearer hw_...")
	}
	refused := fault.New(fault.Unauthenticated, "This key opens nothing. It is unknown.")
	if s.people != nil && identity.Token(key) {
		return s.person(ctx, key)
	}
	if len(key) > longestKey {
		return Caller{}, refused
	}
	k, err := s.store.Keys().ByHash(ctx, record.KeyHash(key))
	if errors.Is(err, store.ErrNotFound) {
		return Caller{}, refused
	}
	if err != nil {
		return Caller{}, storeFault(err, "key")
	}
	now := s.now()
	if !k.LiveAt(now) {
		return Caller{}, whyDead(k, now)
	}
	answers, err := newAnswersKey(key)
	if err != nil {
		return Caller{}, fault.Wrap(fault.Internal, err, "Something went wrong that is not your doing.")
	}
	s.touch(ctx, k, now)
	return Caller{KeyID: k.ID, KeyName: k.Name, Role: k.Role, DealerID: k.DealerID, Account: k.Account(), Quota: k.Quota, Spent: spentOn(k, now), answers: answers}, nil
}

// Causes of refusing a key that once was good.
var (
	ErrKeyRevoked = errors.New("key revoked")
	ErrKeyExpired = errors.New("key expired")
)

// whyDead says why a key that is there no longer opens anything. Who sends it has the
// whole of it, so that it tells nothing to anybody else.
func whyDead(k record.Key, now time.Time) error {
	if k.RevokedAt != nil && !now.Before(*k.RevokedAt) {
		return fault.Wrap(fault.Unauthenticated, ErrKeyRevoked, "This key was revoked at %s.", order.Instant(*k.RevokedAt))
	}
	return fault.Wrap(fault.Unauthenticated, ErrKeyExpired, "This key is over since %s.", order.Instant(*k.ExpiresAt))
}

// longestToken bounds what is verified for an unknown caller; tokens with many groups
// have a few thousand bytes.
const longestToken = 16 << 10

// person finds whom a token speaks of. The cause of a fault is an *identity.Refusal
// or *identity.Away.
func (s *Service) person(ctx context.Context, token string) (Caller, error) {
	if len(token) > longestToken {
		return Caller{}, fault.New(fault.Unauthenticated, "The token is longer than %d bytes.", longestToken)
	}
	who, err := s.people.Verify(ctx, token)
	var r *identity.Refusal
	switch {
	case errors.As(err, &r):
		return Caller{}, fault.Wrap(fault.Unauthenticated, r, "%s", r.Detail)
	case err != nil && ctx.Err() != nil:
		return Caller{}, storeFault(ctx.Err(), "token")
	case err != nil:
		s.log.WarnContext(ctx, "identity provider", "error", err)
		return Caller{}, fault.Wrap(fault.Unavailable, err, "The identity provider cannot be reached, so that tokens cannot be verified. API keys go on.")
	}
	return Caller{Role: record.RoleShop, Issuer: who.Issuer, Subject: who.Subject}, nil
}

// touch notes the use of a key, now and then. A failure costs only the note.
func (s *Service) touch(ctx context.Context, k record.Key, now time.Time) {
	s.mu.Lock()
	last, known := s.touched[k.ID]
	if !known && k.LastUsedAt != nil {
		last = *k.LastUsedAt
	}
	due := now.Sub(last) >= touchEvery
	if due {
		s.touched[k.ID] = now
	}
	s.mu.Unlock()
	if !due {
		return
	}
	if err := s.store.Keys().TouchLastUsed(ctx, k.ID, now); err != nil {
		s.log.WarnContext(ctx, "last use of a key not noted", "key", k.ID, "error", err)
	}
}
