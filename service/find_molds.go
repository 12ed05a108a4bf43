package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/store"
)

// GetMold returns a mold that the caller may have parts from.
func (s *Service) GetMold(ctx context.Context, c Caller, id uuid.UUID) (record.Mold, error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return record.Mold{}, err
	}
	m, err := s.store.Molds().Get(ctx, c.Scope(), id)
	return m, storeFault(err, "mold")
}

// ListMolds lists the molds that the caller may have parts from, newest first.
func (s *Service) ListMolds(ctx context.Context, c Caller, f store.MoldFilter, p store.Page) (store.Listing[record.Mold], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return store.Listing[record.Mold]{}, err
	}
	list, err := s.store.Molds().List(ctx, c.Scope(), f, p)
	return list, storeFault(err, "mold")
}

// FindMolds looks in the register for molds that a hatch could come out of, within
// the customer's tolerance of size: near molds with the days and the money that
// each saves against asked, which is the lead time of the same derivation. Molds
// that are exactly those asked for are in asked already and not offered again.
func (s *Service) FindMolds(ctx context.Context, c Caller, r *derivation.Result, asked *LeadTime) ([]backlog.NearMold, error) {
	if err := c.Need(record.RoleStorefront); err != nil {
		return nil, err
	}
	near, err := s.nearMolds(ctx, c.Scope(), r)
	if err != nil {
		return nil, storeFault(err, "mold")
	}
	if len(near) == 0 {
		return nil, nil
	}
	b, _, err := s.present()
	if err != nil {
		return nil, err
	}
	list, err := b.NearLeadTimes(r, asked, near, s.now(), going(ctx))
	if err != nil {
		return nil, leadTimeFault(ctx, err)
	}
	return list, nil
}
