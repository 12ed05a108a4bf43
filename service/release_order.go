package service

import (
	"context"

	"hatchwright/service/order"
	"hatchwright/service/record"
)

// ReleaseOrder lifts a hold; the order is as it was before. A dealer lifts its own
// holds, the shop any.
func (s *Service) ReleaseOrder(ctx context.Context, c Caller, n OrderChange, claim *Claim) (Made[record.Order], error) {
	return s.move(ctx, c, n, claim, order.Release, func(o *record.Order) error { o.Reason = ""; return nil }, nil)
}
