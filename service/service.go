package service

import (
	"crypto/rand"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/identity"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/store"
)

// Wire turns documents of the wire into the domain's shapes and back. Package api
// has it; the service keeps derivations in the form in which they are answered.
type Wire interface {
	// Decode reads a configuration. Errors are *fault.Error.
	Decode(body []byte) (part.Request, error)
	// Encode writes what is kept of a configuration and its lead time.
	Encode(*Derived) (Documents, error)
	// Render makes of what a use case made for a caller the answer to send and to keep.
	Render(to Caller, made any) (record.Answer, error)
	// Event returns what a role is told of an event.
	Event(body []byte, to record.Role) ([]byte, error)
}

// Documents are a result in the form in which it is kept.
type Documents struct {
	Completed  json.RawMessage // the completed configuration, in its own units
	Derivation json.RawMessage // the answer, whole
}

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
	people *identity.Provider
	bell   bell // rung when events were written
	// keysEnded is rung when keys were revoked or rotated.
	keysEnded bell
	floor     floor
	gate      gate
	fewer     map[store.Counted]int // of what a dealer may create, for tests
	batch     chan struct{}         // a place in it is a configuration of a batch being worked on

	// documents are those that engine is over.
	documents atomic.Pointer[inUse]

	mu      sync.Mutex
	touched map[uuid.UUID]time.Time // last noted use, by key
}

// New makes a service. It does no input or output.
func New(o Options) (*Service, error) {
	if o.Store == nil || o.Wire == nil {
		return nil, errors.New("service: a store and a wire are needed")
	}
	s := &Service{store: o.Store, wire: o.Wire, clock: o.Clock, random: o.Random, log: o.Logger, touched: map[uuid.UUID]time.Time{}, batch: make(chan struct{}, batchSlots)}
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
	s.keep, s.people = DefaultRetention(), o.People
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

// newID makes a UUID of version 7 (RFC 9562, 5.7) from the service's own clock
// and random source:
//
//	48 bits of Unix milliseconds, version, 12 bits of a counter, variant, 62 random bits
//
// Ids of one process sort by when they were made: within a millisecond the counter
// goes up (6.2, method 1). It begins with 11 random bits, so there is room for at
// least 2048 ids; when it is full, or the clock goes back, the last millisecond
// that was used serves on, plus one for each time it is full. Ids of several
// processes within a millisecond are in no order. Nothing counts on one: events and
// deliveries go by sequence, lists by creation time with the id only between equals.
func (s *Service) newID() (uuid.UUID, error) {
	var id uuid.UUID
	if _, err := io.ReadFull(s.random, id[6:]); err != nil {
		return uuid.Nil, fmt.Errorf("random source: %w", err)
	}
	ms, counter := s.ids.next(s.clock().UnixMilli(), binary.BigEndian.Uint16(id[6:]))
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], uint64(ms))
	copy(id[:6], b[2:])
	binary.BigEndian.PutUint16(id[6:], 0x7000|counter)
	id[8] = id[8]&0x3f | 0x80
	return id, nil
}

// idCounter tells the ids of one millisecond apart. The zero counter is ready.
type idCounter struct {
	mu      sync.Mutex
	ms      int64
	counter uint16 // 12 bits
}

// next gives the millisecond and the counter of an id, greater than all before.
func (c *idCounter) next(ms int64, random uint16) (int64, uint16) {
	const most = 1<<12 - 1
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case ms > c.ms:
		c.ms, c.counter = ms, random&(most>>1)
	case c.counter < most:
		c.counter++
	default:
		c.ms, c.counter = c.ms+1, random&(most>>1)
	}
	return c.ms, c.counter
}

// derivations returns the engine over the shop's present documents.
func (s *Service) derivations() (*derivation.Engine, error) {
	if e := s.engine.Load(); e != nil {
		return e, nil
	}
	return nil, fault.New(fault.Unavailable, "The shop's documents are not loaded yet.")
}
