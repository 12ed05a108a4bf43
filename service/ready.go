package service

import "context"

// Ready tells whether requests can be served: the shop's documents are loaded and
// the store answers.
func (s *Service) Ready(ctx context.Context) error {
	if _, err := s.derivations(); err != nil {
		return err
	}
	return storeFault(s.store.Ping(ctx), "store")
}
