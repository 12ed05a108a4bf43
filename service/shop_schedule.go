package service

import (
	"context"

	"hatchwright/service/backlog"
)

// ShopSchedule returns the plan of the shop's open work as last worked out, the
// operations that meet the days and their orders; for the shop. The same backlog
// gives the same answer.
func (s *Service) ShopSchedule(_ context.Context, c Caller, days Days) (backlog.ShopSchedule, error) {
	return s.shopSchedule(c, days, backlog.MostDays)
}
