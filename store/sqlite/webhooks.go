package sqlite

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Webhooks implements store.Registers.
func (r *registers) Webhooks() store.Webhooks { return webhooks{r} }

type webhooks struct{ *registers }

func (r webhooks) Insert(ctx context.Context, scope store.Scope, w record.Webhook) (record.Webhook, error) {
	what := fmt.Sprintf("insert webhook %v", w.ID)
	if err := store.Admit(what, scope.Covers(w.DealerID), store.CheckWebhook(w)); err != nil {
		return record.Webhook{}, err
	}
	err := insert(ctx, r.write, table.Webhooks, &w, table.Column{Name: "since", Place: table.Expression("(select last from event_counter)")})
	if err != nil {
		return record.Webhook{}, r.done(ctx, what, err)
	}
	return r.Get(ctx, scope, w.ID)
}

func (r webhooks) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Webhook, error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	w, err := find(ctx, r.read, table.Webhooks, where, "")
	return w, r.done(ctx, fmt.Sprintf("get webhook %v", id), err)
}

func (r webhooks) List(ctx context.Context, scope store.Scope, page store.Page) (store.Listing[record.Webhook], error) {
	where := narrow().Owned(scope, "dealer_id")
	return list(ctx, r.registers, table.Webhooks, where, page, store.WebhookPlace(scope))
}

func (r webhooks) Update(ctx context.Context, scope store.Scope, w record.Webhook, expected int) error {
	what := fmt.Sprintf("update webhook %v", w.ID)
	if err := store.Admit(what, true, store.CheckWebhook(w)); err != nil {
		return err
	}
	return r.done(ctx, what, update(ctx, r.registers, scope, table.Webhooks, &w, w.ID, expected))
}

func (r webhooks) Delete(ctx context.Context, scope store.Scope, id uuid.UUID) error {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	n, err := affected(r.write.ExecContext(ctx, "delete from webhooks"+where.String(), where.Args...))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("delete webhook %v", id), err)
}

func (r webhooks) NoteFailure(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (since time.Time, err error) {
	where := narrow(at).Owned(scope, "dealer_id").Add("id = ?", id)
	err = r.write.QueryRowContext(ctx, "update webhooks set failing_since = coalesce(failing_since, ?)"+where.String()+" returning failing_since", where.Args...).Scan(table.Moment(&since))
	return since, r.done(ctx, fmt.Sprintf("note a failure of webhook %v", id), err)
}

func (r webhooks) NoteSuccess(ctx context.Context, scope store.Scope, id uuid.UUID) error {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id).Add("failing_since is not null")
	_, err := r.write.ExecContext(ctx, "update webhooks set failing_since = null"+where.String(), where.Args...)
	return r.done(ctx, fmt.Sprintf("note a success of webhook %v", id), err)
}

func (r webhooks) Pause(ctx context.Context, scope store.Scope, id uuid.UUID, until time.Time) error {
	set, where := "paused_until = null", narrow()
	if !until.IsZero() {
		set, where = "paused_until = max(coalesce(paused_until, 0), ?1)", narrow(until)
	}
	where.Owned(scope, "dealer_id").Add("id = ?", id)
	n, err := affected(r.write.ExecContext(ctx, "update webhooks set "+set+where.String(), where.Args...))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("pause webhook %v", id), err)
}

func (r webhooks) Disable(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time, reason string) (changed bool, err error) {
	where := narrow(at, reason).Owned(scope, "dealer_id").Add("id = ?", id).Add("disabled_at is null")
	err = r.atomically(ctx, func(w conn) error {
		n, err := affected(w.ExecContext(ctx, "update webhooks set disabled_at = ?, disabled_reason = ?"+where.String(), where.Args...))
		if changed = n > 0; err != nil || !changed {
			return err
		}
		_, err = w.ExecContext(ctx, "update webhook_deliveries set state = 'parked' where webhook_id = ? and state = 'pending'", id)
		return err
	})
	return changed, r.done(ctx, fmt.Sprintf("disable webhook %v", id), err)
}

func (r webhooks) Enable(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (changed bool, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id).Add("disabled_at is not null")
	err = r.atomically(ctx, func(w conn) error {
		n, err := affected(w.ExecContext(ctx, "update webhooks set disabled_at = null, disabled_reason = '', failing_since = null, paused_until = null"+where.String(), where.Args...))
		if changed = n > 0; err != nil || !changed {
			return err
		}
		_, err = w.ExecContext(ctx, "update webhook_deliveries set state = 'pending', attempts = 0, next_at = ? where webhook_id = ? and state = 'parked'", millis(at), id)
		return err
	})
	return changed, r.done(ctx, fmt.Sprintf("enable webhook %v", id), err)
}
