package service

import (
	"context"
	"time"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/schedule"
)

// ShopLoad is the work planned at each center on each day.
type ShopLoad struct {
	Days    Days          // answered, both ends set
	Until   schedule.Date // last day of any planned work
	Zone    *time.Location
	Centers []CenterRow
	// Loads are by center and date, from the day of the backlog on. On that day only
	// what is left of it counts.
	Loads   []schedule.DayLoad
	Backlog BacklogStamp
	engine  *derivation.Engine // that it was planned with
}

// ShopLoad returns the load of the work centers by day, of the plan as last worked
// out; for the shop. The same backlog gives the same answer.
func (s *Service) ShopLoad(_ context.Context, c Caller, days Days) (ShopLoad, error) {
	return s.shopLoad(c, days, MostDays)
}

func (s *Service) shopLoad(c Caller, days Days, most int) (ShopLoad, error) {
	var out ShopLoad
	if err := needShop(c); err != nil {
		return out, err
	}
	b, stamp, err := s.present()
	if err != nil {
		return out, err
	}
	first, last := b.days()
	if days, err = days.within(first, last, most); err != nil {
		return out, err
	}
	out = ShopLoad{Days: days, Until: last, Zone: b.engine.Location(), Centers: b.centers(), Backlog: stamp, engine: b.engine}
	loads, err := schedule.Load(b.plan, b.engine.Centers(), days.To)
	if err != nil {
		return out, fault.Wrap(fault.Internal, err, "The load could not be summed.")
	}
	for _, d := range loads {
		if days.holds(d.Date) {
			out.Loads = append(out.Loads, d)
		}
	}
	return out, nil
}
