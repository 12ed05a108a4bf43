package record

import (
	"crypto/sha256"
	"time"

	"github.com/google/uuid"
)

// Role says what a key may do. Each role may do what the ones before it may.
type Role string

// The roles, from the narrowest to the widest.
const (
	RoleStorefront Role = "storefront" // check, derive, limits, drawings; it keeps nothing
	RoleDealer     Role = "dealer"     // also its own configurations, quotes, orders, webhooks
	RoleShop       Role = "shop"       // everything
)

// Valid tells whether r is one of the roles above.
func (r Role) Valid() bool { return r == RoleStorefront || r == RoleDealer || r == RoleShop }

// Key is an API key as it is stored: its hash, never the key itself.
type Key struct {
	ID         uuid.UUID
	DealerID   *uuid.UUID // nil: a key of the shop
	Role       Role
	Name       string // what its holder calls it
	Hash       []byte // KeyHash of the key, 32 bytes
	Prefix     string // the first characters, shown so that a person can tell keys apart
	CreatedAt  time.Time
	ExpiresAt  *time.Time // nil: never
	RevokedAt  *time.Time // nil: not revoked
	LastUsedAt *time.Time // nil: never used

	Quota int // units a day; 0: no quota
	// RotatedFrom is the key that this one succeeds, RotatedTo the one that succeeds
	// it, Root the first of all that came of one another; nil where there is none.
	RotatedFrom, RotatedTo, Root *uuid.UUID
	// Spent is what Root, this key and the others of it have spent on the day SpentOn,
	// a UTC date; "" when nothing was spent yet.
	Spent   int
	SpentOn string
}

// Account is the key whose row counts what is spent: the root, or the key itself.
func (k Key) Account() uuid.UUID {
	if k.Root != nil {
		return *k.Root
	}
	return k.ID
}

// Day is the UTC day that t is in, as what is spent is kept by.
func Day(t time.Time) string { return t.UTC().Format(time.DateOnly) }

// LiveAt tells whether the key opens anything at t: not revoked and not expired
// by then.
func (k Key) LiveAt(t time.Time) bool {
	return (k.RevokedAt == nil || t.Before(*k.RevokedAt)) && (k.ExpiresAt == nil || t.Before(*k.ExpiresAt))
}

// KeyHash is the SHA-256 (FIPS 180-4) of a key's text. A fast hash is enough
// since a key is 256 random bits, which nobody guesses; slow hashes are for
// passwords.
func KeyHash(key string) []byte {
	sum := sha256.Sum256([]byte(key))
	return sum[:]
}
