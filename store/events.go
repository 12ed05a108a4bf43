package store

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// Events are what happened, kept for good: the history of quotes and orders, and
// the outbox of webhooks and streams.
//
// Writers take turns from Append to the end of their transaction: sequences rise
// in the order of commits, without a gap. So whoever has read up to a sequence has
// not missed a smaller one that was still on its way.
type Events interface {
	// Append adds events and returns them with their sequences, in the order
	// given. Call it last in the transaction that does what the events tell: from
	// then on other writers of events wait for its end.
	Append(ctx context.Context, scope Scope, events ...record.Event) ([]record.Event, error)

	// After returns events with a greater sequence, at most limit of them, by
	// sequence.
	After(ctx context.Context, scope Scope, sequence int64, limit int) ([]record.Event, error)

	// Get returns an event by its id.
	Get(ctx context.Context, scope Scope, id uuid.UUID) (record.Event, error)

	// Last returns the sequence of the newest event of any owner, 0 for none.
	Last(ctx context.Context) (int64, error)

	// List lists the events of one subject, newest first.
	List(ctx context.Context, scope Scope, subject record.Subject, page Page) (Listing[record.Event], error)
}

// EventPlace names the list of one subject's events for its cursors.
func EventPlace(scope Scope, s record.Subject) Place {
	return newPlace("events", scope, s.Kind, s.ID.String())
}

// CheckEvent says whether an event can be stored.
func CheckEvent(e record.Event) error {
	return first(
		present("id", e.ID),
		text("kind", e.Kind, 1, maxText),
		text("kind of subject", e.Subject.Kind, 1, maxText),
		present("subject", e.Subject.ID),
		actor(e.Actor),
		when("creation time", e.CreatedAt),
		document("body", e.Body, true),
	)
}
