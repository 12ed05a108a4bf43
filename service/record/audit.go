package record

import (
	"time"

	"github.com/google/uuid"
)

// AuditEntry says who changed what at the shop. It is written in the transaction
// of the change, and never changes.
type AuditEntry struct {
	ID        uuid.UUID
	CreatedAt time.Time
	By        Doer
	RequestID string // "" for what the service does by itself

	// Action is what was done, noun.verb: "mold.registered". The thing it was done
	// to is named by its kind and its id, or its number where it has one.
	Action string
	Thing  Thing

	Outcome AuditOutcome
	Changes []AuditChange
}

// Doer is who did something, as it is to be read when the key is long gone. KeyID
// is nil for a person of an identity provider, who has an issuer and a subject, and
// for the service itself, which has neither.
type Doer struct {
	KeyID   *uuid.UUID
	KeyName string
	Issuer  string
	Subject string
	Role    Role
}

// Thing is what was changed.
type Thing struct {
	Kind string
	ID   string
}

// AuditOutcome is what an action came to. Refused ones change nothing and are not
// entered.
type AuditOutcome string

// The outcomes.
const (
	AuditDone      AuditOutcome = "done"
	AuditUnchanged AuditOutcome = "unchanged" // it was so already
)

// AuditChange is one figure before and after; nil where there was none. Long ones
// are digests. None is a secret.
type AuditChange struct {
	Field  string  `json:"field"`
	Before *string `json:"before"`
	After  *string `json:"after"`
}
