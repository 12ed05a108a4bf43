package service

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"hatchwright/service/drawing"
	"hatchwright/service/fault"
	"hatchwright/service/schedule"
)

// ListDrawings names the drawings that there are of a kept configuration.
func (s *Service) ListDrawings(ctx context.Context, c Caller, id uuid.UUID) ([]string, error) {
	result, _, err := s.revisit(ctx, c, id)
	if err != nil {
		return nil, err
	}
	return drawing.Names(result), nil
}

// DrawConfiguration draws a kept configuration, in its own units. It bears the
// day on which it was kept, so that it is the same drawing whenever it is asked
// for.
func (s *Service) DrawConfiguration(ctx context.Context, c Caller, id uuid.UUID, name string) (drawing.Drawing, error) {
	result, kept, err := s.revisit(ctx, c, id)
	if err != nil {
		return drawing.Drawing{}, err
	}
	d, err := drawing.Draw(name, drawing.Request{
		Result: result, Units: result.Configuration.Units, Date: schedule.DateOf(kept.CreatedAt, s.Location()),
	})
	switch {
	case errors.Is(err, drawing.ErrUnknownDrawing):
		return d, fault.Wrap(fault.NotFound, err, "There is no drawing of that name; see the list of drawings.")
	case err != nil:
		return d, fault.Wrap(fault.Internal, err, "The drawing could not be made.")
	}
	return d, nil
}
