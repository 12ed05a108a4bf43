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

// Webhooks implements store.Registers.
func (r *registers) Webhooks() store.Webhooks { return webhooks{r} }

type webhooks struct{ session }

func (r webhooks) Insert(ctx context.Context, scope store.Scope, w record.Webhook) (record.Webhook, error) {
	what := fmt.Sprintf("insert webhook %v", w.ID)
	if err := store.Admit(what, scope.Covers(w.DealerID), store.CheckWebhook(w)); err != nil {
		return record.Webhook{}, err
	}
	err := insert(ctx, r, scope, table.Webhooks, &w, table.Column{Name: "since", Place: table.Expression("(select last from event_counter)")})
	if err != nil {
		return record.Webhook{}, r.done(ctx, what, err)
	}
	return r.Get(ctx, scope, w.ID)
}

func (r webhooks) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (w record.Webhook, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	w, err = find(ctx, r, scope, table.Webhooks, where, "")
	return w, r.done(ctx, fmt.Sprintf("get webhook %v", id), err)
}

func (r webhooks) List(ctx context.Context, scope store.Scope, page store.Page) (store.Listing[record.Webhook], error) {
	where := narrow().Owned(scope, "dealer_id")
	return list(ctx, r, scope, table.Webhooks, where, page, store.WebhookPlace(scope))
}

func (r webhooks) Update(ctx context.Context, scope store.Scope, w record.Webhook, expected int) error {
	what := fmt.Sprintf("update webhook %v", w.ID)
	if err := store.Admit(what, true, store.CheckWebhook(w)); err != nil {
		return err
	}
	return r.done(ctx, what, update(ctx, r, scope, table.Webhooks, &w, w.ID, expected))
}

func (r webhooks) Delete(ctx context.Context, scope store.Scope, id uuid.UUID) error {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	n, err := exec(ctx, r, scope, "delete from webhooks"+where.String(), where.Args...)
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("delete webhook %v", id), err)
}

func (r webhooks) NoteFailure(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (since time.Time, err error) {
	where := narrow(at).Add("id = ?", id).Owned(scope, "dealer_id")
	err = r.query(ctx, scope, one(&since, func(rows pgx.Rows) (t time.Time, err error) { err = rows.Scan(&t); return t.UTC(), err }),
		"update webhooks set failing_since = coalesce(failing_since, $1::timestamptz)"+where.String()+" returning failing_since", where.Args...)
	return since, r.done(ctx, fmt.Sprintf("note a failure of webhook %v", id), err)
}

func (r webhooks) NoteSuccess(ctx context.Context, scope store.Scope, id uuid.UUID) error {
	where := narrow().Add("id = ?", id).Add("failing_since is not null").Owned(scope, "dealer_id")
	_, err := exec(ctx, r, scope, "update webhooks set failing_since = null"+where.String(), where.Args...)
	return r.done(ctx, fmt.Sprintf("note a success of webhook %v", id), err)
}

func (r webhooks) Pause(ctx context.Context, scope store.Scope, id uuid.UUID, until time.Time) error {
	set, where := "paused_until = null", narrow()
	if !until.IsZero() {
		// The greatest of what is not null.
		set, where = "paused_until = greatest(paused_until, $1::timestamptz)", narrow(until)
	}
	where.Owned(scope, "dealer_id").Add("id = ?", id)
	n, err := exec(ctx, r, scope, "update webhooks set "+set+where.String(), where.Args...)
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("pause webhook %v", id), err)
}

func (r webhooks) Disable(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time, reason string) (bool, error) {
	where := narrow(at, reason).Add("id = ?", id).Add("disabled_at is null").Owned(scope, "dealer_id")
	n, err := exec(ctx, r, scope, `with endpoint as (
			update webhooks set disabled_at = $1::timestamptz, disabled_reason = $2::text`+where.String()+` returning id
		), parking as (
			update webhook_deliveries d set state = 'parked' from endpoint where d.webhook_id = endpoint.id and d.state = 'pending'
		) select id from endpoint`, where.Args...)
	return n > 0, r.done(ctx, fmt.Sprintf("disable webhook %v", id), err)
}

func (r webhooks) Enable(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (bool, error) {
	where := narrow(at).Add("id = ?", id).Add("disabled_at is not null").Owned(scope, "dealer_id")
	n, err := exec(ctx, r, scope, `with endpoint as (
			update webhooks set disabled_at = null, disabled_reason = '', failing_since = null, paused_until = null`+where.String()+` returning id
		), freeing as (
			update webhook_deliveries d set state = 'pending', attempts = 0, next_at = $1::timestamptz
			from endpoint where d.webhook_id = endpoint.id and d.state = 'parked'
		) select id from endpoint`, where.Args...)
	return n > 0, r.done(ctx, fmt.Sprintf("enable webhook %v", id), err)
}
