package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Allowances implements store.Registers.
func (r *registers) Allowances() store.Allowances { return allowances{r} }

type allowances struct{ session }

// allowanceLock sets the advisory locks of dealers apart from others; any number does
// that nothing else in the database uses. It is the first bytes of "allowanc".
const allowanceLock = 0x616c6c6f77616e63

// Hold takes an advisory lock that ends with the transaction: a dealer may not change its
// own row, which would be needed to lock that.
func (r allowances) Hold(ctx context.Context, scope store.Scope, dealer uuid.UUID) error {
	what := fmt.Sprintf("hold dealer %v", dealer)
	if !scope.Covers(&dealer) {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	_, err := exec(ctx, r, scope, "select pg_advisory_xact_lock(hashtextextended($1::text, $2::bigint))", dealer.String(), int64(allowanceLock))
	return r.done(ctx, what, err)
}

// counted are the tables and what of them is counted: the dealer's id comes first, then
// the time.
var counted = map[store.Counted]string{
	store.CountConfigurations: "select count(*), min(created_at) from configurations where dealer_id = $1::uuid and created_at >= $2::timestamptz",
	store.CountQuotes:         "select count(*), min(created_at) from quotes where dealer_id = $1::uuid and created_at >= $2::timestamptz",
	store.CountOrders:         "select count(*), min(created_at) from orders where dealer_id = $1::uuid and created_at >= $2::timestamptz",
	store.CountWebhooks:       "select count(*), null::timestamptz from webhooks where dealer_id = $1::uuid and $2::timestamptz is not null",
	store.CountChanges:        "select count(*), min(created_at) from events where dealer_id = $1::uuid and role = 'dealer' and created_at >= $2::timestamptz",
	store.CountAnswers:        "select count(*), min(created_at) from idempotency_keys where owner = $1::uuid::text and state = 'done' and created_at >= $2::timestamptz",
}

func (r allowances) Count(ctx context.Context, scope store.Scope, dealer uuid.UUID, what store.Counted, since time.Time) (n int, earliest time.Time, err error) {
	doing := fmt.Sprintf("count what dealer %v has", dealer)
	if !scope.Covers(&dealer) {
		return 0, time.Time{}, fmt.Errorf("%s: %w", doing, store.ErrOutOfScope)
	}
	var first *time.Time
	err = r.query(ctx, scope, one(&n, func(rows pgx.Rows) (n int, err error) {
		err = rows.Scan(&n, table.MomentOrNull(&first))
		return n, err
	}), counted[what], dealer, record.Moment(since))
	if first != nil {
		earliest = *first
	}
	return n, earliest, r.done(ctx, doing, err)
}
