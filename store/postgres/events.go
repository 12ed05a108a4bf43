package postgres

import (
	"context"
	"fmt"
	"strconv"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Events implements store.Registers.
func (r *registers) Events() store.Events { return events{r} }

type events struct{ session }

func (r events) Append(ctx context.Context, scope store.Scope, list ...record.Event) ([]record.Event, error) {
	out := make([]record.Event, 0, len(list))
	for _, e := range list {
		what := fmt.Sprintf("append event %q", e.Kind)
		if err := store.Admit(what, scope.Covers(e.DealerID), store.CheckEvent(e)); err != nil {
			return nil, err
		}
		e.CreatedAt = record.Moment(e.CreatedAt)
		// The row of the counter is held until the transaction ends.
		statement, _, args, err := table.Events.Insert(dialect, &e, table.Column{Name: "sequence", Place: table.Expression("next.last")})
		if err != nil {
			return nil, fmt.Errorf("%s: %w", what, err)
		}
		err = r.query(ctx, scope, one(&e.Sequence, func(rows pgx.Rows) (n int64, err error) { return n, rows.Scan(&n) }),
			"with next as (update event_counter set last = last + 1 returning last) "+statement+" from next returning sequence", args...)
		if err != nil {
			return nil, r.done(ctx, what, err)
		}
		out = append(out, e)
	}
	return out, nil
}

func (r events) After(ctx context.Context, scope store.Scope, sequence int64, limit int) ([]record.Event, error) {
	where := narrow().Owned(scope, "dealer_id").Add("sequence > ?", sequence)
	items, err := all(ctx, r, scope, table.Events, where, " order by sequence limit "+strconv.Itoa(max(limit, 0)))
	if err != nil {
		return nil, r.done(ctx, fmt.Sprintf("read events after %d", sequence), err)
	}
	return items, nil
}

func (r events) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (e record.Event, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	e, err = find(ctx, r, scope, table.Events, where, "")
	return e, r.done(ctx, fmt.Sprintf("get event %v", id), err)
}

func (r events) Last(ctx context.Context) (n int64, err error) {
	err = r.query(ctx, store.Scope{}, one(&n, func(rows pgx.Rows) (n int64, err error) { return n, rows.Scan(&n) }), "select last from event_counter")
	return n, r.done(ctx, "read the last sequence", err)
}

func (r events) List(ctx context.Context, scope store.Scope, subject record.Subject, page store.Page) (store.Listing[record.Event], error) {
	what := fmt.Sprintf("list events of %s %v", subject.Kind, subject.ID)
	place := store.EventPlace(scope, subject)
	where := narrow().Owned(scope, "dealer_id").Add("subject_id = ?", subject.ID).Add("subject_kind = ?", subject.Kind)
	return versions(ctx, r, scope, what, table.Events, where, page, place, "sequence")
}
