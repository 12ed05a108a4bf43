package service

import (
	"context"

	"hatchwright/service/backlog"
)

// ShopLoad returns the load of the work centers by day, of the plan as last worked
// out; for the shop. The same backlog gives the same answer.
func (s *Service) ShopLoad(_ context.Context, c Caller, days Days) (backlog.ShopLoad, error) {
	return s.shopLoad(c, days, backlog.MostDays)
}
