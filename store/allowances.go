package store

import (
	"context"
	"time"

	"github.com/google/uuid"
)

// Counted is what is counted of a dealer.
type Counted uint8

// What is counted.
const (
	CountConfigurations Counted = iota + 1 // kept since then
	CountQuotes                            // made since then
	CountOrders                            // placed since then
	CountWebhooks                          // there now
	CountChanges                           // events since then that a key of the dealer is the cause of
	CountAnswers                           // kept for idempotency keys
)

// Allowances count what a dealer has, for limits on it.
type Allowances interface {
	// Hold lets one transaction at a time count what a dealer has: another one that holds
	// the same dealer waits until this one ends. Call it in a transaction before Count, and
	// before anything else is held.
	Hold(ctx context.Context, scope Scope, dealer uuid.UUID) error

	// Count tells how many there are, and of what is counted since a time the earliest one's
	// time, zero where there is none.
	Count(ctx context.Context, scope Scope, dealer uuid.UUID, what Counted, since time.Time) (n int, earliest time.Time, err error)
}
