package service

import "time"

// HoldSearches lets no search begin until release is called; they wait so long.
func (s *Service) HoldSearches(wait time.Duration) (release func()) {
	s.gate = newGate(1)
	s.gate.wait = wait
	s.gate.places <- struct{}{}
	return func() { <-s.gate.places }
}
