package service

import (
	"fmt"

	"hatchwright/service/backlog"
	"hatchwright/service/civil"
	"hatchwright/service/fault"
	"hatchwright/service/schedule"
)

// Days is a span of local dates of the shop, see package backlog.
type Days = backlog.Days

// daysWithin closes the open ends: from the day on which the plan begins to the last day
// of its work, at most most days. Ends that were given stay, and are refused where no
// plan can answer them.
func daysWithin(d Days, first, last civil.Date, most int) (Days, error) {
	switch {
	case !d.From.IsZero() && !d.To.IsZero() && d.To.Compare(d.From) < 0:
		return d, badDay("to", "turned_round", "This is before from (%v). Turn the two round, or leave one out.", d.From)
	case !d.From.IsZero() && d.From.Compare(first.AddDays(schedule.HorizonYears*365)) > 0:
		return d, badDay("from", "too_far", "No plan reaches that far: give a day within %d years of today, %v.", schedule.HorizonYears, first)
	}
	openFrom, openTo := d.From.IsZero(), d.To.IsZero()
	if openFrom {
		d.From = first
		if !openTo && d.To.Compare(first) < 0 {
			d.From = d.To
		}
	}
	if openTo {
		if d.To = last; d.To.Compare(d.From) < 0 {
			d.To = d.From
		}
		if end := d.From.AddDays(most - 1); d.To.Compare(end) > 0 {
			d.To = end
		}
	}
	if d.Count() > backlog.MostDays {
		return d, badDay("to", "span_too_long", "From %v to %v are %d days; at most %d are answered at once. Ask for less, and for the rest after it.", d.From, d.To, d.Count(), backlog.MostDays)
	}
	return d, nil
}

func badDay(parameter, code, message string, a ...any) error {
	return &fault.Error{Kind: fault.Invalid, Detail: "The days do not make a span; see errors.", Fields: []fault.Field{{Parameter: parameter, Code: code, Message: fmt.Sprintf(message, a...)}}}
}

// presentWithin is the present backlog for the shop, and the days with their open ends
// closed, at most most of them.
func (s *Service) presentWithin(c Caller, days Days, most int) (*backlog.Backlog, BacklogStamp, Days, error) {
	if err := needShop(c); err != nil {
		return nil, BacklogStamp{}, days, err
	}
	b, stamp, err := s.present()
	if err != nil {
		return nil, stamp, days, err
	}
	first, last := b.Span()
	days, err = daysWithin(days, first, last, most)
	return b, stamp, days, err
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
