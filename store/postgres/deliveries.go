package postgres

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Deliveries implements store.Registers.
func (r *registers) Deliveries() store.Deliveries { return deliveries{r} }

type deliveries struct{ session }

func (r deliveries) Pending(ctx context.Context, scope store.Scope) (sequence int64, ok bool, err error) {
	err = r.query(ctx, scope, one(&sequence, func(rows pgx.Rows) (n int64, err error) { return n, rows.Scan(&n) }),
		"select sequence from webhook_progress for update skip locked")
	if errors.Is(err, pgx.ErrNoRows) {
		return 0, false, nil
	}
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
			_, err = exec(ctx, r, scope, statement+" from webhooks where id = $2::uuid for key share on conflict (webhook_id, event_id) do nothing", args...)
		}
		if err != nil {
			return r.done(ctx, what, err)
		}
	}
	_, err := exec(ctx, r, scope, "update webhook_progress set sequence = greatest(sequence, $1::bigint)", sequence)
	return r.done(ctx, "move the place in the events", err)
}

func (r deliveries) Claim(ctx context.Context, scope store.Scope, c store.DeliveryClaim) ([]record.Delivery, error) {
	// "due" finds what may go, with its place in the queue of its endpoint;
	// "chosen" locks, passes over what others have locked, and looks again at rows
	// that changed meanwhile. A row whose forerunner is being delivered right now
	// is at worst left for the next time: forerunners are always visible first.
	var items []record.Delivery
	err := r.query(ctx, scope, every(&items, scanRow(table.Deliveries)), `with due as (
			select d.id, row_number() over (partition by d.webhook_id order by d.next_at, d.sequence)
				+ (select count(*) from webhook_deliveries h where h.webhook_id = d.webhook_id and h.claimed_until > $1::timestamptz) as place
			from webhook_deliveries d
			where d.state = 'pending' and d.next_at <= $1::timestamptz and (d.claimed_until is null or d.claimed_until <= $1::timestamptz)
			  and (d.delivered_at is not null or not exists (select 1 from webhook_deliveries e
				where e.webhook_id = d.webhook_id and e.subject = d.subject and e.sequence < d.sequence and e.delivered_at is null))
			  and not exists (select 1 from webhooks w where w.id = d.webhook_id and w.paused_until > $1::timestamptz)
		), chosen as (
			select d.id as chosen_id from webhook_deliveries d
			where d.id in (select id from due where place <= $4::bigint)
			  and d.state = 'pending' and d.next_at <= $1::timestamptz and (d.claimed_until is null or d.claimed_until <= $1::timestamptz)
			order by d.next_at, d.sequence limit $5::bigint
			for update skip locked
		)
		update webhook_deliveries d set claimed_by = $3::uuid, claimed_until = $2::timestamptz from chosen where d.id = chosen_id
		returning `+table.Deliveries.List,
		record.Moment(c.Now), record.Moment(c.Until), c.Token, c.PerEndpoint, c.Limit)
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
	where := narrow(string(d.State), d.Attempts, d.NextAt, d.LastStatus, d.LastError, d.AttemptedAt, d.DeliveredAt).Add("id = ?", d.ID).Add("claimed_by = ?", token).Owned(scope, "dealer_id")
	n, err := exec(ctx, r, scope, `update webhook_deliveries set
			state = case when $1::text = 'pending' and exists (select 1 from webhooks w where w.id = webhook_id and w.disabled_at is not null) then 'parked' else $1::text end,
			attempts = $2::integer, next_at = $3::timestamptz, last_status = $4::integer, last_error = $5::text,
			attempted_at = $6::timestamptz, delivered_at = $7::timestamptz, claimed_by = null, claimed_until = null`+where.String(), where.Args...)
	if err == nil && n == 0 {
		err = store.ErrLostClaim
	}
	return r.done(ctx, what, err)
}

func (r deliveries) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (d record.Delivery, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	d, err = find(ctx, r, scope, table.Deliveries, where, "")
	return d, r.done(ctx, fmt.Sprintf("get delivery %v", id), err)
}

func (r deliveries) Earliest(ctx context.Context, scope store.Scope, webhook, subject uuid.UUID) (d record.Delivery, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("webhook_id = ?", webhook).Add("subject = ?", subject).Add("delivered_at is null")
	d, err = find(ctx, r, scope, table.Deliveries, where, " order by sequence limit 1")
	return d, r.done(ctx, fmt.Sprintf("find the earliest delivery to webhook %v", webhook), err)
}

func (r deliveries) Resend(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (d record.Delivery, err error) {
	where := narrow(at).Add("id = ?", id).Owned(scope, "dealer_id")
	err = r.query(ctx, scope, one(&d, scanRow(table.Deliveries)), "update webhook_deliveries set state = 'pending', attempts = 0, next_at = $1::timestamptz"+where.String()+
		" returning "+table.Deliveries.List, where.Args...)
	return d, r.done(ctx, fmt.Sprintf("resend delivery %v", id), err)
}

func (r deliveries) List(ctx context.Context, scope store.Scope, f store.DeliveryFilter, page store.Page) (store.Listing[record.Delivery], error) {
	where := table.NarrowDeliveries(narrow().Owned(scope, "dealer_id"), f)
	return list(ctx, r, scope, table.Deliveries, where, page, f.Place(scope))
}
