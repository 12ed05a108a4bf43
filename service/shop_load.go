package service

import (
	"context"

	"hatchwright/service/backlog"
	"hatchwright/service/fault"
)

// ShopLoad returns the load of the work centers by day, of the plan as last worked
// out; for the shop. The same backlog gives the same answer.
func (s *Service) ShopLoad(_ context.Context, c Caller, days Days) (backlog.ShopLoad, error) {
	return s.shopLoad(c, days, backlog.MostDays)
}

// shopLoad closes an open end at most days after the other.
func (s *Service) shopLoad(c Caller, days Days, most int) (backlog.ShopLoad, error) {
	b, stamp, days, err := s.presentWithin(c, days, most)
	if err != nil {
		return backlog.ShopLoad{}, err
	}
	out, err := b.Load(days)
	if err != nil {
		return out, fault.Wrap(fault.Internal, err, "The load could not be summed.")
	}
	out.Backlog = stamp
	return out, nil
}
