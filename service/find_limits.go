package service

import (
	"context"

	"hatchwright/service/derivation"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/service/shop"
)

// Limits is how far each figure of a configuration can go, with the revision of
// the shop's documents that says so.
type Limits struct {
	derivation.Limits
	Revision shop.Revision
}

// FindLimits completes a configuration and says of each of its figures how far it
// can go while the others stay, and of each choice what it can be. Nothing is
// kept. It stops when the context ends.
func (s *Service) FindLimits(ctx context.Context, c Caller, r part.Request) (Limits, error) {
	if err := c.Need(record.RoleStorefront); err != nil {
		return Limits{}, err
	}
	e, err := s.derivations()
	if err != nil {
		return Limits{}, err
	}
	if err := refuse(e, r, ""); err != nil {
		return Limits{}, err
	}
	leave, err := s.gate.enter(ctx, c)
	if err != nil {
		return Limits{}, err
	}
	defer leave()
	l, whole := e.LimitsWhile(r, func() bool { return ctx.Err() == nil })
	if !whole {
		return Limits{}, ended(ctx)
	}
	return Limits{Limits: l, Revision: e.Documents().Revision}, nil
}
