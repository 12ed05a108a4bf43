package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/store"
)

// LeadTime is when a hatch is done behind the shop's open work, see package backlog.
type LeadTime = backlog.LeadTime

// LeadTimeOptions says what to work out beside the date.
type LeadTimeOptions struct {
	Shorten int  // what-ifs to try at most; each costs as much as the date itself
	Near    bool // molds that make nearly what is asked; each costs the same

	counted map[uuid.UUID]int // pulls of registered molds that are counted on already
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

// place puts what e worked out behind the open work, with the molds that a scope
// covers.
func (s *Service) place(ctx context.Context, e *derivation.Engine, scope store.Scope, result *derivation.Result, now time.Time, o LeadTimeOptions) (*Derived, error) {
	due, err := s.leadTime(ctx, e, scope, result, now, o)
	if err != nil {
		return nil, err
	}
	return derived(result, due), nil
}
