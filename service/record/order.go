package record

import (
	"time"

	"github.com/google/uuid"

	"hatchwright/service/money"
)

// OrderState is how far an order has come.
type OrderState string

// The states, see package order for the steps between them.
const (
	OrderReceived  OrderState = "received"
	OrderScheduled OrderState = "scheduled"
	OrderInWork    OrderState = "in_work"
	OrderOnHold    OrderState = "on_hold"
	OrderReady     OrderState = "ready"
	OrderShipped   OrderState = "shipped"
	OrderCancelled OrderState = "cancelled"
)

// OrderStates lists the states in the order in which an order comes to them.
var OrderStates = []OrderState{OrderReceived, OrderScheduled, OrderInWork, OrderOnHold, OrderReady, OrderShipped, OrderCancelled}

// Valid tells whether s is one of the states above.
func (s OrderState) Valid() bool {
	for _, k := range OrderStates {
		if s == k {
			return true
		}
	}
	return false
}

// Closed tells whether nothing about an order in this state changes any more.
func (s OrderState) Closed() bool { return s == OrderShipped || s == OrderCancelled }

// Order is a quote that was ordered. What was ordered is in the quote's lines.
type Order struct {
	ID                uuid.UUID
	DealerID          *uuid.UUID // nil: the shop's own
	QuoteID           uuid.UUID  // each quote is ordered once at most
	State             OrderState
	Version           int    // 1, and one more with each change: the ETag
	PurchaseReference string // the owner's own, "" when none was given
	Replaces          *uuid.UUID
	Promise           string // local date in the shop's zone, ISO 8601
	Total             money.Amount

	HeldFrom OrderState // the state before the hold; "" unless on hold
	HeldBy   Role       // who holds it; "" unless on hold
	Reason   string     // of the hold or the cancellation, "" for none
	Carrier  string     // of the shipment, "" for none
	Tracking string

	CreatedAt time.Time
	UpdatedAt time.Time
}

// OperationRecord is what the floor wrote down about one operation.
type OperationRecord struct {
	OrderID    uuid.UUID
	Operation  string // Operation.Key
	StartedAt  time.Time
	FinishedAt *time.Time // nil: not yet
	Hours      *float64   // actual person-hours; nil: not written down
	UpdatedAt  time.Time
	By         Actor
}
