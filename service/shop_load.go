package service

import (
	"context"

	"hatchwright/service/fault"
	"hatchwright/service/schedule"
)

// ShopLoad is the work planned at each center on each day.
type ShopLoad struct {
	Centers []CenterRow
	Days    []schedule.DayLoad // by center and date
	Backlog BacklogStamp
}

// ShopLoad returns the load of the work centers by day, of the plan as last worked
// out, from one local date to another, both included; a zero date is open; for the
// shop.
func (s *Service) ShopLoad(_ context.Context, c Caller, from, to schedule.Date) (ShopLoad, error) {
	var out ShopLoad
	if err := needShop(c); err != nil {
		return out, err
	}
	b, stamp, err := s.present()
	if err != nil {
		return out, err
	}
	out.Backlog = stamp
	for _, k := range b.engine.Documents().Profile.Centers {
		out.Centers = append(out.Centers, CenterRow{k.Key, k.Name, k.Posts})
	}
	days, err := schedule.Load(b.plan, b.engine.Centers())
	if err != nil {
		return out, fault.Wrap(fault.Internal, err, "The load could not be summed.")
	}
	for _, d := range days {
		if (from.IsZero() || d.Date.Compare(from) >= 0) && (to.IsZero() || d.Date.Compare(to) <= 0) {
			out.Days = append(out.Days, d)
		}
	}
	return out, nil
}
