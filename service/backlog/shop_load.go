package backlog

import (
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/schedule"
)

// ShopLoad is the work planned at each center on each day.
type ShopLoad struct {
	Days    Days       // answered, both ends set
	Until   civil.Date // last day of any planned work
	Zone    *time.Location
	Centers []CenterRow
	// Loads are by center and date, from the day of the backlog on. On that day only
	// what is left of it counts.
	Loads   []schedule.DayLoad
	Backlog Stamp
	Engine  *derivation.Engine // that it was planned with
}

// Load is the load of the work centers by day within a closed span. Error: a plan that
// contradicts itself.
func (b *Backlog) Load(days Days) (ShopLoad, error) {
	_, last := b.Span()
	out := ShopLoad{Days: days, Until: last, Zone: b.Engine.Location(), Centers: b.centerRows(), Engine: b.Engine}
	loads, err := schedule.Load(b.Plan, b.Engine.Centers(), days.To)
	for _, d := range loads {
		if days.Holds(d.Date) {
			out.Loads = append(out.Loads, d)
		}
	}
	return out, err
}
