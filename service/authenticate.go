package service

import (
	"context"
	"errors"
	"time"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// longestKey bounds what is hashed for an unknown caller.
const longestKey = 200

// touchEvery is how often the last use of a key is noted: a write for each
// request would cost more than the request.
const touchEvery = time.Minute

// Authenticate finds who holds a key. A missing, unknown, revoked or expired key
// all give the same fault, which does not tell them apart.
func (s *Service) Authenticate(ctx context.Context, key string) (Caller, error) {
	if key == "" {
		return Caller{}, fault.New(fault.Unauthenticated, "Send a key: Authorization: Bearer hw_...")
	}
	refused := fault.New(fault.Unauthenticated, "This key opens nothing. It is unknown, revoked or expired.")
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
		return Caller{}, refused
	}
	s.touch(ctx, k, now)
	return Caller{KeyID: k.ID, KeyName: k.Name, Role: k.Role, DealerID: k.DealerID, Account: k.Account(), Quota: k.Quota, Spent: spentOn(k, now)}, nil
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
