package store

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// Plans are the operation graphs of orders, with the dates given and kept, and what
// the floor's reports teach. They are the shop's alone: every other scope covers
// none of them.
type Plans interface {
	// Put adds the plan of an order, once: ErrConflict when there is one;
	// ErrNotFound when the order is not there.
	Put(ctx context.Context, scope Scope, plan record.OrderPlan) error

	// Get returns the plan of an order.
	Get(ctx context.Context, scope Scope, order uuid.UUID) (record.OrderPlan, error)

	// Open returns the plans whose finish is not noted yet, of orders that are not
	// cancelled, by order.
	Open(ctx context.Context, scope Scope) ([]record.OrderPlan, error)

	// Finish notes when the last operation of an order was finished; the first time
	// noted stays. ErrNotFound for an order without a plan.
	Finish(ctx context.Context, scope Scope, plan record.OrderPlan) error

	// Outcomes returns the plans, without their bodies, of finished orders that were
	// given percentiles, the last to finish first, at most limit.
	Outcomes(ctx context.Context, scope Scope, limit int) ([]record.OrderPlan, error)

	// Observe keeps an observation and tells whether it is new: each operation is
	// observed once. ErrNotFound when the order is not there.
	Observe(ctx context.Context, scope Scope, observation record.Observation) (fresh bool, err error)

	// Observations returns the last observations, at most limit, oldest first: by
	// finish, order and operation.
	Observations(ctx context.Context, scope Scope, limit int) ([]record.Observation, error)
}

// CheckPlan says whether a plan can be stored.
func CheckPlan(p record.OrderPlan) error {
	err := first(
		present("order", p.OrderID),
		document("plan", p.Body, true),
		when("time of planning", p.PlannedAt),
		whenever("p50", p.P50),
		whenever("p80", p.P80),
		whenever("p95", p.P95),
		whenever("finish", p.FinishedAt),
	)
	switch {
	case err != nil:
		return err
	case p.SchemaVersion < 1:
		return invalid("the schema version %d is less than 1", p.SchemaVersion)
	case (p.P50 == nil) != (p.P80 == nil), (p.P80 == nil) != (p.P95 == nil):
		return invalid("percentiles are given together")
	}
	return nil
}

// CheckObservation says whether an observation can be stored.
func CheckObservation(o record.Observation) error {
	err := first(
		present("order", o.OrderID),
		text("operation", o.Operation, 1, maxText),
		text("kind", o.Kind, 1, maxText),
		when("finish", o.FinishedAt),
	)
	hours := func(h float64) bool { return h > 0 && h < 1e6 }
	if err == nil && !(hours(o.Estimate) && hours(o.Actual)) {
		return invalid("the hours %v planned and %v taken are no amounts of work", o.Estimate, o.Actual)
	}
	return err
}
