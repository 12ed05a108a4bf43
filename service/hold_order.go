package service

import (
	"context"
	"fmt"

	"hatchwright/service/order"
	"hatchwright/service/record"
)

// HoldOrder puts an order on hold: a dealer before work began, the shop during it
// too.
func (s *Service) HoldOrder(ctx context.Context, c Caller, n OrderChange, reason string, claim *Claim) (Made[record.Order], error) {
	if err := needReason(reason); err != nil {
		return Made[record.Order]{}, err
	}
	return s.move(ctx, c, n, claim, order.Hold, func(o *record.Order) error {
		if c.Role == record.RoleDealer && o.Version > mostHolds {
			return &order.Refusal{Reason: order.AllowanceFull, Detail: fmt.Sprintf("This order has changed %d times, and a dealer's key puts one on hold only until it has changed %d times. Cancel it, or ask the shop to hold it.", o.Version-1, mostHolds)}
		}
		o.Reason = reason
		return nil
	}, nil)
}
