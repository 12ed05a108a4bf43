package service

import (
	"context"
	"time"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/part"
)

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
