package derivation

import (
	"errors"

	"hatchwright/service/finding"
	"hatchwright/service/quantity"
	"hatchwright/service/schedule"
)

// beyondPlanning turns work that no calendar of the shop ever comes to the end of, or
// that is more than one job may be, into a finding; nil for any other error.
func beyondPlanning(err error, hatches float64, steps int) *finding.Finding {
	f := finding.Finding{Severity: finding.Error, Pointer: "/quantity"}
	switch {
	case errors.Is(err, schedule.ErrTooMany):
		f.Code, f.Source = "lead_time.too_much_work", "bound of one order's operations"
		f.Measured, f.Limit = quantity.Of(float64(steps), quantity.Count), quantity.Of(schedule.MaxOperations, quantity.Count)
		f = f.Say("So many hatches are %v operations, and one order has %v at most. Ask for fewer at a time.", f.Measured, f.Limit)
	case errors.Is(err, schedule.ErrNothingOpens), errors.Is(err, schedule.ErrOutOfRange):
		f.Code, f.Source = "lead_time.never_ends", "shop calendar, rates and waits"
		f.Measured, f.Limit = quantity.Of(hatches, quantity.Count), quantity.Of(0, quantity.Count)
		f = f.Say("The work on so many hatches (measured: how many) has no end within %d years by the shop's hours, rates and waits. Ask for fewer; where one alone has none, the shop's profile is to be mended.", schedule.HorizonYears)
	default:
		return nil
	}
	return &f
}
