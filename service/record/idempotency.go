package record

import (
	"bytes"
	"net/http"
	"time"

	"github.com/google/uuid"
)

// IdempotencyState is how far the request that first carried a key has come.
type IdempotencyState string

// The states. There is no state for a failed request: its claim is abandoned, so
// that the key may be tried again.
const (
	IdempotencyRunning IdempotencyState = "running"
	IdempotencyDone    IdempotencyState = "done"
)

// IdempotencyClaim is what a request that carries an Idempotency-Key puts down
// before its work begins.
type IdempotencyClaim struct {
	Key      string // as sent by the client
	Caller   string // whose key it is: an API key with all that came of it, or a person
	Method   string
	Route    string // the route's template, not the path
	BodyHash []byte // SHA-256 of the body (and of whatever else makes two requests the same)

	// Token tells this attempt from any other that carries the same key. Only
	// the attempt that holds the claim can finish or abandon it.
	Token uuid.UUID

	CreatedAt   time.Time // now
	LockedUntil time.Time // from then on another attempt may take the claim over
	ExpiresAt   time.Time // from then on the key is free again, answer and all
}

// IdempotencyRecord is a claim with how far it has come and, when it is done,
// the answer that was given.
type IdempotencyRecord struct {
	IdempotencyClaim
	State  IdempotencyState
	Answer Answer
}

// Answer is a response kept to be given again byte for byte.
type Answer struct {
	Status int
	Header http.Header // only the headers worth repeating
	Body   []byte

	// Bare is the answer without the secret that it shows, nil where it shows none.
	// It is never kept as such.
	Bare *Answer
	// Sealed is set on a kept answer that is bare: the whole of it, sealed for who
	// asked first; "" where there is no more to it.
	Sealed string
}

// SameRequest tells whether two claims are for one and the same request: equal
// method, route and body. The draft it follows (IETF httpapi, the
// Idempotency-Key header field, section 2.6) has a key sent again with anything
// else refused.
func (c IdempotencyClaim) SameRequest(o IdempotencyClaim) bool {
	return c.Method == o.Method && c.Route == o.Route && bytes.Equal(c.BodyHash, o.BodyHash)
}
