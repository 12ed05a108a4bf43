package sqlite

import (
	"context"
	"fmt"
	"slices"
	"strconv"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Plans implements store.Registers.
func (r *registers) Plans() store.Plans { return plans{r} }

type plans struct{ *registers }

func (r plans) Put(ctx context.Context, scope store.Scope, p record.OrderPlan) error {
	what := fmt.Sprintf("put plan of order %v", p.OrderID)
	if err := store.Admit(what, scope.Whole(), store.CheckPlan(p)); err != nil {
		return err
	}
	return r.done(ctx, what, insert(ctx, r.write, table.Plans, &p))
}

func (r plans) Get(ctx context.Context, scope store.Scope, order uuid.UUID) (record.OrderPlan, error) {
	where := narrow().ShopOnly(scope).Add("order_id = ?", order)
	p, err := find(ctx, r.read, table.Plans, where, "")
	return p, r.done(ctx, fmt.Sprintf("get plan of order %v", order), err)
}

func (r plans) Open(ctx context.Context, scope store.Scope) ([]record.OrderPlan, error) {
	where := narrow().ShopOnly(scope).Add("finished_at is null and (select state from orders where id = order_id) <> 'cancelled'")
	items, err := all(ctx, r.read, table.Plans, where, " order by order_id")
	return items, r.done(ctx, "list open plans", err)
}

func (r plans) Finish(ctx context.Context, scope store.Scope, p record.OrderPlan) error {
	what := fmt.Sprintf("finish plan of order %v", p.OrderID)
	where := narrow(p.FinishedAt).ShopOnly(scope).Add("order_id = ?", p.OrderID)
	n, err := affected(r.write.ExecContext(ctx, "update order_plans set finished_at = coalesce(finished_at, ?)"+where.String(), where.Args...))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, what, err)
}

func (r plans) Outcomes(ctx context.Context, scope store.Scope, limit int) ([]record.OrderPlan, error) {
	where := narrow().ShopOnly(scope).Add("finished_at is not null and p50 is not null")
	items, err := all(ctx, r.read, table.Plans.Without("body"), where, " order by finished_at desc, order_id desc limit "+strconv.Itoa(max(limit, 0)))
	return items, r.done(ctx, "list outcomes", err)
}

func (r plans) Observe(ctx context.Context, scope store.Scope, o record.Observation) (bool, error) {
	what := fmt.Sprintf("observe operation %q of order %v", o.Operation, o.OrderID)
	if err := store.Admit(what, scope.Whole(), store.CheckObservation(o)); err != nil {
		return false, err
	}
	statement, _, args, err := table.Observations.Insert(dialect, &o)
	if err != nil {
		return false, fmt.Errorf("%s: %w", what, err)
	}
	// Without the condition: an order that is not there is told from one observed already.
	n, err := affected(r.write.ExecContext(ctx, statement+" where true on conflict do nothing", args...))
	return n > 0, r.done(ctx, what, err)
}

func (r plans) Observations(ctx context.Context, scope store.Scope, limit int) ([]record.Observation, error) {
	where := narrow().ShopOnly(scope)
	items, err := all(ctx, r.read, table.Observations, where, " order by finished_at desc, order_id desc, operation desc limit "+strconv.Itoa(max(limit, 0)))
	slices.Reverse(items)
	return items, r.done(ctx, "list observations", err)
}
