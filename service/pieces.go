package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// UsualPieces is how many hatches a configuration is for that does not say.
func (s *Service) UsualPieces() int {
	if e := s.engine.Load(); e != nil {
		return usualPieces(e)
	}
	return 1
}

// KeptPieces is how many hatches a kept configuration is for, 1 where it is not there for
// the caller: whoever asks for it is told so.
func (s *Service) KeptPieces(ctx context.Context, c Caller, id uuid.UUID) int {
	if !c.May(record.RoleDealer) {
		return 1
	}
	kept, err := s.store.Configurations().Get(ctx, c.Scope(), id)
	if err != nil {
		return 1
	}
	r, err := s.wire.Decode(kept.Completed)
	if err != nil {
		return 1
	}
	return max(1, int(r.Configuration.Quantity))
}

// QuotedPieces is how many hatches the lines of a quote are for, 1 where it is not there
// for the caller.
func (s *Service) QuotedPieces(ctx context.Context, c Caller, id uuid.UUID) int {
	if !c.May(record.RoleDealer) {
		return 1
	}
	q, err := s.store.Quotes().Get(ctx, c.Scope(), id)
	if err != nil {
		return 1
	}
	n := 0
	for _, l := range q.Lines {
		n += l.Quantity
	}
	return max(1, n)
}
