package receiver

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"sync"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"hatchwright/openapi/client"
)

// What is refused. Errors of Verify match one of these by errors.Is; each
// has a page of the service that says what to do, see ProblemOf.
var (
	// ErrUnsigned: one of webhook-id, webhook-timestamp and webhook-signature is
	// missing, or the timestamp is no number.
	ErrUnsigned = errors.New("the call is not signed")
	// ErrSignature: none of the signatures is by a secret of the receiver's.
	ErrSignature = errors.New("the signature does not verify")
	// ErrClockSkew: well signed, but longer ago, or further ahead, than is tolerated.
	ErrClockSkew = errors.New("the call's time is too far from the receiver's clock")
	// ErrReplayed: well signed, but dealt with already: sent again by the service,
	// which delivers at least once, or by somebody who has listened.
	ErrReplayed = errors.New("the call was dealt with already")
	// ErrInHand: the same call is being dealt with right now.
	ErrInHand = errors.New("the same call is being dealt with")
	// ErrNotEvent: well signed, but no event, or not the one that webhook-id names.
	ErrNotEvent = errors.New("the body is no event")
)

// ProblemOf gives the type of problem (RFC 9457) for an error of Verify, relative to
// the service, which has a page there. It is "" for any other error.
func ProblemOf(err error) string {
	for sentinel, name := range map[error]string{
		ErrUnsigned: "webhook-unsigned", ErrSignature: "webhook-signature", ErrClockSkew: "webhook-clock-skew",
		ErrReplayed: "webhook-replayed", ErrInHand: "webhook-in-hand", ErrNotEvent: "webhook-not-an-event",
	} {
		if errors.Is(err, sentinel) {
			return "/problems/" + name
		}
	}
	return ""
}

// DefaultTolerance is how far the time of a call may be from the receiver's clock:
// what the libraries of the Standard Webhooks specification tolerate.
const DefaultTolerance = 5 * time.Minute

// DefaultWindow is how many calls a receiver without a memory of its own remembers.
const DefaultWindow = 10_000

// mostCall is what a call's body may have, bytes; an event has a few hundred.
const mostCall = 1 << 20

// Memory remembers which calls were dealt with, by webhook-id. A call that was not
// taken comes again for days, with the same id and another time and signature: so a
// memory that outlives the process, such as a table that is written in the
// transaction that does what the event asks for, is what makes "at least once" into
// "once".
type Memory interface {
	// Seen tells whether Done was called with the id.
	Seen(ctx context.Context, id string) (bool, error)
	// Done notes that the call of that id was dealt with.
	Done(ctx context.Context, id string) error
}

// Options is what a Receiver is made of. Secrets are needed.
type Options struct {
	// Secrets are the endpoint's, whsec_ and base64. One that verifies is enough:
	// give the old and the new one while they overlap.
	Secrets []string
	// Tolerance is how far the time of a call may be from Now, 0 for
	// DefaultTolerance.
	Tolerance time.Duration
	// Now is the receiver's clock, nil for time.Now.
	Now func() time.Time
	// Memory is nil for a window of DefaultWindow calls.
	Memory Memory
}

// Receiver verifies the calls that the service makes to an endpoint, after the
// Standard Webhooks specification, by that specification's library, and reads their
// events. It is safe for concurrent use.
type Receiver struct {
	verifiers []*standardwebhooks.Webhook
	tolerance time.Duration
	now       func() time.Time
	memory    Memory

	mu     sync.Mutex
	inHand map[string]bool // by Handler
}

// New makes a receiver.
func New(o Options) (*Receiver, error) {
	r := &Receiver{tolerance: o.Tolerance, now: o.Now, memory: o.Memory, inHand: map[string]bool{}}
	if len(o.Secrets) == 0 {
		return nil, errors.New("a receiver needs a secret: the one that was shown when its endpoint was added")
	}
	for i, s := range o.Secrets {
		v, err := standardwebhooks.NewWebhook(s)
		if err != nil || s == "" { // the library takes the empty key, with which anybody signs
			return nil, fmt.Errorf("secret %d of the receiver is not whsec_ and base64", i+1)
		}
		r.verifiers = append(r.verifiers, v)
	}
	if r.tolerance == 0 {
		r.tolerance = DefaultTolerance
	}
	if r.now == nil {
		r.now = time.Now
	}
	if r.memory == nil {
		r.memory = NewWindow(DefaultWindow)
	}
	return r, nil
}

// Verify verifies a call and returns its event. The body is that of the call as it
// came, byte for byte. When the event has been dealt with, call Done; before that a
// repetition is not told from the first call, so that what failed can come again.
func (r *Receiver) Verify(ctx context.Context, header http.Header, body []byte) (*client.Event, error) {
	id := header.Get(standardwebhooks.HeaderWebhookID)
	err := r.signed(header, body)
	if err != nil {
		return nil, err
	}
	seconds, err := strconv.ParseInt(header.Get(standardwebhooks.HeaderWebhookTimestamp), 10, 64)
	if err != nil {
		return nil, fmt.Errorf("%w: webhook-timestamp is no count of seconds", ErrUnsigned)
	}
	// Only now, as the time of a call that is not signed says nothing.
	switch at, now := time.Unix(seconds, 0), r.now(); {
	case at.Before(now.Add(-r.tolerance)):
		return nil, fmt.Errorf("%w: signed at %s, which is %v ago; %v is tolerated", ErrClockSkew, at.UTC().Format(time.RFC3339), now.Sub(at).Round(time.Second), r.tolerance)
	case at.After(now.Add(r.tolerance)):
		return nil, fmt.Errorf("%w: signed at %s, which is %v ahead; %v is tolerated", ErrClockSkew, at.UTC().Format(time.RFC3339), at.Sub(now).Round(time.Second), r.tolerance)
	}
	switch seen, err := r.memory.Seen(ctx, id); {
	case err != nil:
		return nil, fmt.Errorf("look for call %s: %w", id, err)
	case seen:
		return nil, fmt.Errorf("%w: %s", ErrReplayed, id)
	}
	var e client.Event
	if err := json.Unmarshal(body, &e); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNotEvent, err)
	}
	if e.Id.String() != id {
		return nil, fmt.Errorf("%w: webhook-id is %s, the event's id %s", ErrNotEvent, id, e.Id)
	}
	return &e, nil
}

func (r *Receiver) signed(header http.Header, body []byte) (err error) {
	for _, v := range r.verifiers {
		if err = v.VerifyIgnoringTimestamp(body, header); err == nil {
			return nil
		}
	}
	if errors.Is(err, standardwebhooks.ErrNoMatchingSignature) {
		return ErrSignature
	}
	return fmt.Errorf("%w: webhook-id, webhook-timestamp or webhook-signature is missing or damaged", ErrUnsigned)
}

// Done notes that a call was dealt with: from now on Verify refuses it with
// ErrReplayed.
func (r *Receiver) Done(ctx context.Context, e *client.Event) error {
	return r.memory.Done(ctx, e.Id.String())
}

// Handler answers the calls of an endpoint: take is called with each event once,
// and again only if it returned an error. It should be done within 15 seconds, or the
// service takes it for a failure.
//
// What the service sends again after it was dealt with is answered with 204, as
// anything else would make it come once more. What is refused is answered with a
// problem (RFC 9457): 401 for a signature, 400 for clock skew and what is no event,
// 503 for what is in hand, and 500 when take fails.
func (r *Receiver) Handler(take func(context.Context, *client.Event) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		if q.Method != http.MethodPost {
			w.Header().Set("Allow", http.MethodPost)
			http.Error(w, http.StatusText(http.StatusMethodNotAllowed), http.StatusMethodNotAllowed)
			return
		}
		body, err := io.ReadAll(http.MaxBytesReader(w, q.Body, mostCall))
		if err != nil {
			status := http.StatusBadRequest
			if tooLong := (*http.MaxBytesError)(nil); errors.As(err, &tooLong) {
				status = http.StatusRequestEntityTooLarge
			}
			refuse(w, status, err)
			return
		}
		err = r.receive(q.Context(), q.Header, body, take)
		switch {
		case err == nil, errors.Is(err, ErrReplayed):
			w.WriteHeader(http.StatusNoContent)
		case errors.Is(err, ErrUnsigned), errors.Is(err, ErrSignature):
			refuse(w, http.StatusUnauthorized, err)
		case errors.Is(err, ErrClockSkew), errors.Is(err, ErrNotEvent):
			refuse(w, http.StatusBadRequest, err)
		case errors.Is(err, ErrInHand):
			refuse(w, http.StatusServiceUnavailable, err)
		default:
			// What went wrong in here is not the caller's to know.
			refuse(w, http.StatusInternalServerError, errors.New("the event was not taken; send it again"))
		}
	})
}

func (r *Receiver) receive(ctx context.Context, header http.Header, body []byte, take func(context.Context, *client.Event) error) error {
	e, err := r.Verify(ctx, header, body)
	if err != nil {
		return err
	}
	id := e.Id.String()
	r.mu.Lock()
	if r.inHand[id] {
		r.mu.Unlock()
		return fmt.Errorf("%w: %s", ErrInHand, id)
	}
	r.inHand[id] = true
	r.mu.Unlock()
	defer func() { r.mu.Lock(); defer r.mu.Unlock(); delete(r.inHand, id) }()
	// It may have been dealt with between Verify and here.
	switch seen, err := r.memory.Seen(ctx, id); {
	case err != nil:
		return err
	case seen:
		return fmt.Errorf("%w: %s", ErrReplayed, id)
	}
	if err := take(ctx, e); err != nil {
		return err
	}
	return r.memory.Done(ctx, id)
}

func refuse(w http.ResponseWriter, status int, err error) {
	kind := ProblemOf(err)
	if kind == "" {
		kind = "about:blank"
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]any{"type": kind, "title": http.StatusText(status), "status": status, "detail": err.Error()})
}
