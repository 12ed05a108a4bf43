package service

import (
	"context"

	"hatchwright/service/derivation"
	"hatchwright/service/part"
	"hatchwright/service/record"
)

// CheckConfiguration rules on a configuration. Nothing is kept.
func (s *Service) CheckConfiguration(ctx context.Context, c Caller, r part.Request) (derivation.Ruling, error) {
	if err := c.Need(record.RoleStorefront); err != nil {
		return derivation.Ruling{}, err
	}
	e, err := s.derivations()
	if err != nil {
		return derivation.Ruling{}, err
	}
	if err := refuse(e, r, ""); err != nil {
		return derivation.Ruling{}, err
	}
	leave, err := s.gate.turn(ctx, c, e, 0, r)
	if err != nil {
		return derivation.Ruling{}, err
	}
	defer leave()
	return e.Check(r), nil
}
