package backlog

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/service/schedule"
)

// ShopSchedule is what the shop does when, by the estimates and what was learned of
// them: the data of a Gantt chart.
type ShopSchedule struct {
	Days       Days       // answered, both ends set
	Until      civil.Date // last day of any planned work
	Zone       *time.Location
	Centers    []CenterRow
	Operations []PlannedOperation // by start
	Orders     []PlannedOrder     // by end
	// Left are orders that could not be scheduled, by id.
	Left    []LeftOut
	Backlog Stamp
	Engine  *derivation.Engine // that it was planned with
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
	// Work are the pieces that its labor falls into at the ends of shifts.
	Work     []schedule.Interval
	Started  bool // is being worked on
	Critical bool // on the chain that decides the order's end
}

// PlannedOrder is an order's end, by the plan and sampled.
type PlannedOrder struct {
	OrderID   uuid.UUID
	DealerID  *uuid.UUID
	Reference string // the dealer's own, "" for none
	State     record.OrderState
	Promise   string
	Start     time.Time
	End       time.Time
	Late      time.Duration // of the plan's end past the promise
	// P50, P80 and P95 are the percentiles of the end.
	schedule.Percentiles
	Driver schedule.Share
}

// Name is what people call an order: by the dealer's own reference and the
// dealer (names are those of dealers), or by the end of its id, which tells ids of one day apart.
func (o PlannedOrder) Name(names map[uuid.UUID]string) string {
	name := o.Reference
	if name == "" {
		id := o.OrderID.String()
		name = "…" + id[len(id)-6:]
	}
	if o.DealerID != nil && names[*o.DealerID] != "" {
		name += ", " + names[*o.DealerID]
	}
	return name
}

// LeftOut is an order that could not be scheduled.
type LeftOut struct {
	OrderID uuid.UUID
	Why     string
}

// centerRows are the work centers of the profile.
func (b *Backlog) centerRows() []CenterRow {
	var out []CenterRow
	for _, k := range b.Engine.Documents().Profile.Centers {
		out = append(out, CenterRow{k.Key, k.Name, k.Posts})
	}
	return out
}

// Span is from which date to which the backlog has work, with its first day even
// where there is none.
func (b *Backlog) Span() (first, last civil.Date) {
	zone := b.Engine.Location()
	first = civil.DateOf(b.MadeAt, zone)
	last = first
	for _, f := range b.Plan.Jobs {
		if d := civil.DateOf(f.End, zone); d.Compare(last) > 0 {
			last = d
		}
	}
	return first, last
}

// Schedule is the plan of the open work within a closed span: the operations that meet the days and their orders. Error: a plan
// that contradicts itself.
func (b *Backlog) Schedule(days Days) (ShopSchedule, error) {
	_, last := b.Span()
	out := ShopSchedule{Days: days, Until: last, Zone: b.Engine.Location(), Centers: b.centerRows(), Engine: b.Engine}
	for _, key := range slices.Sorted(maps.Keys(b.Left)) {
		id, err := uuid.Parse(key)
		if err != nil {
			return out, err
		}
		out.Left = append(out.Left, LeftOut{id, b.Left[key]})
	}
	var err error
	calendars := map[string]*schedule.Calendar{}
	for _, k := range b.Engine.Centers() {
		calendars[k.Key] = k.Calendar
	}
	type at struct{ job, operation string }
	byKey := map[at]*schedule.Operation{}
	critical := map[at]bool{}
	meets := map[string]bool{}
	for i := range b.Jobs {
		j := &b.Jobs[i]
		for k := range j.Operations {
			byKey[at{j.Key, j.Operations[k].Key}] = &j.Operations[k]
		}
		for _, key := range b.Plan.Jobs[i].Critical.Path {
			critical[at{j.Key, key}] = true
		}
	}
	for _, p := range b.Plan.Placements {
		if !days.Meets(p.Start, p.End, out.Zone) {
			continue
		}
		k := at{p.Job, p.Operation}
		o := PlannedOperation{Placement: p, Kind: byKey[k].Kind, Started: byKey[k].Started, Critical: critical[k]}
		if calendar := calendars[p.WorkCenter]; calendar != nil && p.LaborEnd.After(p.Start) {
			if o.Work, err = calendar.Openings(p.Start, p.LaborEnd); err != nil {
				return out, fmt.Errorf("order %s, %s: %w", p.Job, p.Operation, err)
			}
		}
		out.Operations = append(out.Operations, o)
		meets[p.Job] = true
	}
	slices.SortStableFunc(out.Operations, func(a, b PlannedOperation) int { return a.Start.Compare(b.Start) })
	percentiles := b.Profiles.Backlog()
	for i, f := range b.Plan.Jobs {
		if !meets[f.Job] {
			continue
		}
		o := b.Open[f.Job]
		out.Orders = append(out.Orders, PlannedOrder{OrderID: o.ID, DealerID: o.DealerID, Reference: o.PurchaseReference, State: o.State, Promise: o.Promise,
			Start: f.Start, End: f.End, Late: f.Late, Percentiles: percentiles[i], Driver: f.Critical.Driver})
	}
	slices.SortStableFunc(out.Orders, func(a, b PlannedOrder) int { return a.End.Compare(b.End) })
	return out, nil
}
