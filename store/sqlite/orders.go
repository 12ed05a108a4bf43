package sqlite

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Orders implements store.Registers.
func (r *registers) Orders() store.Orders { return orders{r} }

type orders struct{ *registers }

func (r orders) Insert(ctx context.Context, scope store.Scope, o record.Order) error {
	what := fmt.Sprintf("insert order %v", o.ID)
	if err := store.Admit(what, scope.Covers(o.DealerID), store.CheckOrder(o)); err != nil {
		return err
	}
	return r.done(ctx, what, insert(ctx, r.write, table.Orders, &o))
}

func (r orders) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Order, error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	o, err := find(ctx, r.read, table.Orders, where, "")
	return o, r.done(ctx, fmt.Sprintf("get order %v", id), err)
}

// Hold is Get: a transaction that writes is the only one.
func (r orders) Hold(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Order, error) {
	return r.Get(ctx, scope, id)
}

func (r orders) Update(ctx context.Context, scope store.Scope, o record.Order, expected int) error {
	what := fmt.Sprintf("update order %v", o.ID)
	if err := store.Admit(what, true, store.CheckOrder(o)); err != nil {
		return err
	}
	return r.done(ctx, what, update(ctx, r.registers, scope, table.Orders, &o, o.ID, expected))
}

func (r orders) List(ctx context.Context, scope store.Scope, f store.OrderFilter, page store.Page) (store.Listing[record.Order], error) {
	where := table.NarrowOrders(narrow().Owned(scope, "dealer_id"), f)
	return list(ctx, r.registers, table.Orders, where, page, f.Place(scope))
}

func (r orders) PutOperation(ctx context.Context, scope store.Scope, o record.OperationRecord) error {
	what := fmt.Sprintf("put record of operation %q of order %v", o.Operation, o.OrderID)
	if err := store.Admit(what, true, store.CheckOperation(o)); err != nil {
		return err
	}
	statement, _, args, err := table.Operations.Insert(dialect, &o)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	its := narrow(args...).Owned(scope, "dealer_id").Add("id = ?", o.OrderID)
	n, err := affected(r.write.ExecContext(ctx, statement+" from orders"+its.String()+`
		on conflict (order_id, operation) do update set started_at = excluded.started_at, finished_at = excluded.finished_at, hours = excluded.hours,
			updated_at = excluded.updated_at, updated_by = excluded.updated_by, updated_as = excluded.updated_as`, its.Args...))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, what, err)
}

func (r orders) Operations(ctx context.Context, scope store.Scope, order uuid.UUID) ([]record.OperationRecord, error) {
	where := narrow().Owned(scope, "(select dealer_id from orders where id = order_id)").Add("order_id = ?", order)
	items, err := all(ctx, r.read, table.Operations, where, " order by operation")
	if err != nil {
		return nil, r.done(ctx, fmt.Sprintf("list operations of order %v", order), err)
	}
	return items, nil
}
