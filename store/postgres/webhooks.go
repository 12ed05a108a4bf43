package postgres

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Webhooks implements store.Registers.
func (r *registers) Webhooks() store.Webhooks { return webhooks{r} }

type webhooks struct{ session }

const webhookColumns = `id, dealer_id, version, url, kinds, secrets, since, paused_until, failing_since, disabled_at, disabled_reason, created_at, updated_at`

func scanWebhook(rows pgx.Rows) (w record.Webhook, err error) {
	var kinds, secrets string
	if err = rows.Scan(&w.ID, &w.DealerID, &w.Version, &w.URL, &kinds, &secrets, &w.Since, &w.PausedUntil, &w.FailingSince, &w.DisabledAt, &w.DisabledReason, &w.CreatedAt, &w.UpdatedAt); err != nil {
		return w, err
	}
	inUTC(w.PausedUntil, w.FailingSince, w.DisabledAt, &w.CreatedAt, &w.UpdatedAt)
	w.Kinds = strings.Fields(kinds)
	return w, json.Unmarshal([]byte(secrets), &w.Secrets)
}

func (r webhooks) Insert(ctx context.Context, scope store.Scope, w record.Webhook) (record.Webhook, error) {
	what := fmt.Sprintf("insert webhook %v", w.ID)
	if !scope.Covers(w.DealerID) {
		return record.Webhook{}, fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckWebhook(w); err != nil {
		return record.Webhook{}, fmt.Errorf("%s: %w", what, err)
	}
	secrets, err := json.Marshal(w.Secrets)
	if err != nil {
		return record.Webhook{}, fmt.Errorf("%s: %w", what, err)
	}
	var a added
	err = r.query(ctx, scope, one(&a, scanAdded), `with owner as (
			select $2::uuid is null or exists (select 1 from dealers where id = $2::uuid) as there
		), thin as (
			insert into webhooks (`+webhookColumns+`)
			select $1::uuid, $2::uuid, $3::integer, $4::text, $5::text, $6::text, (select last from event_counter), $7::timestamptz, $8::timestamptz, $9::timestamptz, $10::text, $11::timestamptz, $12::timestamptz
			from owner where owner.there
			on conflict do nothing
			returning id
		)
		select owner.there, (select count(*) from thin) from owner`,
		w.ID, w.DealerID, w.Version, w.URL, strings.Join(w.Kinds, " "), string(secrets), momentOrNil(w.PausedUntil), momentOrNil(w.FailingSince), momentOrNil(w.DisabledAt), w.DisabledReason,
		record.Moment(w.CreatedAt), record.Moment(w.UpdatedAt))
	if err == nil {
		err = a.err()
	}
	if err != nil {
		return record.Webhook{}, r.done(ctx, what, err)
	}
	return r.Get(ctx, scope, w.ID)
}

func (r webhooks) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (w record.Webhook, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&w, scanWebhook), "select "+webhookColumns+" from webhooks"+where.String(), where.args...)
	return w, r.done(ctx, fmt.Sprintf("get webhook %v", id), err)
}

func (r webhooks) List(ctx context.Context, scope store.Scope, page store.Page) (store.Listing[record.Webhook], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	return list(ctx, r, "webhooks", scope, "select "+webhookColumns+" from webhooks", where, page, store.WebhookPlace(scope), scanWebhook,
		func(w record.Webhook) store.Position { return store.Position{CreatedAt: w.CreatedAt, ID: w.ID} })
}

func (r webhooks) Update(ctx context.Context, scope store.Scope, w record.Webhook, expected int) error {
	what := fmt.Sprintf("update webhook %v", w.ID)
	if err := store.CheckWebhook(w); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	secrets, err := json.Marshal(w.Secrets)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return r.done(ctx, what, versioned(ctx, r, scope, "webhooks", w.ID, expected,
		"secrets = $?::text, version = $?::integer, updated_at = $?::timestamptz", string(secrets), w.Version, record.Moment(w.UpdatedAt)))
}

func (r webhooks) Delete(ctx context.Context, scope store.Scope, id uuid.UUID) error {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = $?::uuid", id)
	n, err := exec(ctx, r, scope, "delete from webhooks"+where.String(), where.args...)
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("delete webhook %v", id), err)
}

func (r webhooks) NoteFailure(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (since time.Time, err error) {
	where := &conditions{args: []any{record.Moment(at), id}, terms: []string{"id = $2::uuid"}}
	where.owned(scope, "dealer_id")
	err = r.query(ctx, scope, one(&since, func(rows pgx.Rows) (t time.Time, err error) { err = rows.Scan(&t); return t.UTC(), err }),
		"update webhooks set failing_since = coalesce(failing_since, $1::timestamptz)"+where.String()+" returning failing_since", where.args...)
	return since, r.done(ctx, fmt.Sprintf("note a failure of webhook %v", id), err)
}

func (r webhooks) NoteSuccess(ctx context.Context, scope store.Scope, id uuid.UUID) error {
	where := &conditions{args: []any{id}, terms: []string{"id = $1::uuid", "failing_since is not null"}}
	where.owned(scope, "dealer_id")
	_, err := exec(ctx, r, scope, "update webhooks set failing_since = null"+where.String(), where.args...)
	return r.done(ctx, fmt.Sprintf("note a success of webhook %v", id), err)
}

func (r webhooks) Pause(ctx context.Context, scope store.Scope, id uuid.UUID, until time.Time) error {
	set, args := "paused_until = null", []any{id}
	if !until.IsZero() {
		// The greatest of what is not null.
		set, args = "paused_until = greatest(paused_until, $2::timestamptz)", []any{id, record.Moment(until)}
	}
	where := &conditions{args: args, terms: []string{"id = $1::uuid"}}
	where.owned(scope, "dealer_id")
	n, err := exec(ctx, r, scope, "update webhooks set "+set+where.String(), where.args...)
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("pause webhook %v", id), err)
}

func (r webhooks) Disable(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time, reason string) (bool, error) {
	where := &conditions{args: []any{record.Moment(at), reason, id}, terms: []string{"id = $3::uuid", "disabled_at is null"}}
	where.owned(scope, "dealer_id")
	n, err := exec(ctx, r, scope, `with endpoint as (
			update webhooks set disabled_at = $1::timestamptz, disabled_reason = $2::text`+where.String()+` returning id
		), parking as (
			update webhook_deliveries d set state = 'parked' from endpoint where d.webhook_id = endpoint.id and d.state = 'pending'
		) select id from endpoint`, where.args...)
	return n > 0, r.done(ctx, fmt.Sprintf("disable webhook %v", id), err)
}

func (r webhooks) Enable(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (bool, error) {
	where := &conditions{args: []any{record.Moment(at), id}, terms: []string{"id = $2::uuid", "disabled_at is not null"}}
	where.owned(scope, "dealer_id")
	n, err := exec(ctx, r, scope, `with endpoint as (
			update webhooks set disabled_at = null, disabled_reason = '', failing_since = null, paused_until = null`+where.String()+` returning id
		), freeing as (
			update webhook_deliveries d set state = 'pending', attempts = 0, next_at = $1::timestamptz
			from endpoint where d.webhook_id = endpoint.id and d.state = 'parked'
		) select id from endpoint`, where.args...)
	return n > 0, r.done(ctx, fmt.Sprintf("enable webhook %v", id), err)
}
