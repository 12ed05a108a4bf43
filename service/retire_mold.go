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
	Answer         func(record.Mold) (record.Answer, error)
}

// ErrMoldRetired is the cause of refusing to change a retired mold.
var ErrMoldRetired = errors.New("mold retired")

// ChangeMold changes a mold of the register: where it stands, what is left in it,
// whether it is ready, in use or retired; for the shop. A retired mold stays
// retired.
func (s *Service) ChangeMold(ctx context.Context, c Caller, n MoldChange) (record.Answer, error) {
	if err := needShop(c); err != nil {
		return record.Answer{}, err
	}
	if n.RemainingPulls != nil && (*n.RemainingPulls < 0 || *n.RemainingPulls > mostPulls) {
		return record.Answer{}, badField("/remaining_pulls", "out_of_range", fmt.Sprintf("Pulls left are 0 to %d.", mostPulls))
	}
	if n.State != nil && !n.State.Valid() {
		return record.Answer{}, badField("/state", "unknown", "A mold is ready, in_use or retired.")
	}
	answer, err := s.change(ctx, c, nil, "mold", func() (write, error) {
		return func(ctx context.Context, tx store.Registers) (record.Answer, error) {
			m, err := tx.Molds().Get(ctx, c.Scope(), n.ID)
			if err != nil {
				return record.Answer{}, err
			}
			if n.Match != nil && *n.Match != m.Version {
				return record.Answer{}, stale(m.Version)
			}
			if m.State == record.MoldRetired {
				return record.Answer{}, fault.Wrap(fault.Conflict, ErrMoldRetired, "The mold is retired; nothing about it changes any more. Register another one.")
			}
			before := m.Version
			set(&m.Tag, n.Tag)
			set(&m.RemainingPulls, n.RemainingPulls)
			set(&m.State, n.State)
			set(&m.Location, n.Location)
			set(&m.Note, n.Note)
			m.Version, m.UpdatedAt = before+1, s.now()
			if err := tx.Molds().Update(ctx, c.Scope(), m, before); err != nil {
				if errors.Is(err, store.ErrConflict) {
					err = moldWritten(err)
				}
				return record.Answer{}, staleVersion(err)
			}
			return n.Answer(m)
		}, nil
	})
	if err == nil {
		s.poke()
	}
	return answer, err
}

func set[T any](into *T, value *T) {
	if value != nil {
		*into = *value
	}
}
