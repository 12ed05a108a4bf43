package backlog

import (
	"crypto/sha256"
	"slices"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/service/schedule"
	"hatchwright/service/stockroom"
)

// Backlog is the shop's open work as worked out from a Snapshot, for reading only.
type Backlog struct {
	// Version names what it was worked out from: it changes when that does.
	Version string
	MadeAt  time.Time // nothing starts before it
	Engine  *derivation.Engine
	Orders  int                     // open orders in the plan
	Open    map[string]record.Order // they, by id
	Held    map[string]bool         // orders on hold or ready, which are not in it: true for those on hold
	// Left are orders that could not be scheduled, with why: they take no capacity.
	Left map[string]string
	// Waits is material that is short, by order.
	Waits map[string][]MaterialWait
	Needs []OrderNeed
	Shelf Shelf

	Jobs     []schedule.Job
	Plan     schedule.Schedule // by the estimates, learned factors included
	Profiles *schedule.Profiles
	search   schedule.Improvement

	// What the floor's reports have taught. Refused are reports that nothing can be
	// learned from; Coverage counts finished orders by the percentiles they were given.
	Model    schedule.Model
	Learned  map[string]Learned
	Refused  int
	Coverage schedule.Coverage
}

// OrderNeed is material that an open order still takes.
type OrderNeed struct {
	Order, Material string
	Amount          stockroom.Amount // not reserved and not used yet
	On              civil.Date       // the day on which its operation begins
}

// Snapshot is what a backlog is worked out from, all of it as of one instant.
type Snapshot struct {
	Now          time.Time
	Engine       *derivation.Engine
	Orders       []record.Order // received, scheduled, in work, on hold or ready
	Plans        map[uuid.UUID]Plan
	Reports      map[uuid.UUID][]Report // of orders in work
	Observations []Observation
	Outcomes     []record.OrderPlan // of finished orders, with their percentiles
	Reservations []record.Reservation
	Shelf        Shelf
}

// Operations is the number of operations that are left to do.
func (b *Backlog) Operations() int { return len(b.Plan.Placements) }

// expected are the jobs with the learned factors in their labor: what the plan is
// drawn by.
func (b *Backlog) expected() []schedule.Job {
	out := make([]schedule.Job, len(b.Jobs))
	for k, j := range b.Jobs {
		j.Operations = slices.Clone(j.Operations)
		for i := range j.Operations {
			o := &j.Operations[i]
			if s, ok := b.Model.Kinds[o.Kind]; ok {
				o.Labor = time.Duration(float64(o.Labor) * s.Factor).Round(time.Second)
			}
		}
		out[k] = j
	}
	return out
}

// seed is always the same, and so are the draws of each operation: from one
// backlog to the next dates move by what happened, not by luck.
var seed = sha256.Sum256([]byte("hatchwright backlog"))
