package postgres

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Plans implements store.Registers.
func (r *registers) Plans() store.Plans { return plans{r} }

type plans struct{ session }

const planColumns = "order_id, schema_version, body, planned_at, p50, p80, p95, finished_at"

func scanPlan(rows pgx.Rows) (p record.OrderPlan, err error) {
	var body *string
	err = rows.Scan(&p.OrderID, &p.SchemaVersion, &body, &p.PlannedAt, &p.P50, &p.P80, &p.P95, &p.FinishedAt)
	inUTC(&p.PlannedAt, p.P50, p.P80, p.P95, p.FinishedAt)
	if body != nil {
		p.Body = json.RawMessage(*body)
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
	var a added
	err := r.query(ctx, scope, one(&a, scanAdded), `with owner as (
			select exists (select 1 from orders where id = $1::uuid) as there
		), thin as (
			insert into order_plans (`+planColumns+`)
			select $1::uuid, $2::integer, $3::text, $4::timestamptz, $5::timestamptz, $6::timestamptz, $7::timestamptz, $8::timestamptz from owner where owner.there
			on conflict do nothing
			returning order_id
		)
		select owner.there, (select count(*) from thin) from owner`,
		p.OrderID, p.SchemaVersion, string(p.Body), record.Moment(p.PlannedAt), momentOrNil(p.P50), momentOrNil(p.P80), momentOrNil(p.P95), momentOrNil(p.FinishedAt))
	if err == nil {
		err = a.err()
	}
	return r.done(ctx, what, err)
}

func (r plans) Get(ctx context.Context, scope store.Scope, order uuid.UUID) (p record.OrderPlan, err error) {
	where := shopOnly(scope)
	where.add("order_id = $?::uuid", order)
	err = r.query(ctx, scope, one(&p, scanPlan), "select "+planColumns+" from order_plans"+where.String(), where.args...)
	return p, r.done(ctx, fmt.Sprintf("get plan of order %v", order), err)
}

func (r plans) Open(ctx context.Context, scope store.Scope) (items []record.OrderPlan, err error) {
	where := shopOnly(scope)
	where.add("finished_at is null and state <> 'cancelled'")
	err = r.query(ctx, scope, every(&items, scanPlan), "select "+planColumns+" from order_plans join orders on id = order_id"+where.String()+" order by order_id", where.args...)
	return items, r.done(ctx, "list open plans", err)
}

func (r plans) Finish(ctx context.Context, scope store.Scope, p record.OrderPlan) error {
	what := fmt.Sprintf("finish plan of order %v", p.OrderID)
	if !scope.Whole() {
		return fmt.Errorf("%s: %w", what, store.ErrNotFound)
	}
	n, err := exec(ctx, r, scope, "update order_plans set finished_at = coalesce(finished_at, $1::timestamptz) where order_id = $2::uuid", momentOrNil(p.FinishedAt), p.OrderID)
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, what, err)
}

func (r plans) Outcomes(ctx context.Context, scope store.Scope, limit int) (items []record.OrderPlan, err error) {
	where := shopOnly(scope)
	where.add("finished_at is not null and p50 is not null")
	err = r.query(ctx, scope, every(&items, scanPlan), "select order_id, schema_version, null::text, planned_at, p50, p80, p95, finished_at from order_plans"+where.String()+
		" order by finished_at desc, order_id desc limit "+strconv.Itoa(max(limit, 0)), where.args...)
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
	var a added
	err := r.query(ctx, scope, one(&a, scanAdded), `with owner as (
			select exists (select 1 from orders where id = $1::uuid) as there
		), thin as (
			insert into observations (order_id, operation, kind, estimate, actual, finished_at)
			select $1::uuid, $2::text, $3::text, $4::double precision, $5::double precision, $6::timestamptz from owner where owner.there
			on conflict do nothing
			returning order_id
		)
		select owner.there, (select count(*) from thin) from owner`,
		o.OrderID, o.Operation, o.Kind, o.Estimate, o.Actual, record.Moment(o.FinishedAt))
	if err == nil && !a.allowed {
		err = store.ErrNotFound
	}
	return a.rows > 0, r.done(ctx, what, err)
}

func (r plans) Observations(ctx context.Context, scope store.Scope, limit int) (items []record.Observation, err error) {
	where := shopOnly(scope)
	err = r.query(ctx, scope, every(&items, func(rows pgx.Rows) (o record.Observation, err error) {
		err = rows.Scan(&o.OrderID, &o.Operation, &o.Kind, &o.Estimate, &o.Actual, &o.FinishedAt)
		inUTC(&o.FinishedAt)
		return o, err
	}), "select order_id, operation, kind, estimate, actual, finished_at from observations"+where.String()+
		" order by finished_at desc, order_id desc, operation desc limit "+strconv.Itoa(max(limit, 0)), where.args...)
	slices.Reverse(items)
	return items, r.done(ctx, "list observations", err)
}
