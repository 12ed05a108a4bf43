package access

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/identity"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// LongestKey bounds what is hashed for an unknown caller.
const LongestKey = 200

// noteEvery is how often the last use of a key is noted: a write for each
// request would cost more than the request.
const noteEvery = time.Minute

// Door finds out who asks. It is safe for concurrent use.
type Door struct {
	keys   store.Keys
	people *identity.Provider // nil: keys alone open
	now    func() time.Time
	log    *slog.Logger

	mu   sync.Mutex
	used map[uuid.UUID]time.Time // last noted use, by key
}

// NewDoor makes a door.
func NewDoor(keys store.Keys, people *identity.Provider, now func() time.Time, log *slog.Logger) *Door {
	return &Door{keys: keys, people: people, now: now, log: log, used: map[uuid.UUID]time.Time{}}
}

// Find finds a key by its text, or whom a token of the identity provider speaks of, if
// there is a provider: then person is not nil. What is missing or
// unknown gives one fault; who holds a key that was good is told that it was revoked
// (the cause is ErrRevoked) or is over (ErrExpired).
func (d *Door) Find(ctx context.Context, key string) (k record.Key, person *identity.Person, err error) {
	if key == "" {
		return k, nil, fault.New(fault.Unauthenticated, "Send a key: Authorization: Bearer hw_...")
	}
	refused := fault.New(fault.Unauthenticated, "This key opens nothing. It is unknown.")
	if d.people != nil && identity.Token(key) {
		person, err = d.person(ctx, key)
		return k, person, err
	}
	if len(key) > LongestKey {
		return k, nil, refused
	}
	k, err = d.keys.ByHash(ctx, record.KeyHash(key))
	if errors.Is(err, store.ErrNotFound) {
		return k, nil, refused
	}
	if err != nil {
		return k, nil, err
	}
	now := d.now()
	if !k.LiveAt(now) {
		return k, nil, whyDead(k, now)
	}
	d.noteUse(ctx, k, now)
	return k, nil, nil
}

// Causes of refusing a key that once was good.
var (
	ErrRevoked = errors.New("key revoked")
	ErrExpired = errors.New("key expired")
)

// whyDead says why a key that is there no longer opens anything. Who sends it has the
// whole of it, so that it tells nothing to anybody else.
func whyDead(k record.Key, now time.Time) error {
	if k.RevokedAt != nil && !now.Before(*k.RevokedAt) {
		return fault.Wrap(fault.Unauthenticated, ErrRevoked, "This key was revoked at %s.", order.Instant(*k.RevokedAt))
	}
	return fault.Wrap(fault.Unauthenticated, ErrExpired, "This key is over since %s.", order.Instant(*k.ExpiresAt))
}

// longestToken bounds what is verified for an unknown caller; tokens with many groups
// have a few thousand bytes.
const longestToken = 16 << 10

// person finds whom a token speaks of. The cause of a fault is an *identity.Refusal
// or *identity.Unavailable.
func (d *Door) person(ctx context.Context, token string) (*identity.Person, error) {
	if len(token) > longestToken {
		return nil, fault.New(fault.Unauthenticated, "The token is longer than %d bytes.", longestToken)
	}
	who, err := d.people.Verify(ctx, token)
	var r *identity.Refusal
	switch {
	case errors.As(err, &r):
		return nil, fault.Wrap(fault.Unauthenticated, r, "%s", r.Detail)
	case err != nil && ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		d.log.WarnContext(ctx, "identity provider", "error", err)
		return nil, fault.Wrap(fault.Unavailable, err, "The identity provider cannot be reached, so that tokens cannot be verified. API keys go on.")
	}
	return &who, nil
}

// noteUse notes the use of a key, now and then. A failure costs only the note.
func (d *Door) noteUse(ctx context.Context, k record.Key, now time.Time) {
	d.mu.Lock()
	last, known := d.used[k.ID]
	if !known && k.LastUsedAt != nil {
		last = *k.LastUsedAt
	}
	due := now.Sub(last) >= noteEvery
	if due {
		d.used[k.ID] = now
	}
	d.mu.Unlock()
	if !due {
		return
	}
	if err := d.keys.TouchLastUsed(ctx, k.ID, now); err != nil {
		d.log.WarnContext(ctx, "last use of a key not noted", "key", k.ID, "error", err)
	}
}
