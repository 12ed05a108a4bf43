package backlog

import (
	"errors"
	"slices"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/service/schedule"
)

// New plans the orders, samples their future and says what material they lack.
func New(s Snapshot) (*Backlog, error) {
	b := &Backlog{MadeAt: s.Now, Engine: s.Engine, Open: map[string]record.Order{}, Held: map[string]bool{}, Waits: map[string][]MaterialWait{}, Left: map[string]string{}, Shelf: s.Shelf}
	var err error
	if b.Model, b.Learned, b.Refused, err = Learn(s.Engine.Documents().Profile, s.Observations); err != nil {
		return nil, err
	}
	for _, o := range s.Outcomes {
		b.Coverage = b.Coverage.Observe(schedule.Percentiles{P50: *o.P50, P80: *o.P80, P95: *o.P95}, *o.FinishedAt)
	}
	b.take(s)
	materials := b.await(s.Plans, s.Reservations)
	if err := b.sample(s.Now); err != nil {
		return nil, err
	}
	b.date(materials)
	return b, nil
}

// Idle is the backlog of a shop with nothing to do.
func Idle(e *derivation.Engine, now time.Time) (*Backlog, error) {
	return New(Snapshot{Now: now, Engine: e})
}

// take makes the jobs of the orders that work goes on at. An order on hold takes no
// capacity until it is released.
func (b *Backlog) take(s Snapshot) {
	f := b.floor(s.Now)
	for _, o := range s.Orders {
		key := o.ID.String()
		if o.State == record.OrderOnHold || o.State == record.OrderReady {
			b.Held[key] = o.State == record.OrderOnHold
			continue
		}
		job, left, err := s.Plans[o.ID].Unfinished(key, s.Reports[o.ID], f)
		if err != nil {
			b.Left[key] = err.Error()
			continue
		}
		if !left {
			continue
		}
		job.Accepted, job.Weight = o.CreatedAt, hatches(s.Plans[o.ID])
		if d, err := civil.ParseDate(o.Promise); err == nil {
			job.Promised = d.AddDays(1).At(0, f.Calendar.Location())
		}
		b.Open[key] = o
		b.Jobs = append(b.Jobs, job)
	}
}

// floor is what it takes to tell at an instant what is left of an order.
func (b *Backlog) floor(now time.Time) Floor {
	return Floor{Now: now, Calendar: b.Engine.Calendar(), Model: b.Model}
}

// mostLeftOut is how many orders are left out of the schedule before it is given
// up: so many point to the profile and not to them.
const mostLeftOut = 100

// sample schedules the jobs by estimate and in every scenario. A job that cannot be
// scheduled is left out and named.
func (b *Backlog) sample(now time.Time) error {
	b.share()
	b.Orders = len(b.Jobs)
	centers := b.Engine.Centers()
	for tries := 0; ; tries++ {
		search, err := schedule.Improve(b.expected(), centers, now, PlanSchedules(b.Jobs), planSeed)
		if err == nil {
			b.search, b.Plan = search, search.Schedule
			break
		}
		key := culprit(err)
		i := slices.IndexFunc(b.Jobs, func(j schedule.Job) bool { return j.Key == key })
		if i < 0 || tries >= mostLeftOut {
			return err
		}
		b.Left[key] = err.Error()
		b.Jobs = slices.Delete(b.Jobs, i, i+1)
	}
	b.Orders = len(b.Jobs)
	return b.foresee(now)
}

// share settles who is in a mold that two orders are recorded to be in: the one
// accepted first; the other's records are taken not to need it.
func (b *Backlog) share() {
	order := make([]int, len(b.Jobs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return b.Jobs[x].Accepted.Compare(b.Jobs[y].Accepted) })
	holder := map[string]string{}
	for _, k := range order {
		j := &b.Jobs[k]
		held := slices.Clone(j.Holds)
		for _, o := range j.Operations {
			if o.Started && o.Mold != "" {
				held = append(held, o.Mold)
			}
		}
		for _, m := range held {
			if other, taken := holder[m]; !taken || other == j.Key {
				holder[m] = j.Key
				continue
			}
			j.Holds = slices.DeleteFunc(slices.Clone(j.Holds), func(h string) bool { return h == m })
			for i := range j.Operations {
				if j.Operations[i].Mold == m {
					j.Operations[i].Mold = ""
				}
			}
		}
	}
}

// culprit is the job that an error of the schedule names.
func culprit(err error) string {
	var o *schedule.OperationError
	var c *schedule.CycleError
	switch {
	case errors.As(err, &o):
		return o.Job
	case errors.As(err, &c):
		return c.Job
	}
	return ""
}
