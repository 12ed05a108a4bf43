package store

import (
	"context"
	"time"
)

// Retention removes what is kept for a time only, in batches; only under ShopScope.
// The shop's documents, orders with their quotes and configurations, and the events of
// orders, which are their history, are never removed. Removing twice is harmless.
type Retention interface {
	// RemoveDeliveries removes at most limit deliveries that were delivered before
	// that time. One that is pending or parked is never removed.
	RemoveDeliveries(ctx context.Context, scope Scope, before time.Time, limit int) (removed int, err error)

	// RemoveEvents moves the beginning of what streams give again up to the first
	// event at or after that time, but not past what was not made into deliveries
	// yet; it never moves back. Then it removes at most limit events before the
	// beginning and that time, but for those of orders and those that a delivery of any state
	// still needs.
	RemoveEvents(ctx context.Context, scope Scope, before time.Time, limit int) (removed int, err error)

	// RemoveAudit removes at most limit audit entries from before that time.
	RemoveAudit(ctx context.Context, scope Scope, before time.Time, limit int) (removed int, err error)

	// RemoveQuotes removes at most limit quotes that nobody ordered from and that were over
	// before that time: withdrawn, or at the end of their validity.
	RemoveQuotes(ctx context.Context, scope Scope, before time.Time, limit int) (removed int, err error)

	// RemoveConfigurations removes at most limit configurations that were kept before that
	// time and that no quote, no mold and no later configuration names.
	RemoveConfigurations(ctx context.Context, scope Scope, before time.Time, limit int) (removed int, err error)

	// EventsFrom returns the sequence after which events are given again, and the
	// time before which RemoveEvents removed them; zeros before it ever did.
	EventsFrom(ctx context.Context) (sequence int64, at time.Time, err error)
}
