package order

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/money"
	"hatchwright/service/record"
)

// What events carry. The words are those of the contract; a field that says
// nothing is left out. Lengths do not occur. An event tells what was so when it
// happened, so a receiver that gets it late can tell by the version.

// Envelope is an event as it goes out.
type Envelope struct {
	ID        string `json:"id"`
	Type      Kind   `json:"type"`
	Timestamp string `json:"timestamp"` // RFC 3339, UTC
	Data      any    `json:"data"`      // QuoteData, OrderData or WebhookData
}

// Money is an amount on the wire.
type Money struct {
	Amount   string `json:"amount"`
	Currency string `json:"currency"`
}

// QuoteData is what an event says of a quote.
type QuoteData struct {
	QuoteID    uuid.UUID         `json:"quote_id"`
	DealerID   *uuid.UUID        `json:"dealer_id"`
	State      record.QuoteState `json:"state"`
	Version    int               `json:"version"`
	Reference  string            `json:"reference,omitempty"`
	Revises    *uuid.UUID        `json:"revises,omitempty"` // order
	Promise    string            `json:"promise"`
	ValidUntil string            `json:"valid_until"`
	Total      Money             `json:"total"`
}

// OrderData is what an event says of an order.
type OrderData struct {
	OrderID           uuid.UUID         `json:"order_id"`
	QuoteID           uuid.UUID         `json:"quote_id"`
	DealerID          *uuid.UUID        `json:"dealer_id"`
	State             record.OrderState `json:"state"`
	Version           int               `json:"version"`
	PurchaseReference string            `json:"purchase_reference,omitempty"`
	Promise           string            `json:"promise"`
	Total             Money             `json:"total"`
	Replaces          *uuid.UUID        `json:"replaces,omitempty"`    // order
	ReplacedBy        *uuid.UUID        `json:"replaced_by,omitempty"` // order
	Reason            string            `json:"reason,omitempty"`
	Carrier           string            `json:"carrier,omitempty"`
	Tracking          string            `json:"tracking,omitempty"`
	PromisedBefore    string            `json:"promised_before,omitempty"`
	Cause             string            `json:"cause,omitempty"`
	Operation         string            `json:"operation,omitempty"`
	StartedAt         string            `json:"started_at,omitempty"`
	FinishedAt        string            `json:"finished_at,omitempty"`
	Hours             *float64          `json:"hours,omitempty"`
}

// WebhookData is what an event says of an endpoint.
type WebhookData struct {
	WebhookID uuid.UUID  `json:"webhook_id"`
	DealerID  *uuid.UUID `json:"dealer_id"`
	URL       string     `json:"url"`
	Reason    string     `json:"reason,omitempty"`
}

// Amount puts an amount on the wire.
func Amount(a money.Amount) Money { return Money{Amount: a.Value.String(), Currency: a.Currency} }

// Instant puts an instant on the wire: RFC 3339, UTC, milliseconds.
func Instant(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z07:00") }

// AboutQuote is what there is to say of a quote.
func AboutQuote(q record.Quote) QuoteData {
	return QuoteData{QuoteID: q.ID, DealerID: q.DealerID, State: q.State, Version: q.Version, Reference: q.Reference, Revises: q.Revises,
		Promise: q.Promise, ValidUntil: Instant(q.ValidUntil), Total: Amount(q.Total)}
}

// AboutOrder is what there is to say of an order.
func AboutOrder(o record.Order) OrderData {
	return OrderData{OrderID: o.ID, QuoteID: o.QuoteID, DealerID: o.DealerID, State: o.State, Version: o.Version, PurchaseReference: o.PurchaseReference,
		Promise: o.Promise, Total: Amount(o.Total), Replaces: o.Replaces, Reason: o.Reason, Carrier: o.Carrier, Tracking: o.Tracking}
}

// AboutWebhook is what there is to say of an endpoint.
func AboutWebhook(w record.Webhook) WebhookData {
	return WebhookData{WebhookID: w.ID, DealerID: w.DealerID, URL: w.URL, Reason: w.DisabledReason}
}

// Subjects of events.
const (
	SubjectQuote   = "quote"
	SubjectOrder   = "order"
	SubjectWebhook = "webhook"
)

// NewEvent makes an event of data, which says what it is about and whose it is.
func NewEvent(id uuid.UUID, kind Kind, at time.Time, by record.Actor, data any) (record.Event, error) {
	e := record.Event{ID: id, Kind: string(kind), Actor: by, CreatedAt: record.Moment(at)}
	switch d := data.(type) {
	case QuoteData:
		e.DealerID, e.Subject = d.DealerID, record.Subject{Kind: SubjectQuote, ID: d.QuoteID}
	case OrderData:
		e.DealerID, e.Subject = d.DealerID, record.Subject{Kind: SubjectOrder, ID: d.OrderID}
	case WebhookData:
		e.DealerID, e.Subject = d.DealerID, record.Subject{Kind: SubjectWebhook, ID: d.WebhookID}
	default:
		return e, fmt.Errorf("event %q: %T is no data of an event", kind, data)
	}
	var body bytes.Buffer
	w := json.NewEncoder(&body)
	w.SetEscapeHTML(false)
	if err := w.Encode(Envelope{ID: id.String(), Type: kind, Timestamp: Instant(e.CreatedAt), Data: data}); err != nil {
		return e, fmt.Errorf("event %q: %w", kind, err)
	}
	e.Body = bytes.TrimSuffix(body.Bytes(), []byte("\n"))
	return e, nil
}
