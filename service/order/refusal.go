package order

// Reason says why a step on a quote or an order was refused, in a word that stays
// the same.
type Reason string

// The reasons.
const (
	QuoteExpired    Reason = "quote-expired"      // its time is over
	QuoteOrdered    Reason = "quote-ordered"      // an order was placed from it
	QuoteWithdrawn  Reason = "quote-withdrawn"    // it was taken back
	MoldTaken       Reason = "mold-taken"         // pulls that the quote counts on are no longer free
	StockTaken      Reason = "stock-taken"        // stock that the quote counts on is no longer free
	WrongState      Reason = "order-state"        // the table has no such step from the order's state
	NotYours        Reason = "order-role"         // the step is there, for another role
	Stale           Reason = "stale-version"      // it changed since the caller read it
	OrderClosed     Reason = "order-closed"       // shipped or cancelled: nothing changes any more
	RecordFinal     Reason = "operation-recorded" // a finished operation was recorded otherwise before
	RecordOrder     Reason = "operation-times"    // the record finishes before it starts, or lies ahead
	NoSuchOperation Reason = "operation-unknown"  // the order has no such operation
	AddressRefused  Reason = "webhook-address"    // the endpoint is where the service may not call
	DeliveryWaits   Reason = "delivery-waits"     // an earlier one of the same order comes first
	EventUnknown    Reason = "event-unknown"      // the last event that the reader names is not there
	EventGone       Reason = "event-gone"         // what came after the reader's last event is no longer kept whole
	SlowReader      Reason = "slow-reader"        // the reader fell too far behind and is let go
	SecretsFull     Reason = "webhook-secrets"    // as many secrets as may overlap are there
	AllowanceFull   Reason = "allowance-full"     // a dealer has as many as its keys may create
)

// Refusal is a step refused by the rules. The state is unchanged.
type Refusal struct {
	Reason Reason
	Detail string // a sentence that says what and how to mend
	// Pointer is where in the record that was sent, "" for all of it.
	Pointer string
	// Version is the present one of what changed meanwhile, 0 where that is not known.
	Version int
}

func (r *Refusal) Error() string { return r.Detail }

func refuse(reason Reason, detail string) *Refusal { return &Refusal{Reason: reason, Detail: detail} }
