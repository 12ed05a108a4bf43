package sqlite

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Deliveries implements store.Registers.
func (r *registers) Deliveries() store.Deliveries { return deliveries{r} }

type deliveries struct{ *registers }

const deliveryColumns = `id, webhook_id, dealer_id, event_id, event_kind, sequence, subject, state, attempts, next_at,
	last_status, last_error, attempted_at, delivered_at, created_at`

func scanDelivery(r row) (d record.Delivery, err error) {
	err = r.Scan(&d.ID, &d.WebhookID, &d.DealerID, &d.EventID, &d.EventKind, &d.Sequence, &d.Subject, &d.State, &d.Attempts, stamp{&d.NextAt},
		&d.LastStatus, &d.LastError, stampOrNull{&d.AttemptedAt}, stampOrNull{&d.DeliveredAt}, stamp{&d.CreatedAt})
	return d, err
}

// Pending needs no lock of its own: the transaction that writes holds the file.
func (r deliveries) Pending(ctx context.Context, _ store.Scope) (sequence int64, ok bool, err error) {
	err = r.write.QueryRowContext(ctx, "select sequence from webhook_progress").Scan(&sequence)
	return sequence, err == nil, r.done(ctx, "take the place in the events", err)
}

func (r deliveries) Insert(ctx context.Context, scope store.Scope, sequence int64, list ...record.Delivery) error {
	for _, d := range list {
		what := fmt.Sprintf("insert delivery of event %v to webhook %v", d.EventID, d.WebhookID)
		if !scope.Covers(d.DealerID) {
			return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
		}
		if err := store.CheckDelivery(d); err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
		_, err := r.write.ExecContext(ctx, "insert into webhook_deliveries ("+deliveryColumns+`)
			select ?1, id, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15 from webhooks where id = ?2
			on conflict (webhook_id, event_id) do nothing`,
			d.ID.String(), d.WebhookID.String(), idOrNull(d.DealerID), d.EventID.String(), d.EventKind, d.Sequence, d.Subject.String(), string(d.State), d.Attempts, millis(d.NextAt),
			d.LastStatus, d.LastError, millisOrNull(d.AttemptedAt), millisOrNull(d.DeliveredAt), millis(d.CreatedAt))
		if err != nil {
			return r.done(ctx, what, err)
		}
	}
	_, err := r.write.ExecContext(ctx, "update webhook_progress set sequence = max(sequence, ?)", sequence)
	return r.done(ctx, "move the place in the events", err)
}

func (r deliveries) Claim(ctx context.Context, _ store.Scope, c store.DeliveryClaim) ([]record.Delivery, error) {
	items, err := collect(ctx, r.write, `with due as (
			select d.id, d.next_at, d.sequence, row_number() over (partition by d.webhook_id order by d.next_at, d.sequence)
				+ (select count(*) from webhook_deliveries h where h.webhook_id = d.webhook_id and h.claimed_until > ?1) as place
			from webhook_deliveries d
			where d.state = 'pending' and d.next_at <= ?1 and (d.claimed_until is null or d.claimed_until <= ?1)
			  and (d.delivered_at is not null or not exists (select 1 from webhook_deliveries e
				where e.webhook_id = d.webhook_id and e.subject = d.subject and e.sequence < d.sequence and e.delivered_at is null))
			  and not exists (select 1 from webhooks w where w.id = d.webhook_id and w.paused_until > ?1)
		)
		update webhook_deliveries set claimed_by = ?3, claimed_until = ?2
		where id in (select id from due where place <= ?4 order by next_at, sequence limit ?5)
		returning `+deliveryColumns, []any{millis(c.Now), millis(c.Until), c.Token.String(), c.PerEndpoint, c.Limit}, scanDelivery)
	if err != nil {
		return nil, r.done(ctx, "claim deliveries", err)
	}
	slices.SortFunc(items, func(a, b record.Delivery) int { return int(a.Sequence - b.Sequence) })
	return items, nil
}

func (r deliveries) Finish(ctx context.Context, scope store.Scope, d record.Delivery, token uuid.UUID) error {
	what := fmt.Sprintf("finish delivery %v", d.ID)
	if err := store.CheckDelivery(d); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	where := &conditions{args: []any{string(d.State), d.Attempts, millis(d.NextAt), d.LastStatus, d.LastError, millisOrNull(d.AttemptedAt), millisOrNull(d.DeliveredAt)}}
	where.owned(scope, "dealer_id")
	where.add("id = ?", d.ID.String())
	where.add("claimed_by = ?", token.String())
	n, err := affected(r.write.ExecContext(ctx, `update webhook_deliveries set
			state = case when ?1 = 'pending' and exists (select 1 from webhooks w where w.id = webhook_id and w.disabled_at is not null) then 'parked' else ?1 end,
			attempts = ?2, next_at = ?3, last_status = ?4, last_error = ?5, attempted_at = ?6, delivered_at = ?7, claimed_by = null, claimed_until = null`+where.String(), where.args...))
	if err == nil && n == 0 {
		err = store.ErrLostClaim
	}
	return r.done(ctx, what, err)
}

func (r deliveries) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Delivery, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	d, err := scanDelivery(r.read.QueryRowContext(ctx, "select "+deliveryColumns+" from webhook_deliveries"+where.String(), where.args...))
	return d, r.done(ctx, fmt.Sprintf("get delivery %v", id), err)
}

func (r deliveries) Earliest(ctx context.Context, scope store.Scope, webhook, subject uuid.UUID) (record.Delivery, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("webhook_id = ?", webhook.String())
	where.add("subject = ?", subject.String())
	where.add("delivered_at is null")
	d, err := scanDelivery(r.read.QueryRowContext(ctx, "select "+deliveryColumns+" from webhook_deliveries"+where.String()+" order by sequence limit 1", where.args...))
	return d, r.done(ctx, fmt.Sprintf("find the earliest delivery to webhook %v", webhook), err)
}

func (r deliveries) Resend(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (record.Delivery, error) {
	where := &conditions{args: []any{millis(at)}}
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	d, err := scanDelivery(r.write.QueryRowContext(ctx, "update webhook_deliveries set state = 'pending', attempts = 0, next_at = ?"+where.String()+
		" returning "+deliveryColumns, where.args...))
	return d, r.done(ctx, fmt.Sprintf("resend delivery %v", id), err)
}

func (r deliveries) List(ctx context.Context, scope store.Scope, f store.DeliveryFilter, page store.Page) (store.Listing[record.Delivery], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("webhook_id = ?", f.WebhookID.String())
	if f.State != "" {
		where.add("state = ?", string(f.State))
	}
	return list(ctx, r.registers, "deliveries", "select "+deliveryColumns+" from webhook_deliveries", where, page, f.Place(scope), scanDelivery,
		func(d record.Delivery) store.Position { return store.Position{CreatedAt: d.CreatedAt, ID: d.ID} })
}
