package service

import (
	"context"

	"hatchwright/service/order"
	"hatchwright/service/record"
)

// CancelOrder cancels an order: a dealer before work began, the shop until it is
// shipped.
func (s *Service) CancelOrder(ctx context.Context, c Caller, n OrderChange, reason string, claim *Claim) (record.Answer, error) {
	if err := needReason(reason); err != nil {
		return record.Answer{}, err
	}
	return s.move(ctx, c, n, claim, order.Cancel, func(o *record.Order) error { o.Reason = reason; return nil }, nil)
}
