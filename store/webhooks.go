package store

import (
	"context"
	"strings"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// Webhooks are the endpoints that are called with events.
type Webhooks interface {
	// Insert adds an endpoint, and returns it with Since set. ErrConflict when the
	// id is taken; ErrNotFound when its dealer does not exist.
	Insert(ctx context.Context, scope Scope, webhook record.Webhook) (record.Webhook, error)

	// Get returns an endpoint.
	Get(ctx context.Context, scope Scope, id uuid.UUID) (record.Webhook, error)

	// List lists endpoints, newest first.
	List(ctx context.Context, scope Scope, page Page) (Listing[record.Webhook], error)

	// Update stores the secrets, version and time of change of an endpoint.
	// ErrStaleVersion unless the stored version is expected.
	Update(ctx context.Context, scope Scope, webhook record.Webhook, expected int) error

	// Delete removes an endpoint and its deliveries.
	Delete(ctx context.Context, scope Scope, id uuid.UUID) error

	// NoteFailure notes that an attempt failed at that time and returns since when
	// the endpoint has been failing without a success.
	NoteFailure(ctx context.Context, scope Scope, id uuid.UUID, at time.Time) (since time.Time, err error)

	// NoteSuccess notes that an attempt went well: the endpoint is not failing.
	NoteSuccess(ctx context.Context, scope Scope, id uuid.UUID) error

	// Pause keeps Claim from an endpoint's deliveries until then; a pause that ends
	// later stays. The zero time ends any pause.
	Pause(ctx context.Context, scope Scope, id uuid.UUID, until time.Time) error

	// Disable marks an endpoint as no longer called, and parks its pending
	// deliveries. changed is false when it was disabled already.
	Disable(ctx context.Context, scope Scope, id uuid.UUID, at time.Time, reason string) (changed bool, err error)

	// Enable undoes Disable, and makes every parked delivery of the endpoint
	// pending as new. changed is false when it was not disabled.
	Enable(ctx context.Context, scope Scope, id uuid.UUID, at time.Time) (changed bool, err error)
}

// Deliveries are events on their way to endpoints.
//
// Of the deliveries of one endpoint and one subject only the earliest that was
// never delivered can be claimed; a parked one holds the later ones back. One
// that was delivered and is resent stands apart: it waits for none and holds none
// back.
type Deliveries interface {
	// Pending takes the place up to which events were made into deliveries, and
	// holds it until the transaction ends. ok is false when another transaction
	// holds it. Call it in a transaction, within ShopScope.
	Pending(ctx context.Context, scope Scope) (sequence int64, ok bool, err error)

	// Insert adds deliveries and moves the place that Pending took to sequence.
	// One for an endpoint that is gone is left out.
	Insert(ctx context.Context, scope Scope, sequence int64, deliveries ...record.Delivery) error

	// Claim takes deliveries that are due, that nobody holds and whose endpoint is not
	// paused, for the holder of
	// the token until claim.Until. Of any number of claimants at once each
	// delivery goes to one.
	Claim(ctx context.Context, scope Scope, claim DeliveryClaim) ([]record.Delivery, error)

	// Finish stores the outcome of an attempt and lets the delivery go.
	// ErrLostClaim when token does not hold it any more.
	Finish(ctx context.Context, scope Scope, delivery record.Delivery, token uuid.UUID) error

	// Get returns a delivery.
	Get(ctx context.Context, scope Scope, id uuid.UUID) (record.Delivery, error)

	// Earliest returns the earliest delivery of the same endpoint and subject that
	// was never delivered. ErrNotFound when all were.
	Earliest(ctx context.Context, scope Scope, webhook, subject uuid.UUID) (record.Delivery, error)

	// Resend makes a delivery pending as new, due at that time.
	Resend(ctx context.Context, scope Scope, id uuid.UUID, at time.Time) (record.Delivery, error)

	// List lists the deliveries of an endpoint, newest first.
	List(ctx context.Context, scope Scope, filter DeliveryFilter, page Page) (Listing[record.Delivery], error)
}

// DeliveryClaim says what Claim may take.
type DeliveryClaim struct {
	Token       uuid.UUID
	Now, Until  time.Time
	Limit       int // in all
	PerEndpoint int // of one endpoint at once, held by anybody
}

// DeliveryFilter narrows a list of deliveries. WebhookID is needed.
type DeliveryFilter struct {
	WebhookID uuid.UUID
	State     record.DeliveryState
}

// WebhookPlace names the list of endpoints for its cursors.
func WebhookPlace(scope Scope) Place { return newPlace("webhooks", scope) }

// Place names a list for its cursors, see KeyFilter.Place.
func (f DeliveryFilter) Place(scope Scope) Place {
	return newPlace("deliveries", scope, f.WebhookID.String(), string(f.State))
}

// CheckWebhook says whether an endpoint can be stored.
func CheckWebhook(w record.Webhook) error {
	err := first(
		present("id", w.ID),
		text("address", w.URL, 1, 2*maxText),
		text("kinds of events", strings.Join(w.Kinds, " "), 0, 2*maxText),
		text("reason", w.DisabledReason, 0, maxText),
		whenever("end of the pause", w.PausedUntil),
		whenever("first failure", w.FailingSince),
		whenever("time of disabling", w.DisabledAt),
		when("creation time", w.CreatedAt),
		when("time of change", w.UpdatedAt),
	)
	switch {
	case err != nil:
		return err
	case len(w.Secrets) == 0:
		return invalid("an endpoint has a secret")
	case w.Version < 1:
		return invalid("the version %d is less than 1", w.Version)
	}
	for _, k := range w.Kinds {
		if k == "" || strings.ContainsAny(k, " \t\n") {
			return invalid("the kind of event %q is no single word", k)
		}
	}
	return nil
}

// CheckDelivery says whether a delivery can be stored.
func CheckDelivery(d record.Delivery) error {
	err := first(
		present("id", d.ID),
		present("endpoint", d.WebhookID),
		present("event", d.EventID),
		present("subject", d.Subject),
		text("kind of event", d.EventKind, 1, maxText),
		text("error", d.LastError, 0, maxText),
		when("next attempt", d.NextAt),
		whenever("last attempt", d.AttemptedAt),
		whenever("time of delivery", d.DeliveredAt),
		when("creation time", d.CreatedAt),
	)
	switch {
	case err != nil:
		return err
	case d.State != record.DeliveryPending && d.State != record.DeliveryDelivered && d.State != record.DeliveryParked:
		return invalid("the state %q is none of a delivery's", d.State)
	case d.Sequence < 1:
		return invalid("the sequence %d is less than 1", d.Sequence)
	case d.Attempts < 0:
		return invalid("%d attempts", d.Attempts)
	}
	return nil
}
