package sqlite

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Events implements store.Registers.
func (r *registers) Events() store.Events { return events{r} }

type events struct{ *registers }

const eventColumns = "sequence, id, kind, dealer_id, subject_kind, subject_id, key_id, role, created_at, body"

func scanEvent(r row) (e record.Event, err error) {
	var body string
	err = r.Scan(&e.Sequence, &e.ID, &e.Kind, &e.DealerID, &e.Subject.Kind, &e.Subject.ID, &e.Actor.KeyID, &e.Actor.Role, stamp{&e.CreatedAt}, &body)
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
		err := r.atomically(ctx, func(w conn) error {
			if err := w.QueryRowContext(ctx, "update event_counter set last = last + 1 returning last").Scan(&e.Sequence); err != nil {
				return err
			}
			_, err := w.ExecContext(ctx, "insert into events ("+eventColumns+") values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
				e.Sequence, e.ID.String(), e.Kind, idOrNull(e.DealerID), e.Subject.Kind, e.Subject.ID.String(), idOrNull(e.Actor.KeyID), string(e.Actor.Role),
				millis(e.CreatedAt), string(e.Body))
			return err
		})
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
	where.add("sequence > ?", sequence)
	items, err := collect(ctx, r.read, "select "+eventColumns+" from events"+where.String()+" order by sequence limit ?", append(where.args, max(limit, 0)), scanEvent)
	if err != nil {
		return nil, r.done(ctx, fmt.Sprintf("read events after %d", sequence), err)
	}
	return items, nil
}

func (r events) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Event, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	e, err := scanEvent(r.read.QueryRowContext(ctx, "select "+eventColumns+" from events"+where.String(), where.args...))
	return e, r.done(ctx, fmt.Sprintf("get event %v", id), err)
}

func (r events) Last(ctx context.Context) (n int64, err error) {
	err = r.read.QueryRowContext(ctx, "select last from event_counter").Scan(&n)
	return n, r.done(ctx, "read the last sequence", err)
}

func (r events) List(ctx context.Context, scope store.Scope, subject record.Subject, page store.Page) (store.Listing[record.Event], error) {
	what := fmt.Sprintf("list events of %s %v", subject.Kind, subject.ID)
	place := store.EventPlace(scope, subject)
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("subject_id = ?", subject.ID.String())
	where.add("subject_kind = ?", subject.Kind)
	at, ok, err := page.After(place)
	if err != nil {
		return store.Listing[record.Event]{}, fmt.Errorf("%s: %w", what, err)
	}
	if ok {
		where.add("sequence < ?", at.Version())
	}
	items, err := collect(ctx, r.read, "select "+eventColumns+" from events"+where.String()+" order by sequence desc limit ?", append(where.args, page.Size()+1), scanEvent)
	if err != nil {
		return store.Listing[record.Event]{}, r.done(ctx, what, err)
	}
	return store.Cut(items, page, place, func(e record.Event) store.Position { return store.VersionPosition(int(e.Sequence)) }), nil
}
