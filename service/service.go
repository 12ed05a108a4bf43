package service

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync/atomic"
	"time"

	"hatchwright/service/access"
	"hatchwright/service/derivation"
	"hatchwright/service/identity"
	"hatchwright/service/record"
	"hatchwright/store"
)

// Options is what a Service is made of. Store and Wire are needed.
type Options struct {
	Store  store.Store
	Wire   Wire
	Clock  func() time.Time // nil: time.Now
	Random io.Reader        // nil: crypto/rand; for keys and ids
	Logger *slog.Logger     // nil: discarded

	// Searches is how many expensive searches may run at once: limits, automatic
	// schedules, packets, many pieces. Beyond, a request waits a little and is then refused. 0: no
	// limit.
	Searches int

	// Webhooks says how endpoints are called: by default only public addresses
	// over HTTPS, with secrets kept in the clear.
	Webhooks WebhookOptions

	// Keep says how long what is not kept for good is kept; nil: DefaultRetention.
	Keep *Retention

	// People verifies the tokens of the shop's people; nil: keys alone open.
	People *identity.Provider
}

// Service runs the use cases. It is safe for concurrent use. Bootstrap must have
// succeeded before anything is derived.
type Service struct {
	store  store.Store
	wire   Wire
	clock  func() time.Time
	random io.Reader
	ids    idCounter
	log    *slog.Logger
	engine atomic.Pointer[derivation.Engine]
	hooks  hooks
	keep   Retention
	door   *access.Door
	bell   bell // rung when events were written
	// keysEnded is rung when keys were revoked or rotated.
	keysEnded bell
	floor     floor
	gate      gate
	fewer     map[store.Counted]int // of what a dealer may create, for tests
	batch     chan struct{}         // a place in it is a configuration of a batch being worked on

	// documents are those that engine is over.
	documents atomic.Pointer[inUse]
}

// New makes a service. It does no input or output.
func New(o Options) (*Service, error) {
	if o.Store == nil || o.Wire == nil {
		return nil, errors.New("service: a store and a wire are needed")
	}
	s := &Service{store: o.Store, wire: o.Wire, clock: o.Clock, random: o.Random, log: o.Logger, batch: make(chan struct{}, batchSlots)}
	s.gate = newGate(o.Searches)
	if s.clock == nil {
		s.clock = time.Now
	}
	if s.random == nil {
		s.random = rand.Reader
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	s.keep, s.door = DefaultRetention(), access.NewDoor(o.Store.Keys(), o.People, s.now, s.log)
	if o.Keep != nil {
		s.keep = *o.Keep
	}
	if err := s.keep.Check(); err != nil {
		return nil, fmt.Errorf("service: %w", err)
	}
	if err := s.hooks.prepare(o.Webhooks); err != nil {
		return nil, err
	}
	return s, nil
}

// now is the instant as records keep it.
func (s *Service) now() time.Time { return record.Moment(s.clock()) }
