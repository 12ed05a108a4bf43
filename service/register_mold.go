package service

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/service/register"
	"hatchwright/store"
)

// NewMold is a mold to register: the one of a part of a kept configuration.
type NewMold struct {
	ConfigurationID uuid.UUID
	Part            part.Part
	Tag             string
	RemainingPulls  int
	Pulls           int        // made so far
	DealerID        *uuid.UUID // who alone may have parts from it; nil: everybody
	Location        string
	Note            string
}

// RegisterMold puts a mold that stands in the shop into the register; for the shop.
func (s *Service) RegisterMold(ctx context.Context, c Caller, n NewMold, claim *Claim) (Made[record.Mold], error) {
	if err := needShop(c); err != nil {
		return Made[record.Mold]{}, err
	}
	switch {
	case n.RemainingPulls < 1 || n.RemainingPulls > mostPulls:
		return Made[record.Mold]{}, badField("/remaining_pulls", "out_of_range", fmt.Sprintf("A mold to register has 1 to %d pulls left.", mostPulls))
	case n.Pulls < 0 || n.Pulls > mostPulls:
		return Made[record.Mold]{}, badField("/pulls", "out_of_range", fmt.Sprintf("The pulls made are 0 to %d.", mostPulls))
	}
	made, err := once(ctx, s, c, claim, "mold", func() (write[record.Mold], error) {
		v, err := s.revisit(ctx, c, n.ConfigurationID)
		if err != nil {
			if fault.KindOf(err) == fault.NotFound {
				return nil, unknownField(err, "/configuration_id", "There is no such configuration.", "Give the id of a kept configuration: the hatch that the mold was built for.")
			}
			return nil, err
		}
		faces := register.Faces(&v.result.Configuration, v.result.Geometry, v.result.Molds)
		id, err := s.newID()
		if err != nil {
			return nil, err
		}
		now := s.now()
		m := record.Mold{ID: id, DealerID: n.DealerID, Version: 1, Tag: n.Tag, ConfigurationID: &v.kept.ID, Set: register.Set(faces), RemainingPulls: n.RemainingPulls,
			Pulls: n.Pulls, State: record.MoldReady, Location: n.Location, Note: n.Note, CreatedAt: now, UpdatedAt: now}
		for _, f := range faces {
			if f.Part != n.Part {
				continue
			}
			m.Part, m.Class, m.Fingerprint, m.LeastRadius = string(f.Part), f.Class(), f.Fingerprint(), f.LeastRadius()
			m.Long, m.Short = f.Size()
			if m.Face, err = json.Marshal(f); err != nil {
				return nil, err
			}
		}
		if m.Part == "" {
			return nil, badField("/part", "unknown", `The hatch has molds for its "receiver" and its "lid"; name one of them.`)
		}
		return func(ctx context.Context, tx store.Registers) (record.Mold, error) {
			if err := moldWritten(tx.Molds().Insert(ctx, c.Scope(), m)); err != nil {
				return record.Mold{}, err
			}
			return m, nil
		}, nil
	})
	if err == nil {
		s.invalidate()
	}
	return made, err
}
