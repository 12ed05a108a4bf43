package service

import (
	"context"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/store"
)

// NotMakeableError carries the ruling on a configuration that cannot be made.
type NotMakeableError struct{ Ruling derivation.Ruling }

// Error names the first finding.
func (e *NotMakeableError) Error() string {
	if len(e.Ruling.Findings) == 0 {
		return "not makeable"
	}
	return "not makeable: " + e.Ruling.Findings[0].Message(e.Ruling.Configuration.Units)
}

// Derive works a configuration out as if work started now. Nothing is kept. The
// error is a *NotMakeableError for one that cannot be made.
func (s *Service) Derive(ctx context.Context, c Caller, r part.Request) (*derivation.Result, error) {
	if err := c.need(record.RoleStorefront); err != nil {
		return nil, err
	}
	e, err := s.derivations()
	if err != nil {
		return nil, err
	}
	return s.deriveInTurn(ctx, c, e, r, "", s.clock())
}

// deriveInTurn is derive for a request of somebody's, which waits for its turn where
// it takes a search.
func (s *Service) deriveInTurn(ctx context.Context, c Caller, e *derivation.Engine, r part.Request, at string, start time.Time) (*derivation.Result, error) {
	leave, err := s.gate.turn(ctx, c, e, 1, r)
	if err != nil {
		return nil, err
	}
	defer leave()
	return deriveWhile(ctx, e, r, at, start)
}

// deriveWhile is derive unless the context has ended before it or ends meanwhile: what is
// to be placed behind the open work, or drawn, after that is then not begun.
func deriveWhile(ctx context.Context, e *derivation.Engine, r part.Request, at string, start time.Time) (*derivation.Result, error) {
	if ctx.Err() != nil {
		return nil, ended(ctx)
	}
	result, err := derive(e, r, at, start)
	if err == nil && ctx.Err() != nil {
		return nil, ended(ctx)
	}
	return result, err
}

// derive is what the API and the command line share. at is where the configuration
// stands in the body that was sent.
func derive(e *derivation.Engine, r part.Request, at string, start time.Time) (*derivation.Result, error) {
	if err := refuse(e, r, at); err != nil {
		return nil, err
	}
	result, err := e.Derive(r, start.In(e.Location()))
	if err != nil {
		return nil, fault.Wrap(fault.Internal, err, "The shop's documents do not cover this configuration.")
	}
	if !result.Makeable() {
		return nil, &NotMakeableError{Ruling: result.Ruling}
	}
	return &result, nil
}

// Derived is a configuration worked out and placed behind the shop's open work.
type Derived struct {
	*derivation.Result
	Due *LeadTime
}

// DeriveAndPlace works a configuration out and places it behind the shop's open
// work, see LeadTime. Nothing is kept. The error is a *NotMakeableError for one that
// cannot be made.
func (s *Service) DeriveAndPlace(ctx context.Context, c Caller, r part.Request, o LeadTimeOptions) (*Derived, error) {
	if err := c.need(record.RoleStorefront); err != nil {
		return nil, err
	}
	e, err := s.derivations()
	if err != nil {
		return nil, err
	}
	leave, err := s.gate.turn(ctx, c, e, 1+o.Shorten, r)
	if err != nil {
		return nil, err
	}
	defer leave()
	now := s.now()
	result, err := deriveWhile(ctx, e, r, "", now)
	if err != nil {
		return nil, err
	}
	return s.place(ctx, e, c.Scope(), result, now, o)
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

// promiseSource is what a promise rests on, as a finding says it.
const promiseSource = "the day by which the work is done in 80 % of the sampled futures of the shop, behind its open work"

// derived puts a result and its lead time together: what the result says of the date
// that is wanted is from then on by the promise.
func derived(r *derivation.Result, due *LeadTime) *Derived {
	r.Promise(civil.DateOf(due.Start, due.Start.Location()), due.Promise, promiseSource)
	return &Derived{Result: r, Due: due}
}

// DeriveOffline works a configuration out with the documents of the example shop,
// without a store: what a new store would answer.
func DeriveOffline(r part.Request, start time.Time, o LeadTimeOptions) (*Derived, error) {
	d, err := exampleDocuments()
	if err != nil {
		return nil, err
	}
	e, err := derivation.New(d)
	if err != nil {
		return nil, err
	}
	start = record.Moment(start)
	result, err := derive(e, r, "", start)
	if err != nil {
		return nil, err
	}
	due, err := LeadTimeOffline(e, result, start, o)
	if err != nil {
		return nil, err
	}
	return derived(result, due), nil
}

// Location returns the shop's time zone, UTC while no documents are loaded.
func (s *Service) Location() *time.Location {
	if e := s.engine.Load(); e != nil {
		return e.Location()
	}
	return time.UTC
}
