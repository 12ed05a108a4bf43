package service

import (
	"context"
	"time"

	"hatchwright/service/derivation"
	"hatchwright/service/part"
	"hatchwright/service/record"
)

// Derive works a configuration out as if work started now. Nothing is kept. The
// error is a *NotMakeableError for one that cannot be made.
func (s *Service) Derive(ctx context.Context, c Caller, r part.Request) (*derivation.Result, error) {
	if err := c.Need(record.RoleStorefront); err != nil {
		return nil, err
	}
	e, err := s.derivations()
	if err != nil {
		return nil, err
	}
	return s.deriveInTurn(ctx, c, e, r, "", s.clock())
}

// DeriveAndPlace works a configuration out and places it behind the shop's open
// work, see LeadTime. Nothing is kept. The error is a *NotMakeableError for one that
// cannot be made.
func (s *Service) DeriveAndPlace(ctx context.Context, c Caller, r part.Request, o LeadTimeOptions) (*Derived, error) {
	if err := c.Need(record.RoleStorefront); err != nil {
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
