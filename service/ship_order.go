package service

import (
	"context"

	"hatchwright/service/order"
	"hatchwright/service/record"
)

// Shipment says how an order left.
type Shipment struct{ Carrier, Tracking string }

// ShipOrder notes that a ready order left the shop; for the shop.
func (s *Service) ShipOrder(ctx context.Context, c Caller, n OrderChange, by Shipment, claim *Claim) (Made[record.Order], error) {
	if err := needShop(c); err != nil {
		return Made[record.Order]{}, err
	}
	return s.move(ctx, c, n, claim, order.Ship, func(o *record.Order) error {
		o.Carrier, o.Tracking = by.Carrier, by.Tracking
		return nil
	}, nil)
}
