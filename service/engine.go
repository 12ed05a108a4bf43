package service

import (
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
)

// derivations returns the engine over the shop's present documents.
func (s *Service) derivations() (*derivation.Engine, error) {
	if e := s.engine.Load(); e != nil {
		return e, nil
	}
	return nil, fault.New(fault.Unavailable, "The shop's documents are not loaded yet.")
}

// needOwnDocuments refuses what binds the shop while a built-in document stands in for
// one of its own.
func (s *Service) needOwnDocuments() error {
	if now := s.documents.Load(); now != nil && now.invented {
		return fault.New(fault.Unavailable, "The shop's own documents cannot be used at the moment, and nothing is promised from invented ones. The shop has to put mended versions of its profile, materials or price book.")
	}
	return nil
}
