package service

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// MoldChange changes what is not nil. Match is the version that the caller has
// read (If-Match); nil when it sent none.
type MoldChange struct {
	ID             uuid.UUID
	Match          *int
	Tag            *string
	RemainingPulls *int
	State          *record.MoldState
	Location       *string
	Note           *string
}

// ErrMoldRetired is the cause of refusing to change a retired mold.
var ErrMoldRetired = errors.New("mold retired")

// ChangeMold changes a mold of the register: where it stands, what is left in it,
// whether it is ready, in use or retired; for the shop. A retired mold stays
// retired.
func (s *Service) ChangeMold(ctx context.Context, c Caller, n MoldChange) (Made[record.Mold], error) {
	if err := needShop(c); err != nil {
		return Made[record.Mold]{}, err
	}
	if n.RemainingPulls != nil && (*n.RemainingPulls < 0 || *n.RemainingPulls > mostPulls) {
		return Made[record.Mold]{}, badField("/remaining_pulls", "out_of_range", fmt.Sprintf("Pulls left are 0 to %d.", mostPulls))
	}
	if n.State != nil && !n.State.Valid() {
		return Made[record.Mold]{}, badField("/state", "unknown", "A mold is ready, in_use or retired.")
	}
	made, err := change(ctx, s, c, nil, "mold", func() (write[record.Mold], error) {
		return func(ctx context.Context, tx store.Registers) (record.Mold, error) {
			m, err := tx.Molds().Get(ctx, c.Scope(), n.ID)
			if err != nil {
				return record.Mold{}, err
			}
			if n.Match != nil && *n.Match != m.Version {
				return record.Mold{}, stale(m.Version)
			}
			if m.State == record.MoldRetired {
				return record.Mold{}, fault.Wrap(fault.Conflict, ErrMoldRetired, "The mold is retired; nothing about it changes any more. Register another one.")
			}
			before := m.Version
			setGiven(&m.Tag, n.Tag)
			setGiven(&m.RemainingPulls, n.RemainingPulls)
			setGiven(&m.State, n.State)
			setGiven(&m.Location, n.Location)
			setGiven(&m.Note, n.Note)
			m.Version, m.UpdatedAt = before+1, s.now()
			if err := tx.Molds().Update(ctx, c.Scope(), m, before); err != nil {
				if errors.Is(err, store.ErrConflict) {
					err = moldWritten(err)
				}
				return record.Mold{}, staleVersion(err)
			}
			return m, nil
		}, nil
	})
	if err == nil {
		s.invalidate()
	}
	return made, err
}

func setGiven[T any](into *T, value *T) {
	if value != nil {
		*into = *value
	}
}
