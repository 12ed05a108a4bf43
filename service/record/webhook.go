package record

import (
	"time"

	"github.com/google/uuid"
)

// Webhook is an endpoint that is called with events: a dealer's with that
// dealer's, the shop's own with everybody's.
type Webhook struct {
	ID       uuid.UUID
	DealerID *uuid.UUID // nil: the shop's own
	Version  int        // of URL, kinds and secrets
	URL      string
	Kinds    []string // of events; empty for all
	Secrets  []WebhookSecret

	// Since is the sequence of the last event before the endpoint was made: it
	// hears of later ones. The store sets it.
	Since int64

	PausedUntil    *time.Time // the receiver asked not to be called before; nil: never
	FailingSince   *time.Time // first failure after the last success; nil: none
	DisabledAt     *time.Time // no longer called since; nil: called
	DisabledReason string

	CreatedAt time.Time
	UpdatedAt time.Time
}

// WebhookSecret signs what is sent. Several are in use while one replaces
// another.
type WebhookSecret struct {
	Sealed    string     `json:"sealed"` // see package webhook
	CreatedAt time.Time  `json:"created_at"`
	ExpiresAt *time.Time `json:"expires_at,omitempty"` // nil: until it is replaced
}

// LiveAt tells whether the secret signs at t.
func (s WebhookSecret) LiveAt(t time.Time) bool { return s.ExpiresAt == nil || t.Before(*s.ExpiresAt) }

// DeliveryState is how far a delivery has come.
type DeliveryState string

// The states. A parked delivery waits for a person and holds back the later ones
// of its subject; none is ever dropped.
const (
	DeliveryPending   DeliveryState = "pending"
	DeliveryDelivered DeliveryState = "delivered"
	DeliveryParked    DeliveryState = "parked"
)

// Delivery is one event on its way to one endpoint.
type Delivery struct {
	ID        uuid.UUID
	WebhookID uuid.UUID
	DealerID  *uuid.UUID // the endpoint's
	EventID   uuid.UUID
	EventKind string
	Sequence  int64 // the event's
	Subject   uuid.UUID

	State       DeliveryState
	Attempts    int       // since it was made or last resent
	NextAt      time.Time // not before; meaningless unless pending
	LastStatus  int       // HTTP status of the last attempt, 0 for none
	LastError   string    // why the last attempt failed, "" if it did not
	AttemptedAt *time.Time
	DeliveredAt *time.Time // first success

	CreatedAt time.Time
}
