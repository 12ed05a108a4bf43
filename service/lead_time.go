package service

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/schedule"
	"hatchwright/store"
)

// LeadTime is when a hatch is done behind the shop's open work, see package backlog.
type LeadTime = backlog.LeadTime

// BacklogStamp says what open work a date stands behind.
type BacklogStamp = backlog.Stamp

// LeadTimeOptions says what to work out beside the date.
type LeadTimeOptions struct {
	Shorten int  // what-ifs to try at most; each costs as much as the date itself
	Near    bool // molds that make nearly what is asked; each costs the same

	counted map[uuid.UUID]int // pulls of registered molds that are counted on already
}

// LeadTime places a derivation behind the shop's open work, with the molds that are
// there already and the material that is short. It costs the work of one request:
// the future of the shop is sampled elsewhere (KeepBacklog). The same derivation
// behind the same backlog gives the same answer.
//
// The molds looked at are those that the caller may have parts from.
func (s *Service) LeadTime(ctx context.Context, c Caller, r *derivation.Result, o LeadTimeOptions) (*LeadTime, error) {
	if err := c.need(record.RoleStorefront); err != nil {
		return nil, err
	}
	e, err := s.derivations()
	if err != nil {
		return nil, err
	}
	return s.leadTime(ctx, e, c.Scope(), r, s.now(), o)
}

// leadTime is LeadTime of a derivation by e, with the molds that a scope covers.
func (s *Service) leadTime(ctx context.Context, e *derivation.Engine, scope store.Scope, r *derivation.Result, now time.Time, o LeadTimeOptions) (*LeadTime, error) {
	molds, err := s.exactMolds(ctx, scope, r, o.counted)
	if err != nil {
		return nil, storeFault(err, "mold")
	}
	b, stamp, err := s.presentFor(e)
	if err != nil {
		return nil, err
	}
	l, err := b.LeadTime(r, molds, now, o.Shorten, going(ctx))
	if err != nil {
		return nil, leadTimeFault(ctx, err)
	}
	l.Backlog = stamp
	if !o.Near {
		return l, nil
	}
	near, err := s.nearMolds(ctx, scope, r)
	if err != nil {
		return nil, storeFault(err, "mold")
	}
	if l.Near, err = b.NearLeadTimes(r, l, near, now, going(ctx)); err != nil {
		return nil, leadTimeFault(ctx, err)
	}
	return l, nil
}

// LeadTimeOffline is the lead time of an idle shop with the documents that the
// derivation was worked out from: no stock, no register, no open orders. It is what
// the command line answers with.
func LeadTimeOffline(e *derivation.Engine, r *derivation.Result, now time.Time, o LeadTimeOptions) (*LeadTime, error) {
	ctx := context.Background()
	b, err := backlog.Idle(e, now)
	if err != nil {
		return nil, leadTimeFault(ctx, err)
	}
	l, err := b.LeadTime(r, nil, now, o.Shorten, going(ctx))
	if err != nil {
		return nil, leadTimeFault(ctx, err)
	}
	l.Backlog = BacklogStamp{MadeAt: now, Scenarios: b.Profiles.Scenarios(), Stale: true}
	return l, nil
}

// going tells a search whether to go on: until the context ends.
func going(ctx context.Context) func() bool { return func() bool { return ctx.Err() == nil } }

// leadTimeFault says in the callers' words why no lead time could be given.
func leadTimeFault(ctx context.Context, err error) error {
	if errors.Is(err, schedule.ErrStopped) {
		return storeFault(ctx.Err(), "request")
	}
	if errors.Is(err, schedule.ErrTooMany) {
		e := fault.Wrap(fault.Invalid, err, "So many hatches are more work than one order may be: %d operations at most.", schedule.MaxOperations)
		e.Fields = []fault.Field{{Pointer: "/quantity", Code: "too_much_work", Message: "Ask for fewer at a time."}}
		return e
	}
	if errors.Is(err, schedule.ErrNothingOpens) || errors.Is(err, schedule.ErrOutOfRange) {
		return fault.Wrap(fault.Conflict, err, "The shop has no working time for this within %d years. Look at its calendar and its open orders.", schedule.HorizonYears)
	}
	return fault.Wrap(fault.Internal, err, "The shop's documents do not cover this configuration.")
}
