package service

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/derivation"
	"hatchwright/service/drawing"
	"hatchwright/service/fault"
	"hatchwright/service/finding"
	"hatchwright/service/packet"
)

// Packet is the shop packet of a kept configuration.
type Packet struct {
	File string // what a file of it is called, without its ending
	PDF  []byte
}

// WritePacket makes the shop packet of a kept configuration, in its own units, as
// of the day on which it was kept: the same bytes whenever it is asked for.
func (s *Service) WritePacket(ctx context.Context, c Caller, id uuid.UUID) (Packet, error) {
	v, err := s.revisit(ctx, c, id)
	if err != nil {
		return Packet{}, err
	}
	leave, err := s.gate.enter(ctx, c)
	if err != nil {
		return Packet{}, err
	}
	defer leave()
	pdf, err := packet.Write(packet.Request{
		Result: v.result, Units: v.result.Configuration.Units, Date: v.day(),
		Shop: v.engine.Documents().Profile.Name, Location: v.engine.Location(),
		MixesAt: func(t float64) ([]derivation.Mix, []finding.Finding, error) { return v.engine.Mixes(v.result, t) },
	})
	if err != nil {
		return Packet{}, fault.Wrap(fault.Internal, err, "The packet could not be made.")
	}
	return Packet{File: "packet-" + drawing.ShortDigest(v.result.Digest), PDF: pdf}, nil
}
