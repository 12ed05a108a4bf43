package service

import (
	"context"
	"time"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
)

// LeadTime places a derivation behind the shop's open work, with the molds that are
// there already and the material that is short. It costs the work of one request:
// the future of the shop is sampled elsewhere (KeepBacklog). The same derivation
// behind the same backlog gives the same answer.
//
// The molds looked at are those that the caller may have parts from.
func (s *Service) LeadTime(ctx context.Context, c Caller, r *derivation.Result, o LeadTimeOptions) (*LeadTime, error) {
	if err := c.Need(record.RoleStorefront); err != nil {
		return nil, err
	}
	e, err := s.derivations()
	if err != nil {
		return nil, err
	}
	return s.leadTime(ctx, e, c.Scope(), r, s.now(), o)
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
