package service

import (
	"context"

	"hatchwright/service/backlog"
	"hatchwright/service/fault"
)

// ShopSchedule returns the plan of the shop's open work as last worked out, the
// operations that meet the days and their orders; for the shop. The same backlog
// gives the same answer.
func (s *Service) ShopSchedule(_ context.Context, c Caller, days Days) (backlog.ShopSchedule, error) {
	return s.shopSchedule(c, days, backlog.MostDays)
}

// shopSchedule closes an open end at most days after the other.
func (s *Service) shopSchedule(c Caller, days Days, most int) (backlog.ShopSchedule, error) {
	b, stamp, days, err := s.presentWithin(c, days, most)
	if err != nil {
		return backlog.ShopSchedule{}, err
	}
	out, err := b.Schedule(days)
	if err != nil {
		return out, fault.Wrap(fault.Internal, err, "The plan could not be read.")
	}
	out.Backlog = stamp
	return out, nil
}
