package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/google/uuid"

	"hatchwright/store"
)

// Allowances implements store.Registers.
func (r *registers) Allowances() store.Allowances { return allowances{r} }

type allowances struct{ *registers }

// Hold has nothing to do: transactions that write come one after the other.
func (r allowances) Hold(_ context.Context, scope store.Scope, dealer uuid.UUID) error {
	if !scope.Covers(&dealer) {
		return fmt.Errorf("hold dealer %v: %w", dealer, store.ErrOutOfScope)
	}
	return nil
}

// counted are the tables and what of them is counted: the dealer's id comes first, then
// the time.
var counted = map[store.Counted]string{
	store.CountConfigurations: "select count(*), min(created_at) from configurations where dealer_id = ?1 and created_at >= ?2",
	store.CountQuotes:         "select count(*), min(created_at) from quotes where dealer_id = ?1 and created_at >= ?2",
	store.CountOrders:         "select count(*), min(created_at) from orders where dealer_id = ?1 and created_at >= ?2",
	store.CountWebhooks:       "select count(*), null from webhooks where dealer_id = ?1 and ?2 is not null",
	store.CountChanges:        "select count(*), min(created_at) from events where dealer_id = ?1 and role = 'dealer' and created_at >= ?2",
	store.CountAnswers:        "select count(*), min(created_at) from idempotency_keys where owner = ?1 and state = 'done' and created_at >= ?2",
}

func (r allowances) Count(ctx context.Context, scope store.Scope, dealer uuid.UUID, what store.Counted, since time.Time) (n int, earliest time.Time, err error) {
	doing := fmt.Sprintf("count what dealer %v has", dealer)
	if !scope.Covers(&dealer) {
		return 0, time.Time{}, fmt.Errorf("%s: %w", doing, store.ErrOutOfScope)
	}
	var first sql.NullInt64
	err = r.read.QueryRowContext(ctx, counted[what], dealer, millis(since)).Scan(&n, &first)
	if first.Valid {
		earliest = time.UnixMilli(first.Int64).UTC()
	}
	return n, earliest, r.done(ctx, doing, err)
}
