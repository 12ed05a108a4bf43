package sqlite

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Plans implements store.Registers.
func (r *registers) Plans() store.Plans { return plans{r} }

type plans struct{ *registers }

const planColumns = "order_id, schema_version, body, planned_at, p50, p80, p95, finished_at"

func scanPlan(r row) (p record.OrderPlan, err error) {
	var body *string
	err = r.Scan(&p.OrderID, &p.SchemaVersion, &body, stamp{&p.PlannedAt}, stampOrNull{&p.P50}, stampOrNull{&p.P80}, stampOrNull{&p.P95}, stampOrNull{&p.FinishedAt})
	if body != nil {
		p.Body = []byte(*body)
	}
	return p, err
}

func (r plans) Put(ctx context.Context, scope store.Scope, p record.OrderPlan) error {
	what := fmt.Sprintf("put plan of order %v", p.OrderID)
	if !scope.Whole() {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckPlan(p); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	_, err := r.write.ExecContext(ctx, "insert into order_plans ("+planColumns+") values (?, ?, ?, ?, ?, ?, ?, ?)",
		p.OrderID.String(), p.SchemaVersion, string(p.Body), millis(p.PlannedAt), millisOrNull(p.P50), millisOrNull(p.P80), millisOrNull(p.P95), millisOrNull(p.FinishedAt))
	return r.done(ctx, what, err)
}

func (r plans) Get(ctx context.Context, scope store.Scope, order uuid.UUID) (record.OrderPlan, error) {
	where := shopOnly(scope)
	where.add("order_id = ?", order.String())
	p, err := scanPlan(r.read.QueryRowContext(ctx, "select "+planColumns+" from order_plans"+where.String(), where.args...))
	return p, r.done(ctx, fmt.Sprintf("get plan of order %v", order), err)
}

func (r plans) Open(ctx context.Context, scope store.Scope) ([]record.OrderPlan, error) {
	where := shopOnly(scope)
	where.add("finished_at is null and state <> 'cancelled'")
	items, err := collect(ctx, r.read, "select "+planColumns+" from order_plans join orders on id = order_id"+where.String()+" order by order_id", where.args, scanPlan)
	return items, r.done(ctx, "list open plans", err)
}

func (r plans) Finish(ctx context.Context, scope store.Scope, p record.OrderPlan) error {
	what := fmt.Sprintf("finish plan of order %v", p.OrderID)
	where := shopOnly(scope)
	where.add("order_id = ?", p.OrderID.String())
	n, err := affected(r.write.ExecContext(ctx, "update order_plans set finished_at = coalesce(finished_at, ?)"+where.String(), append([]any{millisOrNull(p.FinishedAt)}, where.args...)...))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, what, err)
}

func (r plans) Outcomes(ctx context.Context, scope store.Scope, limit int) ([]record.OrderPlan, error) {
	where := shopOnly(scope)
	where.add("finished_at is not null and p50 is not null")
	items, err := collect(ctx, r.read, "select order_id, schema_version, null, planned_at, p50, p80, p95, finished_at from order_plans"+where.String()+
		" order by finished_at desc, order_id desc limit ?", append(where.args, max(limit, 0)), scanPlan)
	return items, r.done(ctx, "list outcomes", err)
}

func (r plans) Observe(ctx context.Context, scope store.Scope, o record.Observation) (bool, error) {
	what := fmt.Sprintf("observe operation %q of order %v", o.Operation, o.OrderID)
	if !scope.Whole() {
		return false, fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckObservation(o); err != nil {
		return false, fmt.Errorf("%s: %w", what, err)
	}
	n, err := affected(r.write.ExecContext(ctx, `insert into observations (order_id, operation, kind, estimate, actual, finished_at)
		values (?, ?, ?, ?, ?, ?) on conflict do nothing`, o.OrderID.String(), o.Operation, o.Kind, o.Estimate, o.Actual, millis(o.FinishedAt)))
	return n > 0, r.done(ctx, what, err)
}

func (r plans) Observations(ctx context.Context, scope store.Scope, limit int) ([]record.Observation, error) {
	where := shopOnly(scope)
	items, err := collect(ctx, r.read, "select order_id, operation, kind, estimate, actual, finished_at from observations"+where.String()+
		" order by finished_at desc, order_id desc, operation desc limit ?", append(where.args, max(limit, 0)),
		func(r row) (o record.Observation, err error) {
			return o, r.Scan(&o.OrderID, &o.Operation, &o.Kind, &o.Estimate, &o.Actual, stamp{&o.FinishedAt})
		})
	slices.Reverse(items)
	return items, r.done(ctx, "list observations", err)
}
