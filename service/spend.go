package service

import (
	"context"
	"time"

	"hatchwright/service/record"
)

// Spending is what a caller with a quota has spent of today (UTC).
type Spending struct {
	Quota, Spent int
	Renews       time.Duration // until the day is over
	Taken        bool          // what was asked for was within it
}

// Spend takes units from the caller's quota, in all processes together. A caller
// without one spends nothing: the zero Spending, taken.
func (s *Service) Spend(ctx context.Context, c Caller, units int) (Spending, error) {
	if c.Quota == 0 {
		return Spending{Taken: true}, nil
	}
	now := s.now()
	spent, taken, err := s.store.Keys().Spend(ctx, c.KeyID, record.Day(now), units)
	return Spending{Quota: c.Quota, Spent: spent, Renews: untilTomorrow(now), Taken: taken}, storeFault(err, "key")
}

// Spent tells what a caller had spent when it was found.
func (s *Service) Spent(c Caller) Spending {
	return Spending{Quota: c.Quota, Spent: c.Spent, Renews: untilTomorrow(s.now())}
}

func untilTomorrow(now time.Time) time.Duration {
	u := now.UTC()
	return time.Date(u.Year(), u.Month(), u.Day()+1, 0, 0, 0, 0, time.UTC).Sub(u)
}
