package backlog

import (
	"slices"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/schedule"
)

// NeedDays are the days on which the first operation of each kind begins when an order
// is put among the open ones, no later than its promise. Errors are those of the
// schedule; hours of the plan that are none give no days.
func (b *Backlog) NeedDays(p Plan, id string, promise civil.Date, now time.Time) (map[string]civil.Date, error) {
	f := b.floor(now)
	job, _, err := p.Unfinished(id, nil, f)
	if err != nil {
		return nil, nil //nolint:nilerr // hours that are none were warned of; the promise does
	}
	job.Accepted, job.Promised = now, promise.AddDays(1).At(0, f.Calendar.Location())
	all := *b
	all.Jobs = append(slices.Clone(b.Jobs), job)
	plan, err := schedule.Serial(all.expected(), b.Engine.Centers(), now, nil)
	if err != nil {
		return nil, err
	}
	kinds := map[string]string{}
	for _, o := range job.Operations {
		kinds[o.Key] = o.Kind
	}
	on := map[string]civil.Date{}
	for _, at := range plan.Placements {
		if at.Job != job.Key {
			continue
		}
		day := civil.DateOf(at.Start, b.Engine.Location())
		if day.Compare(promise) > 0 {
			day = promise
		}
		kind := kinds[at.Operation]
		if first, there := on[kind]; !there || day.Compare(first) < 0 {
			on[kind] = day
		}
	}
	return on, nil
}
