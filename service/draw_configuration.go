package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/civil"
	"hatchwright/service/part"
)

// Draw makes a picture of a configuration that is not kept. It bears today's date
// in the shop's zone. The error is a *NotMakeableError for one that cannot be
// made.
func (s *Service) Draw(ctx context.Context, c Caller, r part.Request, name string) (Picture, error) {
	result, err := s.Derive(ctx, c, r)
	if err != nil {
		return Picture{}, err
	}
	return pictureFor(c, result, name, civil.DateOf(s.now(), s.Location()))
}

// ListDrawings lists the pictures that there are of a kept configuration for the
// caller, drawings first.
func (s *Service) ListDrawings(ctx context.Context, c Caller, id uuid.UUID) ([]Picture, error) {
	v, err := s.revisit(ctx, c, id)
	if err != nil {
		return nil, err
	}
	var out []Picture
	for _, name := range picturesFor(c, v.result) {
		p, err := picture(v.result, name, v.day())
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// DrawConfiguration makes a picture of a kept configuration, in its own units. It
// bears the day on which it was kept, so that it is the same picture whenever it
// is asked for.
func (s *Service) DrawConfiguration(ctx context.Context, c Caller, id uuid.UUID, name string) (Picture, error) {
	v, err := s.revisit(ctx, c, id)
	if err != nil {
		return Picture{}, err
	}
	return pictureFor(c, v.result, name, v.day())
}
