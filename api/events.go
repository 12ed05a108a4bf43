package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/record"
)

// Figures of a stream of events.
const (
	// heartbeat is how often a stream without events gives a sign of life: under
	// the half minute after which the stricter proxies close what is silent.
	heartbeat = 15 * time.Second
	// patience is how long one writing may wait for a reader that takes nothing.
	patience = 10 * time.Second
	// keyLook is how often a stream looks whether its key still opens. What this
	// process does to keys is seen at once, what others do within a second: the rest
	// of it is for the answer and, in farewell, for a reader that takes nothing.
	keyLook  = 500 * time.Millisecond
	farewell = 250 * time.Millisecond
	// retryMilliseconds is how long a reader is asked to wait before it connects
	// again.
	retryMilliseconds = "3000"
)

// eventsPath is the one route whose answer does not end by itself.
const eventsPath = "/v1/events"

// streamEvents gives events as they happen, as server-sent events (WHATWG HTML,
// section 9.2). Last-Event-ID resumes after an event; the stream ends when the
// reader goes, is too slow, when its key ends, and when the service stops.
func (a *api) streamEvents(c *call) error {
	r := c.Request()
	var after *uuid.UUID
	if text := r.Header.Get("Last-Event-ID"); text != "" {
		id, err := parseID(text, "Last-Event-ID")
		if err != nil {
			return err
		}
		after = &id
	}
	if !a.rates.streams.enter(c.account()) {
		return &rateError{problem: problemTooManyStreams, detail: fmt.Sprintf("This key has %d streams of events open, which is as many as it may.", a.rates.streams.most)}
	}
	defer a.rates.streams.leave(c.account())
	ctx, cancel := context.WithCancelCause(r.Context())
	defer cancel(nil)
	defer context.AfterFunc(a.closing, func() { cancel(errClosing) })()
	stream, err := a.service.StreamEvents(ctx, c.caller, after)
	if err != nil {
		return err
	}
	w := c.Response()
	control := http.NewResponseController(w)
	// The server's deadline for writing is that of an answer that ends; here each
	// writing has its own. That for reading ends with the request's head.
	put := func(text []byte) error {
		if err := control.SetWriteDeadline(time.Now().Add(a.patience)); err != nil && !errors.Is(err, http.ErrNotSupported) {
			return err
		}
		if ctx.Err() != nil { // the deadline of a key that ended must not be put off
			return context.Cause(ctx)
		}
		if _, err := w.Write(text); err != nil {
			return err
		}
		return control.Flush()
	}
	var watching sync.WaitGroup
	defer watching.Wait()
	defer cancel(nil)
	watching.Go(func() {
		if err := a.keyOver(ctx, c); err != nil {
			cancel(err)
			_ = control.SetWriteDeadline(time.Now().Add(farewell)) // for a reader that takes nothing
		}
	})
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no") // for proxies that would collect it
	w.WriteHeader(http.StatusOK)
	if err := put([]byte("retry: " + retryMilliseconds + "\n\n")); err != nil {
		return a.streamOver(c, err)
	}
	var buf []byte
	for {
		list, err := stream.Next(ctx, a.heartbeat)
		if err != nil {
			return a.streamOver(c, err)
		}
		buf = buf[:0]
		for i := range list {
			body, err := a.told.event.told(c.caller.Role, list[i].Body)
			if err != nil {
				return a.streamOver(c, err)
			}
			buf = appendEvent(buf, &list[i], body)
		}
		if len(list) == 0 {
			buf = append(buf, ": still here\n\n"...)
		}
		if err := put(buf); err != nil {
			return a.streamOver(c, err)
		}
	}
}

// errClosing is why the service is not ready and its streams end when it stops.
var errClosing = errors.New("the service is stopping")

// keyOver waits until the key of a request opens no stream any more and says why; nil
// when the request is over first. A store that is away ends the stream too: who may
// not be looked up is let go, and comes back.
func (a *api) keyOver(ctx context.Context, c *call) error {
	key := bearer(c)
	look := time.NewTicker(keyLook)
	defer look.Stop()
	for {
		ended := a.service.KeysEnded()
		caller, err := a.service.Authenticate(ctx, key)
		if err == nil && !caller.May(record.RoleDealer) {
			err = fault.New(fault.Forbidden, "The key no longer reaches that far.")
		}
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-ended:
		case <-look.C:
		}
	}
}

// streamOver notes why a stream ended; there is nobody left to tell.
func (a *api) streamOver(c *call, err error) error {
	a.log.DebugContext(c.Request().Context(), "stream of events ended", "request_id", requestID(c), "why", err)
	return nil
}

// appendEvent writes an event of a stream. Bodies are JSON on one line.
func appendEvent(b []byte, e *record.Event, body []byte) []byte {
	b = append(append(b, "id: "...), e.ID.String()...)
	b = append(append(b, "\nevent: "...), e.Kind...)
	b = append(append(b, "\ndata: "...), body...)
	return append(b, "\n\n"...)
}
