package service

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/shop"
)

// revisited is a kept configuration, worked out again.
type revisited struct {
	kept   record.Configuration
	engine *derivation.Engine
	result *derivation.Result
}

// day is when it was kept, in the shop's zone of that time.
func (v revisited) day() civil.Date { return civil.DateOf(v.kept.CreatedAt, v.engine.Location()) }

// revisit works a kept configuration out again as it was when it was kept: from
// the figures that were asked for, the shop documents of its revision and its own
// time. What is drawn from it is what was answered then.
func (s *Service) revisit(ctx context.Context, c Caller, id uuid.UUID) (revisited, error) {
	k, err := s.GetConfiguration(ctx, c, id)
	if err != nil {
		return revisited{}, err
	}
	e, err := s.engineOf(ctx, k.Revision)
	if err != nil {
		return revisited{}, err
	}
	r, err := s.wire.Decode(k.Requested)
	if err != nil {
		return revisited{}, fault.Wrap(fault.Internal, err, "The kept configuration cannot be read any more.")
	}
	// A quote's line keeps a configuration in the line's quantity, which the request
	// itself may not have.
	completed, err := s.wire.Decode(k.Completed)
	if err != nil {
		return revisited{}, fault.Wrap(fault.Internal, err, "The kept configuration cannot be read any more.")
	}
	if q := completed.Configuration.Quantity; e.Complete(r).Quantity != q {
		r = r.With("/quantity")
		r.Configuration.Quantity = q
	}
	result, err := s.deriveInTurn(ctx, c, e, r, "", k.CreatedAt)
	if err != nil && (fault.KindOf(err) == fault.Busy || ctx.Err() != nil) {
		return revisited{}, err
	}
	if err != nil {
		return revisited{}, fault.Wrap(fault.Internal, err, "The kept configuration cannot be worked out any more.")
	}
	if result.Digest != k.Digest {
		return revisited{}, fault.Wrap(fault.Internal, fmt.Errorf("configuration %v: digest %s when kept, %s now", k.ID, k.Digest, result.Digest),
			"The kept configuration does not come out the same any more.")
	}
	return revisited{kept: k, engine: e, result: result}, nil
}

// engineOf returns the engine over the documents of a revision.
func (s *Service) engineOf(ctx context.Context, r record.Revision) (*derivation.Engine, error) {
	now, err := s.derivations()
	if err != nil {
		return nil, err
	}
	want := shop.Revision{Engine: r.Engine, Catalog: r.Catalog, PriceBook: r.PriceBook}
	if now.Documents().Revision == want {
		return now, nil
	}
	if r.Engine != shop.Engine {
		return nil, fault.New(fault.Conflict, "It was worked out by engine %s; this is engine %s, which gives other numbers. Its derivation is still there; keep it anew for drawings.", r.Engine, shop.Engine)
	}
	var profile, materials, prices int
	if _, err := fmt.Sscanf(r.Catalog+" "+r.PriceBook, "%d.%d %d", &profile, &materials, &prices); err != nil {
		return nil, fault.Wrap(fault.Internal, fmt.Errorf("revision %+v: %w", r, err), "The kept configuration's revision cannot be read.")
	}
	var bodies [3][]byte
	for i, d := range []struct {
		kind    string
		version int
	}{{record.DocumentProfile, profile}, {record.DocumentMaterials, materials}, {record.DocumentPriceBook, prices}} {
		doc, err := s.store.ShopDocuments().Get(ctx, d.kind, d.version)
		if err != nil {
			return nil, storeFault(err, d.kind)
		}
		bodies[i] = doc.Body
	}
	docs, err := decodeDocuments(bodies[0], bodies[1], bodies[2], profile, materials, prices)
	if err == nil {
		now, err = derivation.New(docs)
	}
	if err != nil {
		return nil, fault.Wrap(fault.Internal, errors.Join(fmt.Errorf("revision %+v", r), err), "The shop's documents of that time cannot be used.")
	}
	return now, nil
}
