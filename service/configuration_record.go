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
