package service

import (
	"context"

	"hatchwright/service/order"
	"hatchwright/service/record"
)

// ScheduleOrder gives an order its place in the schedule and the date that
// follows; for the shop, and for whatever keeps its schedule.
func (s *Service) ScheduleOrder(ctx context.Context, c Caller, n OrderChange, promise string, claim *Claim) (Made[record.Order], error) {
	if err := needShop(c); err != nil {
		return Made[record.Order]{}, err
	}
	if err := isoDay("/promise", promise); err != nil {
		return Made[record.Order]{}, err
	}
	return s.move(ctx, c, n, claim, order.Schedule,
		func(o *record.Order) error { o.Promise = promise; return nil },
		func(before record.Order, d *order.OrderData) { d.PromisedBefore = before.Promise })
}

// ChangePromise moves the promised date of an open order and says why; for the
// shop, and for whatever keeps its schedule.
func (s *Service) ChangePromise(ctx context.Context, c Caller, n OrderChange, promise, cause string, claim *Claim) (Made[record.Order], error) {
	if err := needShop(c); err != nil {
		return Made[record.Order]{}, err
	}
	if err := isoDay("/promise", promise); err != nil {
		return Made[record.Order]{}, err
	}
	if err := needReason(cause); err != nil {
		return Made[record.Order]{}, badField("/cause", "missing", "Say why the date moves.")
	}
	return s.move(ctx, c, n, claim, order.PromiseAnew,
		func(o *record.Order) error {
			if o.Promise == promise {
				return badField("/promise", "unchanged", "The order has that date already.")
			}
			o.Promise = promise
			return nil
		},
		func(before record.Order, d *order.OrderData) { d.PromisedBefore, d.Cause = before.Promise, cause })
}
