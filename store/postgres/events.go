package postgres

import (
	"context"
	"fmt"
	"strconv"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Events implements store.Registers.
func (r *registers) Events() store.Events { return events{r} }

type events struct{ session }

const eventColumns = "sequence, id, kind, dealer_id, subject_kind, subject_id, key_id, role, created_at, body"

func scanEvent(rows pgx.Rows) (e record.Event, err error) {
	var body string
	err = rows.Scan(&e.Sequence, &e.ID, &e.Kind, &e.DealerID, &e.Subject.Kind, &e.Subject.ID, &e.Actor.KeyID, &e.Actor.Role, &e.CreatedAt, &body)
	inUTC(&e.CreatedAt)
	e.Body = []byte(body)
	return e, err
}

func (r events) Append(ctx context.Context, scope store.Scope, list ...record.Event) ([]record.Event, error) {
	out := make([]record.Event, 0, len(list))
	for _, e := range list {
		what := fmt.Sprintf("append event %q", e.Kind)
		if !scope.Covers(e.DealerID) {
			return nil, fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
		}
		if err := store.CheckEvent(e); err != nil {
			return nil, fmt.Errorf("%s: %w", what, err)
		}
		e.CreatedAt = record.Moment(e.CreatedAt)
		// The row of the counter is held until the transaction ends.
		err := r.query(ctx, scope, one(&e.Sequence, func(rows pgx.Rows) (n int64, err error) { return n, rows.Scan(&n) }),
			`with next as (update event_counter set last = last + 1 returning last)
			insert into events (`+eventColumns+`)
			select next.last, $1::uuid, $2::text, $3::uuid, $4::text, $5::uuid, $6::uuid, $7::text, $8::timestamptz, $9::text from next
			returning sequence`,
			e.ID, e.Kind, e.DealerID, e.Subject.Kind, e.Subject.ID, e.Actor.KeyID, string(e.Actor.Role), e.CreatedAt, string(e.Body))
		if err != nil {
			return nil, r.done(ctx, what, err)
		}
		out = append(out, e)
	}
	return out, nil
}

func (r events) After(ctx context.Context, scope store.Scope, sequence int64, limit int) ([]record.Event, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("sequence > $?::bigint", sequence)
	var items []record.Event
	err := r.query(ctx, scope, every(&items, scanEvent), "select "+eventColumns+" from events"+where.String()+" order by sequence limit "+strconv.Itoa(max(limit, 0)), where.args...)
	if err != nil {
		return nil, r.done(ctx, fmt.Sprintf("read events after %d", sequence), err)
	}
	return items, nil
}

func (r events) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (e record.Event, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&e, scanEvent), "select "+eventColumns+" from events"+where.String(), where.args...)
	return e, r.done(ctx, fmt.Sprintf("get event %v", id), err)
}

func (r events) Last(ctx context.Context) (n int64, err error) {
	err = r.query(ctx, store.Scope{}, one(&n, func(rows pgx.Rows) (n int64, err error) { return n, rows.Scan(&n) }), "select last from event_counter")
	return n, r.done(ctx, "read the last sequence", err)
}

func (r events) List(ctx context.Context, scope store.Scope, subject record.Subject, page store.Page) (store.Listing[record.Event], error) {
	what := fmt.Sprintf("list events of %s %v", subject.Kind, subject.ID)
	place := store.EventPlace(scope, subject)
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("subject_id = $?::uuid", subject.ID)
	where.add("subject_kind = $?::text", subject.Kind)
	at, ok, err := page.After(place)
	if err != nil {
		return store.Listing[record.Event]{}, fmt.Errorf("%s: %w", what, err)
	}
	if ok {
		where.add("sequence < $?::bigint", at.Version())
	}
	var items []record.Event
	err = r.query(ctx, scope, every(&items, scanEvent), "select "+eventColumns+" from events"+where.String()+" order by sequence desc limit "+strconv.Itoa(page.Size()+1), where.args...)
	if err != nil {
		return store.Listing[record.Event]{}, r.done(ctx, what, err)
	}
	return store.Cut(items, page, place, func(e record.Event) store.Position { return store.VersionPosition(int(e.Sequence)) }), nil
}
