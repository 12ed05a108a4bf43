package service

import (
	"context"
	"time"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/part"
	"hatchwright/service/record"
)

// gateWait is how long a search waits for its turn before it is refused: half of
// what people take for an answer that does not come (common practice, no source).
const gateWait = 2 * time.Second

// gate lets so many expensive searches run in one process at once. Storefronts,
// whose keys everybody can read, leave one place to the others, so that they cannot
// keep the shop from its work.
type gate struct {
	places, fronts chan struct{} // nil: no limit
	wait           time.Duration
}

func newGate(places int) gate {
	if places <= 0 {
		return gate{}
	}
	return gate{places: make(chan struct{}, places), fronts: make(chan struct{}, max(1, places-1)), wait: gateWait}
}

// enter waits for a turn and returns what ends it. The error is a fault: the turn did
// not come, or the context ended.
func (g gate) enter(ctx context.Context, c Caller) (leave func(), err error) {
	if g.places == nil {
		return func() {}, nil
	}
	over := time.NewTimer(g.wait)
	defer over.Stop()
	take := func(turns chan struct{}) error {
		select {
		case turns <- struct{}{}:
			return nil
		default:
		}
		select {
		case turns <- struct{}{}:
			return nil
		case <-over.C:
			return fault.New(fault.Busy, "Too many searches of this kind are being worked on. Nothing was done; try again.")
		case <-ctx.Done():
			return ended(ctx)
		}
	}
	front := c.Role == record.RoleStorefront
	if front {
		if err := take(g.fronts); err != nil {
			return nil, err
		}
	}
	if err := take(g.places); err != nil {
		if front {
			<-g.fronts
		}
		return nil, err
	}
	return func() {
		<-g.places
		if front {
			<-g.fronts
		}
	}, nil
}

// piecesInTurn is from how many pieces on a request takes its turn at the gate: placing
// so many behind the open work takes about three times as long as placing one.
const piecesInTurn = 20

// turn is enter for configurations with a schedule that is to be found, or with so many
// pieces that placing them takes as long, each of them so many times over (0: they are not
// placed). The others take no time to speak of.
func (g gate) turn(ctx context.Context, c Caller, e *derivation.Engine, times int, list ...part.Request) (leave func(), err error) {
	pieces := 0
	for _, r := range list {
		asked := r.Laminate.Schedule
		if !r.Has(scheduleAt) {
			asked, _ = e.Documents().Profile.Defaults[scheduleAt].(string)
		}
		if asked == part.ScheduleAuto {
			return g.enter(ctx, c)
		}
		pieces += piecesAsked(e, r)
	}
	if pieces*times < piecesInTurn {
		return func() {}, nil
	}
	return g.enter(ctx, c)
}

// batchSlots are the configurations of batches that one process works on at once,
// whoever sent them, so that a few large batches do not keep single requests from
// being answered.
const batchSlots = 2
