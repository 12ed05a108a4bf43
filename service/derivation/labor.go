package derivation

import (
	"hatchwright/service/bill"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
)

// Labor sums the person-hours of steps by kind, molds apart from parts, as the
// bill has them: for a bill over fewer steps than were derived, when molds are
// there already.
func Labor(steps []routing.Step) []bill.Hours { return labor(steps) }

// Calendar returns when the shop works.
func (e *Engine) Calendar() *schedule.Calendar { return e.calendar }

// Centers returns the shop's work centers. Do not change them.
func (e *Engine) Centers() []schedule.Center { return e.centers }
