package postgres

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Deliveries implements store.Registers.
func (r *registers) Deliveries() store.Deliveries { return deliveries{r} }

type deliveries struct{ session }

var deliveryColumns = []string{"id", "webhook_id", "dealer_id", "event_id", "event_kind", "sequence", "subject", "state", "attempts", "next_at",
	"last_status", "last_error", "attempted_at", "delivered_at", "created_at"}

// deliveryList is the columns, of the table by that name.
func deliveryList(table string) string { return table + strings.Join(deliveryColumns, ", "+table) }

func scanDelivery(rows pgx.Rows) (d record.Delivery, err error) {
	err = rows.Scan(&d.ID, &d.WebhookID, &d.DealerID, &d.EventID, &d.EventKind, &d.Sequence, &d.Subject, &d.State, &d.Attempts, &d.NextAt,
		&d.LastStatus, &d.LastError, &d.AttemptedAt, &d.DeliveredAt, &d.CreatedAt)
	inUTC(&d.NextAt, d.AttemptedAt, d.DeliveredAt, &d.CreatedAt)
	return d, err
}

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
		if !scope.Covers(d.DealerID) {
			return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
		}
		if err := store.CheckDelivery(d); err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
		_, err := exec(ctx, r, scope, "insert into webhook_deliveries ("+deliveryList("")+`)
			select $1::uuid, $2::uuid, $3::uuid, $4::uuid, $5::text, $6::bigint, $7::uuid, $8::text, $9::integer, $10::timestamptz,
				$11::integer, $12::text, $13::timestamptz, $14::timestamptz, $15::timestamptz
			from webhooks where id = $2::uuid for key share
			on conflict (webhook_id, event_id) do nothing`,
			d.ID, d.WebhookID, d.DealerID, d.EventID, d.EventKind, d.Sequence, d.Subject, string(d.State), d.Attempts, record.Moment(d.NextAt),
			d.LastStatus, d.LastError, momentOrNil(d.AttemptedAt), momentOrNil(d.DeliveredAt), record.Moment(d.CreatedAt))
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
	err := r.query(ctx, scope, every(&items, scanDelivery), `with due as (
			select d.id, row_number() over (partition by d.webhook_id order by d.next_at, d.sequence)
				+ (select count(*) from webhook_deliveries h where h.webhook_id = d.webhook_id and h.claimed_until > $1::timestamptz) as place
			from webhook_deliveries d
			where d.state = 'pending' and d.next_at <= $1::timestamptz and (d.claimed_until is null or d.claimed_until <= $1::timestamptz)
			  and (d.delivered_at is not null or not exists (select 1 from webhook_deliveries e
				where e.webhook_id = d.webhook_id and e.subject = d.subject and e.sequence < d.sequence and e.delivered_at is null))
			  and not exists (select 1 from webhooks w where w.id = d.webhook_id and w.paused_until > $1::timestamptz)
		), chosen as (
			select d.id from webhook_deliveries d
			where d.id in (select id from due where place <= $4::bigint)
			  and d.state = 'pending' and d.next_at <= $1::timestamptz and (d.claimed_until is null or d.claimed_until <= $1::timestamptz)
			order by d.next_at, d.sequence limit $5::bigint
			for update skip locked
		)
		update webhook_deliveries d set claimed_by = $3::uuid, claimed_until = $2::timestamptz from chosen where d.id = chosen.id
		returning `+deliveryList("d."),
		record.Moment(c.Now), record.Moment(c.Until), c.Token, c.PerEndpoint, c.Limit)
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
	where := &conditions{args: []any{string(d.State), d.Attempts, record.Moment(d.NextAt), d.LastStatus, d.LastError,
		momentOrNil(d.AttemptedAt), momentOrNil(d.DeliveredAt), d.ID, token}, terms: []string{"id = $8::uuid", "claimed_by = $9::uuid"}}
	where.owned(scope, "dealer_id")
	n, err := exec(ctx, r, scope, `update webhook_deliveries set
			state = case when $1::text = 'pending' and exists (select 1 from webhooks w where w.id = webhook_id and w.disabled_at is not null) then 'parked' else $1::text end,
			attempts = $2::integer, next_at = $3::timestamptz, last_status = $4::integer, last_error = $5::text,
			attempted_at = $6::timestamptz, delivered_at = $7::timestamptz, claimed_by = null, claimed_until = null`+where.String(), where.args...)
	if err == nil && n == 0 {
		err = store.ErrLostClaim
	}
	return r.done(ctx, what, err)
}

func (r deliveries) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (d record.Delivery, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&d, scanDelivery), "select "+deliveryList("")+" from webhook_deliveries"+where.String(), where.args...)
	return d, r.done(ctx, fmt.Sprintf("get delivery %v", id), err)
}

func (r deliveries) Earliest(ctx context.Context, scope store.Scope, webhook, subject uuid.UUID) (d record.Delivery, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("webhook_id = $?::uuid", webhook)
	where.add("subject = $?::uuid", subject)
	where.add("delivered_at is null")
	err = r.query(ctx, scope, one(&d, scanDelivery), "select "+deliveryList("")+" from webhook_deliveries"+where.String()+" order by sequence limit 1", where.args...)
	return d, r.done(ctx, fmt.Sprintf("find the earliest delivery to webhook %v", webhook), err)
}

func (r deliveries) Resend(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (d record.Delivery, err error) {
	where := &conditions{args: []any{record.Moment(at), id}, terms: []string{"id = $2::uuid"}}
	where.owned(scope, "dealer_id")
	err = r.query(ctx, scope, one(&d, scanDelivery), "update webhook_deliveries set state = 'pending', attempts = 0, next_at = $1::timestamptz"+where.String()+
		" returning "+deliveryList(""), where.args...)
	return d, r.done(ctx, fmt.Sprintf("resend delivery %v", id), err)
}

func (r deliveries) List(ctx context.Context, scope store.Scope, f store.DeliveryFilter, page store.Page) (store.Listing[record.Delivery], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("webhook_id = $?::uuid", f.WebhookID)
	if f.State != "" {
		where.add("state = $?::text", string(f.State))
	}
	return list(ctx, r, "deliveries", scope, "select "+deliveryList("")+" from webhook_deliveries", where, page, f.Place(scope), scanDelivery,
		func(d record.Delivery) store.Position { return store.Position{CreatedAt: d.CreatedAt, ID: d.ID} })
}
