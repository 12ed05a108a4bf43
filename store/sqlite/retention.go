package sqlite

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"hatchwright/store"
	"hatchwright/store/table"
)

// Retention implements store.Registers.
func (r *registers) Retention() store.Retention { return retention{r} }

type retention struct{ *registers }

func (r retention) remove(ctx context.Context, scope store.Scope, what string, fn func(conn) (int64, error)) (int, error) {
	what = "remove old " + what
	if !scope.Whole() {
		return 0, fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	var n int64
	err := r.atomically(ctx, func(w conn) (err error) {
		n, err = fn(w)
		return err
	})
	return int(n), r.done(ctx, what, err)
}

func (r retention) RemoveDeliveries(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	return r.remove(ctx, scope, "deliveries", func(w conn) (int64, error) {
		return affected(w.ExecContext(ctx, `delete from webhook_deliveries where id in (
			select id from webhook_deliveries where state = 'delivered' and delivered_at < ? limit ?)`, millis(before), max(limit, 0)))
	})
}

func (r retention) RemoveEvents(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	return r.remove(ctx, scope, "events", func(w conn) (int64, error) {
		_, err := w.ExecContext(ctx, `update kept_from set at = max(at, ?1), sequence = max(sequence, min((select sequence from webhook_progress), coalesce(
				(select min(sequence) - 1 from events where sequence > kept_from.sequence and created_at >= ?1), (select last from event_counter))))
			where what = 'events'`, millis(before))
		if err != nil {
			return 0, err
		}
		return affected(w.ExecContext(ctx, `delete from events where sequence in (
			select sequence from events where subject_kind <> 'order' and sequence <= (select sequence from kept_from where what = 'events') and created_at < ?
			and not exists (select 1 from webhook_deliveries d where d.event_id = events.id) order by sequence limit ?)`, millis(before), max(limit, 0)))
	})
}

func (r retention) RemoveAudit(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	return r.remove(ctx, scope, "audit entries", func(w conn) (int64, error) {
		if _, err := w.ExecContext(ctx, "update kept_from set at = max(at, ?) where what = 'audit'", millis(before)); err != nil {
			return 0, err
		}
		return affected(w.ExecContext(ctx, `delete from audit_entries where id in (
			select id from audit_entries where created_at < ? order by created_at, id limit ?)`, millis(before), max(limit, 0)))
	})
}

func (r retention) RemoveQuotes(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	return r.remove(ctx, scope, "quotes", func(w conn) (n int64, err error) {
		ids, err := collect(ctx, w, `select id from (
				select id from quotes where state = 'withdrawn' and updated_at < ?1
				union all select id from quotes where state = 'open' and valid_until < ?1)
			limit ?2`, []any{millis(before), max(limit, 0)}, scanText)
		if err != nil {
			return 0, err
		}
		return removeRows(ctx, w, ids, "delete from quote_configurations where quote_id in (select value from json_each(?))",
			"delete from quote_documents where quote_id in (select value from json_each(?))", "delete from quotes where id in (select value from json_each(?))")
	})
}

func (r retention) RemoveConfigurations(ctx context.Context, scope store.Scope, before time.Time, limit int) (int, error) {
	return r.remove(ctx, scope, "configurations", func(w conn) (n int64, err error) {
		ids, err := collect(ctx, w, `select id from configurations c where created_at < ?
				and not exists (select 1 from quote_configurations q where q.configuration_id = c.id)
				and not exists (select 1 from configurations l where l.supersedes = c.id)
				and not exists (select 1 from molds m where m.configuration_id = c.id)
			order by created_at limit ?`, []any{millis(before), max(limit, 0)}, scanText)
		if err != nil {
			return 0, err
		}
		return removeRows(ctx, w, ids, "delete from configuration_parts where configuration_id in (select value from json_each(?))",
			// The number is that of the list, which this one does not need.
			"delete from derivation_parts where ?1 <> '' and not exists (select 1 from configuration_parts c where c.owner = derivation_parts.owner and c.hash = derivation_parts.hash)",
			"delete from configuration_documents where configuration_id in (select value from json_each(?))",
			"delete from configurations where id in (select value from json_each(?))")
	})
}

func scanText(r table.Row) (s string, err error) {
	err = r.Scan(&s)
	return s, err
}

// removeRows runs statements with some ids as a list of JSON, and tells how many rows the
// last one removed.
func removeRows(ctx context.Context, w conn, ids []string, statements ...string) (n int64, err error) {
	if len(ids) == 0 {
		return 0, nil
	}
	list, err := json.Marshal(ids)
	if err != nil {
		return 0, err
	}
	for _, s := range statements {
		if n, err = affected(w.ExecContext(ctx, s, string(list))); err != nil {
			return 0, err
		}
	}
	return n, nil
}

func (r retention) EventsFrom(ctx context.Context) (sequence int64, at time.Time, err error) {
	err = r.read.QueryRowContext(ctx, "select sequence, at from kept_from where what = 'events'").Scan(&sequence, table.Moment(&at))
	return sequence, at, r.done(ctx, "read from where events are kept", err)
}
