package service

import (
	"context"
	"encoding/json"
	"errors"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/store"
)

// documentsVersion is the layout of the documents that are kept with a
// configuration.
const documentsVersion = 1

// NewConfiguration is a configuration to keep.
type NewConfiguration struct {
	Request    part.Request
	Pointer    string          // where the configuration stands in the body
	Requested  json.RawMessage // as it was asked for
	Name       string
	Reference  string
	Supersedes *uuid.UUID
	DealerID   *uuid.UUID // the shop may name one; a dealer only itself
}

// StoreConfiguration derives a configuration and keeps both. What cannot be made
// is not kept: the error is a *NotMakeableError.
func (s *Service) StoreConfiguration(ctx context.Context, c Caller, n NewConfiguration, claim *Claim) (Made[record.Configuration], error) {
	if err := c.need(record.RoleDealer); err != nil {
		return Made[record.Configuration]{}, err
	}
	owner, err := c.owner(n.DealerID)
	if err != nil {
		return Made[record.Configuration]{}, err
	}
	return change(ctx, s, c, claim, "configuration", func() (write[record.Configuration], error) {
		e, err := s.derivations()
		if err != nil {
			return nil, err
		}
		leave, err := s.gate.turn(ctx, c, e, 1, n.Request)
		if err != nil {
			return nil, err
		}
		defer leave()
		now := s.now()
		result, err := deriveWhile(ctx, e, n.Request, n.Pointer, now)
		if err != nil {
			return nil, err
		}
		placed, err := s.place(ctx, e, ownerScope(owner), result, now, LeadTimeOptions{Near: true})
		if err != nil {
			return nil, err
		}
		kept, err := s.configurationRecord(placed, n, owner)
		if err != nil {
			return nil, err
		}
		return func(ctx context.Context, tx store.Registers) (record.Configuration, error) {
			if err := s.allow(ctx, tx, c, store.CountConfigurations); err != nil {
				return record.Configuration{}, err
			}
			if err := tx.Configurations().Insert(ctx, c.Scope(), kept); err != nil {
				if errors.Is(err, store.ErrNotFound) {
					err = s.missingOwner(ctx, tx, c, kept, err)
				}
				return record.Configuration{}, err
			}
			return kept, nil
		}, nil
	})
}

// configurationRecord makes what is kept of a result.
func (s *Service) configurationRecord(result *Derived, n NewConfiguration, owner *uuid.UUID) (record.Configuration, error) {
	id, err := s.newID()
	if err != nil {
		return record.Configuration{}, err
	}
	docs, err := s.wire.Encode(result)
	if err != nil {
		return record.Configuration{}, err
	}
	return record.Configuration{
		ID: id, DealerID: owner, Digest: result.Digest, Units: result.Configuration.Units.String(), Pattern: string(result.Configuration.Pattern),
		Verdict: string(result.Verdict), Name: n.Name, Reference: n.Reference, Supersedes: n.Supersedes, CreatedAt: s.now(),
		Revision:      record.Revision{Engine: result.Revision.Engine, Catalog: result.Revision.Catalog, PriceBook: result.Revision.PriceBook},
		SchemaVersion: documentsVersion, Requested: n.Requested, Completed: docs.Completed, Derivation: docs.Derivation,
	}, nil
}

// missingOwner says which of the two records that a configuration refers to is
// not there.
func (s *Service) missingOwner(ctx context.Context, tx store.Registers, c Caller, kept record.Configuration, cause error) error {
	if kept.DealerID != nil && c.Role == record.RoleShop {
		if _, err := tx.Dealers().Get(ctx, c.Scope(), *kept.DealerID); errors.Is(err, store.ErrNotFound) {
			return unknownDealer(cause)
		}
	}
	e := fault.Wrap(fault.NotFound, cause, "There is no configuration to supersede by that id.")
	e.Fields = []fault.Field{{Pointer: "/supersedes", Code: "unknown", Message: "Give the id of a kept configuration of the same owner, or leave it out."}}
	return e
}

func unknownDealer(cause error) error {
	e := fault.Wrap(fault.NotFound, cause, "There is no such dealer.")
	e.Fields = []fault.Field{{Pointer: "/dealer_id", Code: "unknown", Message: "Give the id of a dealer, or leave it out."}}
	return e
}
