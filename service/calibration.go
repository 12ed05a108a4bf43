package service

import (
	"cmp"
	"context"
	"slices"

	"hatchwright/service/backlog"
	"hatchwright/service/schedule"
)

// Calibration is what the floor's reports have taught, and how well the dates given
// were kept.
type Calibration struct {
	Kinds []backlog.Learned // sorted by kind
	// Refused are reports that nothing can be learned from.
	Refused int
	// Coverage counts the orders that were finished by the percentiles they were
	// given when they were accepted.
	Coverage schedule.Coverage
	Backlog  BacklogStamp
}

// ShopCalibration returns the learned factors and the coverage; for the shop.
func (s *Service) ShopCalibration(_ context.Context, c Caller) (Calibration, error) {
	var out Calibration
	if err := needShop(c); err != nil {
		return out, err
	}
	b, stamp, err := s.present()
	if err != nil {
		return out, err
	}
	out.Backlog, out.Refused, out.Coverage = stamp, b.Refused, b.Coverage
	for _, l := range b.Learned {
		out.Kinds = append(out.Kinds, l)
	}
	slices.SortFunc(out.Kinds, func(a, b backlog.Learned) int { return cmp.Compare(a.Kind, b.Kind) })
	return out, nil
}
