package service

import (
	"context"

	"hatchwright/service/order"
	"hatchwright/service/record"
)

// HoldOrder puts an order on hold: a dealer before work began, the shop during it
// too.
func (s *Service) HoldOrder(ctx context.Context, c Caller, n OrderChange, reason string, claim *Claim) (record.Answer, error) {
	if err := needReason(reason); err != nil {
		return record.Answer{}, err
	}
	return s.move(ctx, c, n, claim, order.Hold, func(o *record.Order) error { o.Reason = reason; return nil }, nil)
}
