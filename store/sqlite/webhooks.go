package sqlite

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Webhooks implements store.Registers.
func (r *registers) Webhooks() store.Webhooks { return webhooks{r} }

type webhooks struct{ *registers }

const webhookColumns = `id, dealer_id, version, url, kinds, secrets, since, paused_until, failing_since, disabled_at, disabled_reason, created_at, updated_at`

func scanWebhook(r row) (w record.Webhook, err error) {
	var kinds, secrets string
	if err = r.Scan(&w.ID, &w.DealerID, &w.Version, &w.URL, &kinds, &secrets, &w.Since, stampOrNull{&w.PausedUntil}, stampOrNull{&w.FailingSince}, stampOrNull{&w.DisabledAt}, &w.DisabledReason,
		stamp{&w.CreatedAt}, stamp{&w.UpdatedAt}); err != nil {
		return w, err
	}
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
	n, err := affected(r.write.ExecContext(ctx, "insert into webhooks ("+webhookColumns+`)
		select ?1, ?2, ?3, ?4, ?5, ?6, (select last from event_counter), ?7, ?8, ?9, ?10, ?11, ?12
		where ?2 is null or exists (select 1 from dealers where id = ?2)`,
		w.ID.String(), idOrNull(w.DealerID), w.Version, w.URL, strings.Join(w.Kinds, " "), string(secrets), millisOrNull(w.PausedUntil), millisOrNull(w.FailingSince), millisOrNull(w.DisabledAt), w.DisabledReason,
		millis(w.CreatedAt), millis(w.UpdatedAt)))
	if err == nil && n == 0 {
		err = fmt.Errorf("its dealer: %w", store.ErrNotFound)
	}
	if err != nil {
		return record.Webhook{}, r.done(ctx, what, err)
	}
	return r.Get(ctx, scope, w.ID)
}

func (r webhooks) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Webhook, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	w, err := scanWebhook(r.read.QueryRowContext(ctx, "select "+webhookColumns+" from webhooks"+where.String(), where.args...))
	return w, r.done(ctx, fmt.Sprintf("get webhook %v", id), err)
}

func (r webhooks) List(ctx context.Context, scope store.Scope, page store.Page) (store.Listing[record.Webhook], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	return list(ctx, r.registers, "webhooks", "select "+webhookColumns+" from webhooks", where, page, store.WebhookPlace(scope), scanWebhook,
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
	return r.done(ctx, what, r.versioned(ctx, scope, "webhooks", w.ID, expected, "secrets = ?, version = ?, updated_at = ?",
		string(secrets), w.Version, millis(w.UpdatedAt)))
}

func (r webhooks) Delete(ctx context.Context, scope store.Scope, id uuid.UUID) error {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	n, err := affected(r.write.ExecContext(ctx, "delete from webhooks"+where.String(), where.args...))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("delete webhook %v", id), err)
}

func (r webhooks) NoteFailure(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (since time.Time, err error) {
	where := &conditions{args: []any{millis(at)}}
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	err = r.write.QueryRowContext(ctx, "update webhooks set failing_since = coalesce(failing_since, ?)"+where.String()+" returning failing_since", where.args...).Scan(stamp{&since})
	return since, r.done(ctx, fmt.Sprintf("note a failure of webhook %v", id), err)
}

func (r webhooks) NoteSuccess(ctx context.Context, scope store.Scope, id uuid.UUID) error {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	where.add("failing_since is not null")
	_, err := r.write.ExecContext(ctx, "update webhooks set failing_since = null"+where.String(), where.args...)
	return r.done(ctx, fmt.Sprintf("note a success of webhook %v", id), err)
}

func (r webhooks) Pause(ctx context.Context, scope store.Scope, id uuid.UUID, until time.Time) error {
	set, args := "paused_until = null", []any{}
	if !until.IsZero() {
		set, args = "paused_until = max(coalesce(paused_until, 0), ?)", []any{millis(until)}
	}
	where := &conditions{args: args}
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	n, err := affected(r.write.ExecContext(ctx, "update webhooks set "+set+where.String(), where.args...))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("pause webhook %v", id), err)
}

func (r webhooks) Disable(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time, reason string) (changed bool, err error) {
	where := &conditions{args: []any{millis(at), reason}}
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	where.add("disabled_at is null")
	err = r.atomically(ctx, func(w conn) error {
		n, err := affected(w.ExecContext(ctx, "update webhooks set disabled_at = ?, disabled_reason = ?"+where.String(), where.args...))
		if changed = n > 0; err != nil || !changed {
			return err
		}
		_, err = w.ExecContext(ctx, "update webhook_deliveries set state = 'parked' where webhook_id = ? and state = 'pending'", id.String())
		return err
	})
	return changed, r.done(ctx, fmt.Sprintf("disable webhook %v", id), err)
}

func (r webhooks) Enable(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (changed bool, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	where.add("disabled_at is not null")
	err = r.atomically(ctx, func(w conn) error {
		n, err := affected(w.ExecContext(ctx, "update webhooks set disabled_at = null, disabled_reason = '', failing_since = null, paused_until = null"+where.String(), where.args...))
		if changed = n > 0; err != nil || !changed {
			return err
		}
		_, err = w.ExecContext(ctx, "update webhook_deliveries set state = 'pending', attempts = 0, next_at = ? where webhook_id = ? and state = 'parked'", millis(at), id.String())
		return err
	})
	return changed, r.done(ctx, fmt.Sprintf("enable webhook %v", id), err)
}
