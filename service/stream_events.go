package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// Limits of a stream of events.
const (
	// streamBatch is how many events one reading returns while a reader catches up.
	streamBatch = 200
	// slowBehind is how many events a reader that had caught up may fall behind
	// before it is let go: it comes back with its last id and loses nothing.
	slowBehind = 1000
)

// Stream reads events one after the other, without a gap and without one twice. It
// belongs to one reader.
type Stream struct {
	service  *Service
	scope    store.Scope
	position int64
	current  bool // has had everything once
}

// KeysEnded returns a channel that is closed when this process next revokes or rotates
// a key. Take it before looking at a key.
func (s *Service) KeysEnded() <-chan struct{} { return s.keysEnded.wait() }

// StreamEvents starts a stream after the event of that id, which the reader saw
// last, or, for nil, at what happens from now on. It reads the caller's own events;
// the shop's reads everybody's. An id that is not there for the caller gives a
// fault with the reason order.EventUnknown, one older
// than what is kept order.EventGone.
//
// A stream holds nothing between two readings but its place: it goes on with any
// process on the same store.
func (s *Service) StreamEvents(ctx context.Context, c Caller, after *uuid.UUID) (*Stream, error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return nil, err
	}
	stream := &Stream{service: s, scope: c.Scope()}
	if after == nil {
		var err error
		stream.position, err = s.store.Events().Last(ctx)
		return stream, storeFault(err, "event")
	}
	from, at, err := s.store.Retention().EventsFrom(ctx)
	if err != nil {
		return nil, storeFault(err, "event")
	}
	gone := refusalFault(&order.Refusal{Reason: order.EventGone, Detail: fmt.Sprintf(
		"What happened after that event is no longer kept whole: events are given again from %s on. Read what you follow anew, then connect without Last-Event-ID.", order.Instant(at))})
	e, err := s.store.Events().Get(ctx, c.Scope(), *after)
	if err == nil && e.Sequence < from {
		return nil, gone // of an order's history
	}
	// The id tells its age by itself, whoever's it was.
	if errors.Is(err, store.ErrNotFound) && after.Version() == 7 && time.Unix(after.Time().UnixTime()).Before(at) {
		return nil, gone
	}
	if errors.Is(err, store.ErrNotFound) {
		return nil, refusalFault(&order.Refusal{Reason: order.EventUnknown, Detail: "There is no event by the id in Last-Event-ID. Leave it out to start with what happens from now on."})
	}
	stream.position = e.Sequence
	return stream, storeFault(err, "event")
}

// Next returns the events that come next, at least one; or none when wait is over,
// time for a sign of life. A reader that falls too far behind gets a fault with the
// reason order.SlowReader.
func (t *Stream) Next(ctx context.Context, wait time.Duration) ([]record.Event, error) {
	deadline := time.NewTimer(wait)
	defer deadline.Stop()
	poll := time.NewTicker(pollEvery)
	defer poll.Stop()
	for {
		written := t.service.bell.wait()
		limit := streamBatch
		if t.current {
			limit = slowBehind + 1
		}
		list, err := t.service.store.Events().After(ctx, t.scope, t.position, limit)
		if err != nil {
			return nil, storeFault(err, "event")
		}
		if t.current && len(list) > slowBehind {
			return nil, refusalFault(&order.Refusal{Reason: order.SlowReader,
				Detail: fmt.Sprintf("The reader is more than %d events behind. Connect again with the id of the last event that you have.", slowBehind)})
		}
		t.current = t.current || len(list) < limit
		if len(list) > 0 {
			t.position = list[len(list)-1].Sequence
			return list, nil
		}
		select {
		case <-ctx.Done():
			return nil, storeFault(ctx.Err(), "event")
		case <-deadline.C:
			return nil, nil
		case <-written:
		case <-poll.C:
		}
	}
}
