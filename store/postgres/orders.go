package postgres

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Orders implements store.Registers.
func (r *registers) Orders() store.Orders { return orders{r} }

type orders struct{ session }

const orderColumns = `id, dealer_id, quote_id, state, version, purchase_reference, replaces, promise, total, currency,
	held_from, held_by, reason, carrier, tracking, created_at, updated_at`

func scanOrder(rows pgx.Rows) (o record.Order, err error) {
	err = rows.Scan(&o.ID, &o.DealerID, &o.QuoteID, &o.State, &o.Version, &o.PurchaseReference, &o.Replaces, &o.Promise, &o.Total.Value, &o.Total.Currency,
		&o.HeldFrom, &o.HeldBy, &o.Reason, &o.Carrier, &o.Tracking, &o.CreatedAt, &o.UpdatedAt)
	inUTC(&o.CreatedAt, &o.UpdatedAt)
	return o, err
}

func (r orders) Insert(ctx context.Context, scope store.Scope, o record.Order) error {
	what := fmt.Sprintf("insert order %v", o.ID)
	if !scope.Covers(o.DealerID) {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckOrder(o); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	var a added
	err := r.query(ctx, scope, one(&a, scanAdded), `with owner as (
			select ($2::uuid is null or exists (select 1 from dealers where id = $2::uuid))
			   and exists (select 1 from quotes where id = $3::uuid and dealer_id is not distinct from $2::uuid)
			   and ($7::uuid is null or exists (select 1 from orders where id = $7::uuid and dealer_id is not distinct from $2::uuid)) as there
		), thin as (
			insert into orders (`+orderColumns+`)
			select $1::uuid, $2::uuid, $3::uuid, $4::text, $5::integer, $6::text, $7::uuid, $8::text, $9::text, $10::text,
				$11::text, $12::text, $13::text, $14::text, $15::text, $16::timestamptz, $17::timestamptz
			from owner where owner.there
			on conflict do nothing
			returning id
		)
		select owner.there, (select count(*) from thin) from owner`,
		o.ID, o.DealerID, o.QuoteID, string(o.State), o.Version, o.PurchaseReference, o.Replaces, o.Promise, o.Total.Value.String(), o.Total.Currency,
		string(o.HeldFrom), string(o.HeldBy), o.Reason, o.Carrier, o.Tracking, record.Moment(o.CreatedAt), record.Moment(o.UpdatedAt))
	if err == nil {
		err = a.err()
	}
	return r.done(ctx, what, err)
}

func (r orders) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (o record.Order, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&o, scanOrder), "select "+orderColumns+" from orders"+where.String(), where.args...)
	return o, r.done(ctx, fmt.Sprintf("get order %v", id), err)
}

func (r orders) Hold(ctx context.Context, scope store.Scope, id uuid.UUID) (o record.Order, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&o, scanOrder), "select "+orderColumns+" from orders"+where.String()+" for share", where.args...)
	return o, r.done(ctx, fmt.Sprintf("hold order %v", id), err)
}

func (r orders) Update(ctx context.Context, scope store.Scope, o record.Order, expected int) error {
	what := fmt.Sprintf("update order %v", o.ID)
	if err := store.CheckOrder(o); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return r.done(ctx, what, versioned(ctx, r, scope, "orders", o.ID, expected,
		`state = $?::text, version = $?::integer, purchase_reference = $?::text, promise = $?::text, held_from = $?::text, held_by = $?::text,
		reason = $?::text, carrier = $?::text, tracking = $?::text, updated_at = $?::timestamptz`,
		string(o.State), o.Version, o.PurchaseReference, o.Promise, string(o.HeldFrom), string(o.HeldBy),
		o.Reason, o.Carrier, o.Tracking, record.Moment(o.UpdatedAt)))
}

func (r orders) List(ctx context.Context, scope store.Scope, f store.OrderFilter, page store.Page) (store.Listing[record.Order], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	if f.DealerID != nil {
		where.add("dealer_id = $?::uuid", *f.DealerID)
	}
	if f.QuoteID != nil {
		where.add("quote_id = $?::uuid", *f.QuoteID)
	}
	if f.State != "" {
		where.add("state = $?::text", string(f.State))
	}
	if f.PurchaseReference != "" {
		where.add("purchase_reference = $?::text", f.PurchaseReference)
	}
	if f.PromisedFrom != "" {
		where.add("promise >= $?::text", f.PromisedFrom)
	}
	if f.PromisedTo != "" {
		where.add("promise <= $?::text", f.PromisedTo)
	}
	return list(ctx, r, "orders", scope, "select "+orderColumns+" from orders", where, page, f.Place(scope), scanOrder,
		func(o record.Order) store.Position { return store.Position{CreatedAt: o.CreatedAt, ID: o.ID} })
}

func (r orders) PutOperation(ctx context.Context, scope store.Scope, o record.OperationRecord) error {
	what := fmt.Sprintf("put record of operation %q of order %v", o.Operation, o.OrderID)
	if err := store.CheckOperation(o); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	where := &conditions{args: []any{o.OrderID, o.Operation, record.Moment(o.StartedAt), momentOrNil(o.FinishedAt), o.Hours,
		record.Moment(o.UpdatedAt), o.By.KeyID, string(o.By.Role)}}
	where.owned(scope, "dealer_id")
	where.terms = append(where.terms, "id = $1::uuid")
	n, err := exec(ctx, r, scope, `insert into operation_records (order_id, dealer_id, operation, started_at, finished_at, hours, updated_at, updated_by, updated_as)
		select id, dealer_id, $2::text, $3::timestamptz, $4::timestamptz, $5::double precision, $6::timestamptz, $7::uuid, $8::text from orders`+where.String()+`
		on conflict (order_id, operation) do update set started_at = excluded.started_at, finished_at = excluded.finished_at, hours = excluded.hours,
			updated_at = excluded.updated_at, updated_by = excluded.updated_by, updated_as = excluded.updated_as`, where.args...)
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, what, err)
}

func (r orders) Operations(ctx context.Context, scope store.Scope, order uuid.UUID) ([]record.OperationRecord, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("order_id = $?::uuid", order)
	var items []record.OperationRecord
	err := r.query(ctx, scope, every(&items, func(rows pgx.Rows) (o record.OperationRecord, err error) {
		err = rows.Scan(&o.OrderID, &o.Operation, &o.StartedAt, &o.FinishedAt, &o.Hours, &o.UpdatedAt, &o.By.KeyID, &o.By.Role)
		inUTC(&o.StartedAt, o.FinishedAt, &o.UpdatedAt)
		return o, err
	}), "select order_id, operation, started_at, finished_at, hours, updated_at, updated_by, updated_as from operation_records"+where.String()+" order by operation", where.args...)
	if err != nil {
		return nil, r.done(ctx, fmt.Sprintf("list operations of order %v", order), err)
	}
	return items, nil
}
