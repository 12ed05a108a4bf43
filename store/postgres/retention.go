package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Retention implements store.Registers.
func (r *registers) Retention() store.Retention { return retention{r} }

type retention struct{ session }

// remove moves the mark first, if there is one to move, in a statement of its own:
// the trigger that lets rows go reads it.
func (r retention) remove(ctx context.Context, scope store.Scope, what, mark, remove string, before time.Time, limit int) (int, error) {
	what = "remove old " + what
	if !scope.Whole() {
		return 0, fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	var n int64
	var err error
	if mark != "" {
		_, err = exec(ctx, r, scope, mark, record.Moment(before))
	}
	if err == nil {
		n, err = exec(ctx, r, scope, remove, record.Moment(before), max(limit, 0))
	}
	return int(n), r.done(ctx, what, err)
}

func (r retention) RemoveDeliveries(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	return r.remove(ctx, scope, "deliveries", "", `delete from webhook_deliveries where id = any (array(
		select id from webhook_deliveries where state = 'delivered' and delivered_at < $1::timestamptz limit $2::bigint for update skip locked))`, before, limit)
}

func (r retention) RemoveEvents(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	return r.remove(ctx, scope, "events",
		`update kept_from set at = greatest(at, $1::timestamptz), sequence = greatest(sequence, least((select sequence from webhook_progress), coalesce(
			(select min(e.sequence) - 1 from events e where e.sequence > kept_from.sequence and e.created_at >= $1::timestamptz), (select last from event_counter))))
		where what = 'events'`,
		`delete from events where sequence in (
			select e.sequence from events e where e.subject_kind <> 'order' and e.sequence <= (select sequence from kept_from where what = 'events') and e.created_at < $1::timestamptz
			and not exists (select 1 from webhook_deliveries d where d.event_id = e.id) order by e.sequence limit $2::bigint)`, before, limit)
}

func (r retention) RemoveAudit(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	return r.remove(ctx, scope, "audit entries", "update kept_from set at = greatest(at, $1::timestamptz) where what = 'audit'",
		`delete from audit_entries where id in (
			select id from audit_entries where created_at < $1::timestamptz order by created_at, id limit $2::bigint)`, before, limit)
}

// The rows that refer to those that go are removed in the same statement: its references
// are looked at when it ends.

func (r retention) RemoveQuotes(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	return r.remove(ctx, scope, "quotes", "", `with over as (
			select id from quotes where (state = 'withdrawn' and updated_at < $1::timestamptz or state = 'open' and valid_until < $1::timestamptz)
			limit $2::bigint for update skip locked
		), named as (delete from quote_configurations where quote_id in (select id from over)
		), documents as (delete from quote_documents where quote_id in (select id from over))
		delete from quotes where id in (select id from over)`, before, limit)
}

func (r retention) RemoveConfigurations(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	n, err := r.remove(ctx, scope, "configurations", "", `with over as (
			select id from configurations c where created_at < $1::timestamptz
			and not exists (select 1 from quote_configurations q where q.configuration_id = c.id)
			and not exists (select 1 from configurations l where l.supersedes = c.id)
			and not exists (select 1 from molds m where m.configuration_id = c.id)
			order by created_at limit $2::bigint for update skip locked
		), documents as (delete from configuration_documents where configuration_id in (select id from over)
		), parts as (delete from configuration_parts where configuration_id in (select id from over))
		delete from configurations where id in (select id from over)`, before, limit)
	if err != nil || n == 0 {
		return n, err
	}
	_, err = exec(ctx, r, scope, `delete from derivation_parts where (owner, hash) in (
		select owner, hash from derivation_parts d where not exists (select 1 from configuration_parts c where c.owner = d.owner and c.hash = d.hash) for update skip locked)`)
	return n, r.done(ctx, "remove parts of derivations", err)
}

func (r retention) EventsFrom(ctx context.Context) (sequence int64, at time.Time, err error) {
	err = r.query(ctx, store.ShopScope(), func(rows pgx.Rows) error {
		if !rows.Next() {
			if err := rows.Err(); err != nil {
				return err
			}
			return pgx.ErrNoRows
		}
		return rows.Scan(&sequence, table.Moment(&at))
	}, "select sequence, at from kept_from where what = 'events'")
	return sequence, at, r.done(ctx, "read from where events are kept", err)
}
