package order

// Kind names an event, noun first: what it is about, then what happened to it.
type Kind string

// The kinds.
const (
	QuoteMade         Kind = "quote.made"
	QuoteTakenBack    Kind = "quote.withdrawn"
	OrderReceived     Kind = "order.received"
	OrderScheduled    Kind = "order.scheduled"
	OrderStarted      Kind = "order.started"
	OperationRecorded Kind = "operation.recorded"
	OrderReady        Kind = "order.ready"
	OrderHeld         Kind = "order.held"
	OrderReleased     Kind = "order.released"
	OrderCancelled    Kind = "order.cancelled"
	OrderShipped      Kind = "order.shipped"
	PromiseChanged    Kind = "order.promise_changed"
	WebhookMade       Kind = "webhook.created"
	WebhookRotated    Kind = "webhook.secret_rotated"
	WebhookDisabled   Kind = "webhook.disabled"
	WebhookRevived    Kind = "webhook.enabled"
	WebhookDeleted    Kind = "webhook.deleted"
)

// Kinds lists every kind with what it says, for the contract and for checking
// what an endpoint subscribes to.
var Kinds = []struct {
	Kind    Kind
	Meaning string
}{
	{QuoteMade, "A quote was made."},
	{QuoteTakenBack, "A quote was taken back before it was ordered."},
	{OrderReceived, "An order was placed from a quote."},
	{OrderScheduled, "The order has its place in the schedule, and the date that follows from it."},
	{OrderStarted, "The first operation of the order began."},
	{OperationRecorded, "An operation was recorded on the floor: begun, or finished with its hours."},
	{OrderReady, "Every operation is finished; the order waits to be shipped."},
	{OrderHeld, "The order was put on hold."},
	{OrderReleased, "The hold was lifted; the order is as it was before."},
	{OrderCancelled, "The order was cancelled, or replaced by the order of a revised quote."},
	{OrderShipped, "The order left the shop."},
	{PromiseChanged, "The promised date moved; the cause is given."},
	{WebhookMade, "A webhook endpoint was added."},
	{WebhookRotated, "An endpoint got another secret; the older ones go on for the overlap."},
	{WebhookDisabled, "An endpoint failed for too long and is no longer called; its deliveries are parked."},
	{WebhookRevived, "An endpoint answered a delivery resent by hand; its parked deliveries go out."},
	{WebhookDeleted, "A webhook endpoint was removed."},
}

// Known tells whether a word names a kind.
func Known(word string) bool {
	for _, k := range Kinds {
		if string(k.Kind) == word {
			return true
		}
	}
	return false
}
