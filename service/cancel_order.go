package service

import (
	"context"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// CancelOrder cancels an order: a dealer before work began, the shop until it is
// shipped. What it has reserved and not used is free again; its capacity is, as its
// plan is no longer open.
func (s *Service) CancelOrder(ctx context.Context, c Caller, n OrderChange, reason string, claim *Claim) (Made[record.Order], error) {
	if err := needReason(reason); err != nil {
		return Made[record.Order]{}, err
	}
	return s.move(ctx, c, n, claim, order.Cancel, func(o *record.Order) error { o.Reason = reason; return nil }, nil,
		func(ctx context.Context, tx store.Registers, o record.Order) error { return s.free(ctx, tx, c, o.ID) })
}
