package backlog

import (
	"errors"
	"time"

	"hatchwright/service/schedule"
)

const (
	// planBudget is how many schedules the search for the plan's order generates at
	// most: with planWork, about what the scenarios cost again, as long as there are
	// a hundred orders or two.
	planBudget = schedule.Scenarios
	// planWork is how many operations are placed in all those schedules, so that the
	// search grows no more once there are more: near half a second of one core, beside
	// scenarios that take several seconds at a thousand orders. The first schedules
	// find nearly everything: at a thousand orders of the benchmark shop 32 of them
	// 12.5 % less tardiness, 256 of them 12.6 %.
	planWork  = 2_000_000
	planLeast = 32
	planSeed  = 1 // the same work gives the same plan
)

// PlanSchedules is the budget of the search over the orders of so many jobs.
func PlanSchedules(jobs []schedule.Job) int {
	operations := 0
	for i := range jobs {
		operations += len(jobs[i].Operations)
	}
	return min(max(planWork/max(operations, 1), planLeast), planBudget)
}

// foresee samples the future of the shop in the plan's order: what the floor
// follows. An order that works by the estimates can come to a standstill over molds
// in a scenario; then plan and scenarios go back to the order of acceptance.
func (b *Backlog) foresee(now time.Time) error {
	set := schedule.Setup{Jobs: b.Jobs, Centers: b.Engine.Centers(), Origin: now, Model: b.Model, Seed: seed, Order: b.search.Order}
	var err error
	b.Profiles, err = schedule.NewProfiles(set)
	if !errors.Is(err, schedule.ErrMoldDeadlock) {
		return err
	}
	if b.search, err = schedule.Improve(b.expected(), set.Centers, now, 1, planSeed); err != nil {
		return err
	}
	b.Plan, set.Order = b.search.Schedule, b.search.Order
	b.Profiles, err = schedule.NewProfiles(set)
	return err
}

// hatches is the number of hatches in an order, by what is packed: what an hour
// that the order is late counts. A plan without packing counts as one.
func hatches(p Plan) int {
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
