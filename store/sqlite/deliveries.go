package sqlite

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Deliveries implements store.Registers.
func (r *registers) Deliveries() store.Deliveries { return deliveries{r} }

type deliveries struct{ *registers }

// Pending needs no lock of its own: the transaction that writes holds the file.
func (r deliveries) Pending(ctx context.Context, _ store.Scope) (sequence int64, ok bool, err error) {
	err = r.write.QueryRowContext(ctx, "select sequence from webhook_progress").Scan(&sequence)
	return sequence, err == nil, r.done(ctx, "take the place in the events", err)
}

func (r deliveries) Insert(ctx context.Context, scope store.Scope, sequence int64, list ...record.Delivery) error {
	for _, d := range list {
		what := fmt.Sprintf("insert delivery of event %v to webhook %v", d.EventID, d.WebhookID)
		if err := store.Admit(what, scope.Covers(d.DealerID), store.CheckDelivery(d)); err != nil {
			return err
		}
		statement, _, args, err := table.Deliveries.Insert(dialect, &d)
		if err == nil {
			_, err = r.write.ExecContext(ctx, statement+" from webhooks where id = ?2 on conflict (webhook_id, event_id) do nothing", args...)
		}
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
		returning `+table.Deliveries.List, dialect.Args(c.Now, c.Until, c.Token, c.PerEndpoint, c.Limit), scanRow(table.Deliveries))
	if err != nil {
		return nil, r.done(ctx, "claim deliveries", err)
	}
	slices.SortFunc(items, func(a, b record.Delivery) int { return int(a.Sequence - b.Sequence) })
	return items, nil
}

func (r deliveries) Finish(ctx context.Context, scope store.Scope, d record.Delivery, token uuid.UUID) error {
	what := fmt.Sprintf("finish delivery %v", d.ID)
	if err := store.Admit(what, true, store.CheckDelivery(d)); err != nil {
		return err
	}
	where := narrow(d.State, d.Attempts, d.NextAt, d.LastStatus, d.LastError, d.AttemptedAt, d.DeliveredAt).Owned(scope, "dealer_id").Add("id = ?", d.ID).Add("claimed_by = ?", token)
	n, err := affected(r.write.ExecContext(ctx, `update webhook_deliveries set
			state = case when ?1 = 'pending' and exists (select 1 from webhooks w where w.id = webhook_id and w.disabled_at is not null) then 'parked' else ?1 end,
			attempts = ?2, next_at = ?3, last_status = ?4, last_error = ?5, attempted_at = ?6, delivered_at = ?7, claimed_by = null, claimed_until = null`+where.String(), where.Args...))
	if err == nil && n == 0 {
		err = store.ErrLostClaim
	}
	return r.done(ctx, what, err)
}

func (r deliveries) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Delivery, error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	d, err := find(ctx, r.read, table.Deliveries, where, "")
	return d, r.done(ctx, fmt.Sprintf("get delivery %v", id), err)
}

func (r deliveries) Earliest(ctx context.Context, scope store.Scope, webhook, subject uuid.UUID) (record.Delivery, error) {
	where := narrow().Owned(scope, "dealer_id").Add("webhook_id = ?", webhook).Add("subject = ?", subject).Add("delivered_at is null")
	d, err := find(ctx, r.read, table.Deliveries, where, " order by sequence limit 1")
	return d, r.done(ctx, fmt.Sprintf("find the earliest delivery to webhook %v", webhook), err)
}

func (r deliveries) Resend(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (record.Delivery, error) {
	where := narrow(at).Owned(scope, "dealer_id").Add("id = ?", id)
	d, err := table.Deliveries.Scan(r.write.QueryRowContext(ctx, "update webhook_deliveries set state = 'pending', attempts = 0, next_at = ?"+where.String()+
		" returning "+table.Deliveries.List, where.Args...))
	return d, r.done(ctx, fmt.Sprintf("resend delivery %v", id), err)
}

func (r deliveries) List(ctx context.Context, scope store.Scope, f store.DeliveryFilter, page store.Page) (store.Listing[record.Delivery], error) {
	where := table.NarrowDeliveries(narrow().Owned(scope, "dealer_id"), f)
	return list(ctx, r.registers, table.Deliveries, where, page, f.Place(scope))
}
