package service

import (
	"time"

	"hatchwright/store"
)

// HoldSearches lets no search begin until release is called; they wait so long.
func (s *Service) HoldSearches(wait time.Duration) (release func()) {
	s.gate = newGate(1)
	s.gate.wait = wait
	s.gate.places <- struct{}{}
	return func() { <-s.gate.places }
}

// MostHolds is mostHolds.
const MostHolds = mostHolds

// AllowFewer lets a dealer's keys create so many of one thing.
func (s *Service) AllowFewer(what store.Counted, n int) { s.fewer = map[store.Counted]int{what: n} }
