package record

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"
)

// Actor is who did something: the key and its role; of a person of an identity
// provider the role alone. The zero Actor is the service itself.
type Actor struct {
	KeyID *uuid.UUID
	Role  Role
}

// Event is something that happened, written in the transaction in which it did.
// It never changes.
type Event struct {
	// Sequence orders all events of a store: strictly increasing in the order in
	// which they became visible, so that a reader who has seen one has seen every
	// smaller one. The store gives it. It is not for the wire: its steps would tell
	// a dealer how much others do; the ID stands for it there.
	Sequence int64

	ID        uuid.UUID
	Kind      string     // see package order
	DealerID  *uuid.UUID // whose it is; nil: the shop's own
	Subject   Subject
	Actor     Actor
	CreatedAt time.Time
	Body      json.RawMessage // as it goes out, to webhooks and streams alike
}

// Subject is what an event is about; deliveries keep the order of events of one
// subject.
type Subject struct {
	Kind string // "quote", "order", "webhook"
	ID   uuid.UUID
}
