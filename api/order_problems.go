package api

import (
	"net/http"

	"hatchwright/service/order"
)

// The problems of quotes, orders, webhooks and streams.
var (
	problemPreconditionRequired = listed(problem{name: "precondition-required", status: http.StatusPreconditionRequired, title: "If-Match is missing",
		meaning: "This changes something that others change too, and the request does not say which version of it you have read.",
		remedy:  "Read the thing, look at what it is now, and send the ETag of that answer in If-Match. If-Match: * changes whatever is there."})
	problemPreconditionFailed = listed(problem{name: "precondition-failed", status: http.StatusPreconditionFailed, title: "It changed since you read it",
		meaning: "The version in If-Match is not the present one: somebody else was faster. Nothing was changed.",
		remedy:  "Read it again, see whether you still want the change, and send the new ETag in If-Match. The ETag of the refusal is the present one; to send that without reading is to undo what somebody else did."})
	problemCursor = listed(problem{name: "cursor-refused", status: http.StatusBadRequest, title: "Not a cursor of this list",
		meaning: "The cursor was not given out by this list, with this filter, to this caller; or it was changed on the way.",
		remedy:  "Send next_cursor unchanged with the filter of the page before, or leave the cursor out to begin anew. Following the Link header does both."})
	problemQuoteExpired = listed(problem{name: "quote-expired", status: http.StatusConflict, title: "The quote is over",
		meaning: "A quote freezes its price and date until valid_until, and that is past.",
		remedy:  "Make a new quote of the same configuration ids: price and date are worked out anew."})
	problemQuoteOrdered = listed(problem{name: "quote-ordered", status: http.StatusConflict, title: "The quote was ordered already",
		meaning: "Each quote is ordered once. If you did not mean to order twice, nothing is wrong: the first order stands.",
		remedy:  "Read the quote: order_id is its order. To order the same again, make a new quote. To repeat a request safely, send it with the same Idempotency-Key."})
	problemQuoteWithdrawn = listed(problem{name: "quote-withdrawn", status: http.StatusConflict, title: "The quote was withdrawn",
		meaning: "The quote was taken back, by its owner or by the shop. A withdrawn quote does not open again.",
		remedy:  "Make a new quote."})
	problemMoldTaken = listed(problem{name: "mold-taken", status: http.StatusConflict, title: "A mold that the quote counts on is taken",
		meaning: "The quote's price and date count on pulls of a mold that stands in the shop. Another order has reserved them since, or the mold is worn or retired. Nothing was ordered.",
		remedy:  "Make a new quote of the same configuration ids: it counts on what is free now, or builds a mold, and says price and date. The old quote stays open: should the other order be cancelled, it can be ordered after all.",
		outside: "A mold that the quote counts on is no longer free. Make a new quote: price and date are worked out anew."})
	problemStockTaken = listed(problem{name: "stock-taken", status: http.StatusConflict, title: "Stock that the quote counts on is taken",
		meaning: "The quote's date counts on material that was in stock. Another order has reserved it since, or it was used, scrapped, or will be past its date when it is needed. Nothing was ordered.",
		remedy:  "Make a new quote of the same configuration ids: it says by when the order can be done with what has to be bought. With a shop key the detail names the materials.",
		outside: "The quote counts on material that is no longer free. Make a new quote: it says by when the order can be done with what is bought."})
	problemOrderState = listed(problem{name: "order-state", status: http.StatusConflict, title: "Not from the state that the order is in",
		meaning: "The order is there, but what it is now does not lead to what was asked for: it is not ready to be shipped, not on hold, or already on it.",
		remedy:  "Read the order for its state. The detail says from which states this is possible."})
	problemOrderClosed = listed(problem{name: "order-closed", status: http.StatusConflict, title: "The order is over",
		meaning: "The order is shipped or cancelled; nothing about it changes any more.",
		remedy:  "For more of the same, make a new quote. To send something back, talk to the shop."})
	problemOrderRole = listed(problem{name: "order-role", status: http.StatusForbidden, title: "Only the shop can do this now",
		meaning: "As the order stands, only the shop may take this step: work has begun on it, or the shop itself put it on hold.",
		remedy:  "Ask the shop."})
	problemOperationRecorded = listed(problem{name: "operation-recorded", status: http.StatusConflict, title: "The operation is recorded as finished",
		meaning: "A finished operation keeps the record that it has. Sending the same record again is no error; this one differs.",
		remedy:  "Read the order for what was recorded. If that is wrong, leave it and tell whoever reads the hours."})
	problemOperationTimes = listed(problem{name: "operation-times", status: http.StatusBadRequest, title: "The record cannot be so",
		meaning: "The record finishes before it starts, lies ahead of the service's clock, or has hours without a finish.",
		remedy:  "Check the clock and the zone of the device, and record what has happened. The detail names the figure."})
	problemOperationUnknown = listed(problem{name: "operation-unknown", status: http.StatusNotFound, title: "The order has no such operation",
		meaning: "The order is there; none of its operations has this key.",
		remedy:  "Read the order: operations lists every key."})
	problemWebhookAddress = listed(problem{name: "webhook-address-refused", status: http.StatusBadRequest, title: "That address is not called",
		meaning: "Endpoints are called at public addresses over HTTPS. Private, loopback and link-local addresses are refused, and so are addresses with a user or a fragment in them.",
		remedy:  "Give an https:// address that is reached from the internet. Whoever runs the service can allow others (HATCHWRIGHT_WEBHOOK_PRIVATE)."})
	problemWebhookSecrets = listed(problem{name: "webhook-secrets-full", status: http.StatusConflict, title: "Too many secrets at once",
		meaning: "Each new secret lets the older ones go on for a day, so that a receiver can change over. As many as may overlap are in use.",
		remedy:  "Use the newest one, and wait until the oldest ends as the detail says."})
	problemAllowanceFull = listed(problem{name: "allowance-full", status: http.StatusConflict, title: "As many as the keys of a dealer may create",
		meaning: "The keys of a dealer together may keep, quote, order, register and change only so much in a time, so that one that is out of hand does not fill the shop's disk. The detail says what there is too much of, and how many there may be. Nothing was done.",
		remedy:  "Do what the detail says: delete what is not used any more, wait until the earliest no longer counts, or leave out what is not needed. If a program sends in a loop, stop it. The shop's own keys have no such limit."})
	problemDeliveryWaits = listed(problem{name: "delivery-waits", status: http.StatusConflict, title: "An earlier event goes first",
		meaning: "Events about one order arrive in their order. An earlier one of the same order is undelivered.",
		remedy:  "Resend the delivery that the detail names; the later ones follow by themselves."})
	problemEventUnknown = listed(problem{name: "event-unknown", status: http.StatusNotFound, title: "No such event to go on from",
		meaning: "Last-Event-ID names an event that is not there for this key.",
		remedy:  "Send the id of an event that you got with a key of the same owner, or leave the header out and read the orders anew."})
	problemEventGone = listed(problem{name: "event-gone", status: http.StatusGone, title: "That is longer ago than events are kept",
		meaning: "Last-Event-ID names an event from before what is kept for streams. What happened since cannot be given without a gap, so it is not given at all.",
		remedy:  "Catch up: read GET /v1/orders and GET /v1/quotes, page by page; GET /v1/orders/{id}/events has the whole history of an order, which is kept for good. Then connect without Last-Event-ID. To miss nothing in between, connect first and read the lists after."})
)

// byReason maps what the rules of orders refuse. A slow reader is told nothing: its
// stream ends.
var byReason = map[order.Reason]*problem{
	order.QuoteExpired:    problemQuoteExpired,
	order.QuoteOrdered:    problemQuoteOrdered,
	order.QuoteWithdrawn:  problemQuoteWithdrawn,
	order.MoldTaken:       problemMoldTaken,
	order.StockTaken:      problemStockTaken,
	order.WrongState:      problemOrderState,
	order.NotYours:        problemOrderRole,
	order.Stale:           problemPreconditionFailed,
	order.OrderClosed:     problemOrderClosed,
	order.RecordFinal:     problemOperationRecorded,
	order.RecordOrder:     problemOperationTimes,
	order.NoSuchOperation: problemOperationUnknown,
	order.AddressRefused:  problemWebhookAddress,
	order.DeliveryWaits:   problemDeliveryWaits,
	order.EventUnknown:    problemEventUnknown,
	order.EventGone:       problemEventGone,
	order.SecretsFull:     problemWebhookSecrets,
	order.AllowanceFull:   problemAllowanceFull,
}
