package service

import "time"

// Claim is the Idempotency-Key of a request and what makes it the same request.
type Claim struct {
	Key    string
	Method string
	Route  string // the route's template
	Path   string // as it was asked for, with its ids
	Body   []byte
}

// claimTime is how long a claim lasts after it was made or last renewed: then
// another attempt with the same key may take over. A request renews its claim for
// as long as it runs, so only a dead process is taken over from, or one that stood
// still; that one loses its claim, and with it all that it has written.
const claimTime = 30 * time.Second
