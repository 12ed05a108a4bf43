package sqlite

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Orders implements store.Registers.
func (r *registers) Orders() store.Orders { return orders{r} }

type orders struct{ *registers }

const orderColumns = `id, dealer_id, quote_id, state, version, purchase_reference, replaces, promise, total, currency,
	held_from, held_by, reason, carrier, tracking, created_at, updated_at`

func scanOrder(r row) (o record.Order, err error) {
	err = r.Scan(&o.ID, &o.DealerID, &o.QuoteID, &o.State, &o.Version, &o.PurchaseReference, &o.Replaces, &o.Promise, &o.Total.Value, &o.Total.Currency,
		&o.HeldFrom, &o.HeldBy, &o.Reason, &o.Carrier, &o.Tracking, stamp{&o.CreatedAt}, stamp{&o.UpdatedAt})
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
	n, err := affected(r.write.ExecContext(ctx, "insert into orders ("+orderColumns+`)
		select ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17
		where (?2 is null or exists (select 1 from dealers where id = ?2))
		  and exists (select 1 from quotes where id = ?3 and dealer_id is ?2)
		  and (?7 is null or exists (select 1 from orders where id = ?7 and dealer_id is ?2))`,
		o.ID.String(), idOrNull(o.DealerID), o.QuoteID.String(), string(o.State), o.Version, o.PurchaseReference, idOrNull(o.Replaces),
		o.Promise, o.Total.Value.String(), o.Total.Currency, string(o.HeldFrom), string(o.HeldBy), o.Reason, o.Carrier, o.Tracking,
		millis(o.CreatedAt), millis(o.UpdatedAt)))
	if err == nil && n == 0 {
		err = fmt.Errorf("its dealer, quote or the order it replaces: %w", store.ErrNotFound)
	}
	return r.done(ctx, what, err)
}

func (r orders) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Order, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	o, err := scanOrder(r.read.QueryRowContext(ctx, "select "+orderColumns+" from orders"+where.String(), where.args...))
	return o, r.done(ctx, fmt.Sprintf("get order %v", id), err)
}

// Hold is Get: a transaction that writes is the only one.
func (r orders) Hold(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Order, error) {
	return r.Get(ctx, scope, id)
}

func (r orders) Update(ctx context.Context, scope store.Scope, o record.Order, expected int) error {
	what := fmt.Sprintf("update order %v", o.ID)
	if err := store.CheckOrder(o); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return r.done(ctx, what, r.versioned(ctx, scope, "orders", o.ID, expected,
		`state = ?, version = ?, purchase_reference = ?, promise = ?, held_from = ?, held_by = ?, reason = ?, carrier = ?, tracking = ?, updated_at = ?`,
		string(o.State), o.Version, o.PurchaseReference, o.Promise, string(o.HeldFrom), string(o.HeldBy), o.Reason, o.Carrier, o.Tracking, millis(o.UpdatedAt)))
}

func (r orders) List(ctx context.Context, scope store.Scope, f store.OrderFilter, page store.Page) (store.Listing[record.Order], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	if f.DealerID != nil {
		where.add("dealer_id = ?", f.DealerID.String())
	}
	if f.QuoteID != nil {
		where.add("quote_id = ?", f.QuoteID.String())
	}
	if f.State != "" {
		where.add("state = ?", string(f.State))
	}
	if f.PurchaseReference != "" {
		where.add("purchase_reference = ?", f.PurchaseReference)
	}
	if f.PromisedFrom != "" {
		where.add("promise >= ?", f.PromisedFrom)
	}
	if f.PromisedTo != "" {
		where.add("promise <= ?", f.PromisedTo)
	}
	return list(ctx, r.registers, "orders", "select "+orderColumns+" from orders", where, page, f.Place(scope), scanOrder,
		func(o record.Order) store.Position { return store.Position{CreatedAt: o.CreatedAt, ID: o.ID} })
}

func (r orders) PutOperation(ctx context.Context, scope store.Scope, o record.OperationRecord) error {
	what := fmt.Sprintf("put record of operation %q of order %v", o.Operation, o.OrderID)
	if err := store.CheckOperation(o); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", o.OrderID.String())
	args := append([]any{o.Operation, millis(o.StartedAt), millisOrNull(o.FinishedAt), o.Hours, millis(o.UpdatedAt), idOrNull(o.By.KeyID), string(o.By.Role)}, where.args...)
	n, err := affected(r.write.ExecContext(ctx, `insert into operation_records (order_id, operation, started_at, finished_at, hours, updated_at, updated_by, updated_as)
		select id, ?, ?, ?, ?, ?, ?, ? from orders`+where.String()+`
		on conflict (order_id, operation) do update set started_at = excluded.started_at, finished_at = excluded.finished_at, hours = excluded.hours,
			updated_at = excluded.updated_at, updated_by = excluded.updated_by, updated_as = excluded.updated_as`, args...))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, what, err)
}

func (r orders) Operations(ctx context.Context, scope store.Scope, order uuid.UUID) ([]record.OperationRecord, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", order.String())
	items, err := collect(ctx, r.read, `select order_id, operation, started_at, finished_at, hours, o.updated_at, updated_by, updated_as
		from operation_records o join orders on id = order_id`+where.String()+" order by operation", where.args,
		func(r row) (o record.OperationRecord, err error) {
			err = r.Scan(&o.OrderID, &o.Operation, stamp{&o.StartedAt}, stampOrNull{&o.FinishedAt}, &o.Hours, stamp{&o.UpdatedAt}, &o.By.KeyID, &o.By.Role)
			return o, err
		})
	if err != nil {
		return nil, r.done(ctx, fmt.Sprintf("list operations of order %v", order), err)
	}
	return items, nil
}
