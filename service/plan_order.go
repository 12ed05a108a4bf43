package service

import (
	"errors"
	"time"

	"hatchwright/service/backlog"
	"hatchwright/service/schedule"
)

const (
	// planBudget is how many schedules the search for the plan's order generates:
	// as many as there are scenarios, so that a refresh takes at most about twice
	// as long as without.
	planBudget = schedule.Scenarios
	planSeed   = 1 // the same work gives the same plan
)

// foresee samples the future of the shop in the plan's order: what the floor
// follows. An order that works by the estimates can come to a standstill over molds
// in a scenario; then plan and scenarios go back to the order of promises.
func (b *Backlog) foresee(now time.Time) error {
	set := schedule.Setup{Jobs: b.jobs, Centers: b.engine.Centers(), Origin: now, Model: b.model, Seed: b.seed(now), Order: b.search.Order}
	var err error
	b.profiles, err = schedule.NewProfiles(set)
	if !errors.Is(err, schedule.ErrMoldDeadlock) {
		return err
	}
	if b.search, err = schedule.Improve(b.expected(), set.Centers, now, 1, planSeed); err != nil {
		return err
	}
	b.plan, set.Order = b.search.Schedule, b.search.Order
	b.profiles, err = schedule.NewProfiles(set)
	return err
}

// hatches is the number of hatches in an order, by what is packed: what an hour
// that the order is late counts. A plan without packing counts as one.
func hatches(p backlog.Plan) int {
	n := 0
	for _, o := range p.Operations {
		if o.Kind == packing {
			n++
		}
	}
	return max(1, n)
}

// packing is the kind of operation that ends a hatch.
const packing = "pack"
