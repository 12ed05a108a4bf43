package service

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/drawing"
	"hatchwright/service/fault"
	"hatchwright/service/finding"
	"hatchwright/service/packet"
	"hatchwright/service/record"
	"hatchwright/service/schedule"
)

// Packet is the shop packet of a kept configuration.
type Packet struct {
	File string // what a file of it is called, without its ending
	PDF  []byte
}

// WritePacket makes the shop packet of a kept configuration, for the shop, in its own units, as
// of the day on which it was kept: the same bytes whenever it is asked for. With an
// order it is of that order's line: as many pieces as were
// ordered, at the times that the shop's plan has for them now.
func (s *Service) WritePacket(ctx context.Context, c Caller, id uuid.UUID, order *uuid.UUID) (Packet, error) {
	if err := needShop(c); err != nil {
		return Packet{}, err
	}
	v, err := s.revisit(ctx, c, id)
	if err != nil {
		return Packet{}, err
	}
	var plan *packet.Plan
	if order != nil {
		if plan, err = s.planPacket(ctx, c, &v, *order); err != nil {
			return Packet{}, err
		}
	}
	leave, err := s.gate.enter(ctx, c)
	if err != nil {
		return Packet{}, err
	}
	defer leave()
	pdf, err := packet.Write(packet.Request{
		Result: v.result, Units: v.result.Configuration.Units, Date: v.day(),
		Shop: v.engine.Documents().Profile.Name, Location: v.engine.Location(), Plan: plan,
		MixesAt: func(t float64) ([]derivation.Mix, []finding.Finding, error) { return v.engine.Mixes(v.result, t) },
	})
	if err != nil {
		return Packet{}, fault.Wrap(fault.Internal, err, "The packet could not be made.")
	}
	return Packet{File: "packet-" + drawing.ShortDigest(v.result.Digest), PDF: pdf}, nil
}

// planPacket makes the result that of an order's line, with the shop's plan for its
// lead time.
func (s *Service) planPacket(ctx context.Context, c Caller, v *revisited, id uuid.UUID) (*packet.Plan, error) {
	o, err := s.GetOrder(ctx, c, id)
	if err != nil {
		return nil, err
	}
	line := slices.IndexFunc(o.Quote.Lines, func(l record.QuoteLine) bool { return l.ConfigurationID == v.kept.ID })
	if line < 0 {
		return nil, &fault.Error{Kind: fault.Invalid, Detail: "The order has no line of this configuration.", Fields: []fault.Field{{Parameter: "order_id", Code: "not_in_order",
			Message: "No line of this order is of this configuration. Read the order for the configurations of its lines."}}}
	}
	if q := float64(o.Quote.Lines[line].Quantity); q != v.result.Configuration.Quantity {
		r, err := s.wire.Decode(v.kept.Completed)
		if err != nil {
			return nil, fault.Wrap(fault.Internal, err, "The kept configuration cannot be read any more.")
		}
		r = r.With("/quantity")
		r.Configuration.Quantity = q
		if v.result, err = s.deriveInTurn(ctx, c, v.engine, r, "", v.kept.CreatedAt); err != nil {
			return nil, err
		}
	}
	b, stamp, err := s.present()
	if err != nil {
		return nil, err
	}
	job := slices.IndexFunc(b.Plan.Jobs, func(f schedule.Finish) bool { return f.Job == id.String() })
	if job < 0 {
		return nil, fault.New(fault.Conflict, "The order is not in the shop's plan: it is on hold, done, or has just been placed. Ask again in a moment, or for the packet without order_id.")
	}
	placed := map[string]schedule.Placement{}
	for _, p := range b.Plan.Placements {
		if p.Job == id.String() {
			placed[p.Operation] = p
		}
	}
	was := &v.result.LeadTime
	now := *was
	now.Steps, now.Placements, now.WorkingHours, now.Start, now.Finish = nil, nil, 0, time.Time{}, time.Time{}
	now.Critical = schedule.Critical{Driver: b.Plan.Jobs[job].Critical.Driver}
	for _, step := range was.Steps {
		key := backlog.OperationKey(line+1, step.Key)
		p, there := placed[key]
		if !there {
			continue
		}
		if slices.Contains(b.Plan.Jobs[job].Critical.Path, key) {
			now.Critical.Path = append(now.Critical.Path, step.Key)
		}
		p.Operation = step.Key
		now.Steps, now.Placements = append(now.Steps, step), append(now.Placements, p)
		now.WorkingHours += step.Hours * float64(step.Crew)
		if now.Start.IsZero() || p.Start.Before(now.Start) {
			now.Start = p.Start
		}
		if p.End.After(now.Finish) {
			now.Finish = p.End
		}
	}
	if len(now.Steps) == 0 {
		return nil, fault.New(fault.Conflict, "Nothing of this line is left to do. Ask for the packet without order_id.")
	}
	if now.FinishDay, err = b.Engine.Calendar().WorkingDay(now.Finish); err != nil {
		return nil, leadTimeFault(ctx, err)
	}
	plan := &packet.Plan{Order: backlog.PlannedOrder{OrderID: id, Reference: o.Order.PurchaseReference}.Name(nil), Promise: o.Order.Promise, AsOf: stamp.MadeAt, LeftOut: len(was.Steps) - len(now.Steps)}
	*was = now
	return plan, nil
}
