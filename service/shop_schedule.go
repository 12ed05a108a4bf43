package service

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/service/schedule"
)

// ShopSchedule is what the shop does when, by the estimates and what was learned of
// them: the data of a Gantt chart.
type ShopSchedule struct {
	Centers    []CenterRow
	Operations []PlannedOperation // by start
	Orders     []PlannedOrder     // by end
	// Left are orders that could not be scheduled, with why.
	Left    map[string]string
	Backlog BacklogStamp
}

// CenterRow is a work center with its posts.
type CenterRow struct {
	Key   string
	Name  string
	Posts int
}

// PlannedOperation is an operation with its place.
type PlannedOperation struct {
	schedule.Placement // Job is the order's id
	Kind               string
	Started            bool // is being worked on
	Critical           bool // on the chain that decides the order's end
}

// PlannedOrder is an order's end, by the plan and sampled.
type PlannedOrder struct {
	OrderID  uuid.UUID
	DealerID *uuid.UUID
	State    record.OrderState
	Promise  string
	Start    time.Time
	End      time.Time
	Late     time.Duration // of the plan's end past the promise
	// P50, P80 and P95 are the percentiles of the end.
	schedule.Percentiles
	Driver schedule.Share
}

// Span narrows what is asked of a plan; zero ends are open.
type Span struct{ From, To time.Time }

func (s Span) meets(from, to time.Time) bool {
	return (s.To.IsZero() || from.Before(s.To)) && (s.From.IsZero() || to.After(s.From) || to.Equal(from) && !from.Before(s.From))
}

// ShopSchedule returns the plan of the shop's open work as last worked out, the
// operations that meet the span and their orders; for the shop.
func (s *Service) ShopSchedule(_ context.Context, c Caller, span Span) (ShopSchedule, error) {
	var out ShopSchedule
	if err := needShop(c); err != nil {
		return out, err
	}
	b, stamp, err := s.present()
	if err != nil {
		return out, err
	}
	out.Backlog, out.Left = stamp, b.Left
	for _, k := range b.engine.Documents().Profile.Centers {
		out.Centers = append(out.Centers, CenterRow{k.Key, k.Name, k.Posts})
	}
	type at struct{ job, operation string }
	byKey := map[at]*schedule.Operation{}
	critical := map[at]bool{}
	meets := map[string]bool{}
	for i := range b.jobs {
		j := &b.jobs[i]
		for k := range j.Operations {
			byKey[at{j.Key, j.Operations[k].Key}] = &j.Operations[k]
		}
		for _, key := range b.plan.Jobs[i].Critical.Path {
			critical[at{j.Key, key}] = true
		}
	}
	for _, p := range b.plan.Placements {
		if !span.meets(p.Start, p.End) {
			continue
		}
		k := at{p.Job, p.Operation}
		out.Operations = append(out.Operations, PlannedOperation{Placement: p, Kind: byKey[k].Kind, Started: byKey[k].Started, Critical: critical[k]})
		meets[p.Job] = true
	}
	slices.SortStableFunc(out.Operations, func(a, b PlannedOperation) int { return a.Start.Compare(b.Start) })
	percentiles := b.profiles.Backlog()
	for i, f := range b.plan.Jobs {
		if !meets[f.Job] {
			continue
		}
		o := b.orders[f.Job]
		out.Orders = append(out.Orders, PlannedOrder{OrderID: o.ID, DealerID: o.DealerID, State: o.State, Promise: o.Promise, Start: f.Start, End: f.End, Late: f.Late,
			Percentiles: percentiles[i], Driver: f.Critical.Driver})
	}
	slices.SortStableFunc(out.Orders, func(a, b PlannedOrder) int { return a.End.Compare(b.End) })
	return out, nil
}
