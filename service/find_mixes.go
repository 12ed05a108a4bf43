package service

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/finding"
	"hatchwright/service/quantity"
)

// Mixes is what to weigh out for one hatch at a temperature.
type Mixes struct {
	Digest      string
	Temperature float64 // °C
	Mixes       []derivation.Mix
	// Findings are on doses that are not usual, and on lots of what is mixed that are
	// past their age.
	Findings []finding.Finding
	Units    quantity.System
}

// NoMixError says that a product must not be worked at the temperature.
type NoMixError struct {
	Temperature float64           // °C
	Findings    []finding.Finding // without mends: a kept configuration does not change
	Units       quantity.System
}

// Error names the first finding.
func (e *NoMixError) Error() string { return "no mixes: " + e.Findings[0].Message(e.Units) }

// FindMixes says what to weigh out for one hatch of a kept configuration at a
// temperature of the shop, °C; nil for what the shop is kept at. The materials are
// those of the time when it was kept. The error is a *NoMixError where a product's
// table does not cover the temperature. It is the shop's, and is told too which lots of what it
// is to mix are past their age today.
func (s *Service) FindMixes(ctx context.Context, c Caller, id uuid.UUID, temperature *float64) (Mixes, error) {
	if err := needShop(c); err != nil {
		return Mixes{}, err
	}
	v, err := s.revisit(ctx, c, id)
	if err != nil {
		return Mixes{}, err
	}
	at := v.engine.Documents().Profile.ShopTemperature
	if temperature != nil {
		at = *temperature
	}
	mixes, findings, err := v.engine.Mixes(v.result, at)
	switch {
	case err != nil:
		return Mixes{}, fault.Wrap(fault.Internal, err, "The mixes could not be worked out.")
	case len(mixes) == 0 && len(findings) > 0:
		findings = slices.Clone(findings)
		for i := range findings {
			findings[i].Mends = nil
		}
		finding.Sort(findings)
		return Mixes{}, &NoMixError{Temperature: at, Findings: findings, Units: v.result.Configuration.Units}
	}
	out := Mixes{Digest: v.result.Digest, Temperature: at, Mixes: mixes, Units: v.result.Configuration.Units}
	h, err := s.stockAtHand(ctx, v.engine)
	if err != nil {
		return Mixes{}, err
	}
	out.Findings = append(findings, v.engine.AgedMixes(v.result, mixes, h.lots, h.On)...)
	return out, nil
}
