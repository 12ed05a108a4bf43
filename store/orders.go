package store

import (
	"context"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// Orders are quotes that were ordered.
type Orders interface {
	// Insert adds an order. ErrConflict when the id is taken or its quote was
	// ordered already; ErrNotFound when its dealer, its quote or the order it
	// replaces does not exist or belongs to another owner.
	Insert(ctx context.Context, scope Scope, order record.Order) error

	// Get returns an order.
	Get(ctx context.Context, scope Scope, id uuid.UUID) (record.Order, error)

	// Hold returns an order and keeps others from changing it until the transaction
	// ends. Call it in one, and before lots and molds are held.
	Hold(ctx context.Context, scope Scope, id uuid.UUID) (record.Order, error)

	// Update stores everything of an order but its id, owner, quote, what it
	// replaces, its total and its creation. ErrStaleVersion unless the stored
	// version is expected. Of several callers at once with the same expected
	// version exactly one succeeds.
	Update(ctx context.Context, scope Scope, order record.Order, expected int) error

	// List lists orders, newest first.
	List(ctx context.Context, scope Scope, filter OrderFilter, page Page) (Listing[record.Order], error)

	// PutOperation stores the record of an operation, over an earlier one of the
	// same operation. ErrNotFound when the order is not there. Call it in a
	// transaction that updates the order too, whose version decides between two
	// at once.
	PutOperation(ctx context.Context, scope Scope, operation record.OperationRecord) error

	// Operations returns the records of an order's operations, by operation. An
	// order that is not there has none.
	Operations(ctx context.Context, scope Scope, order uuid.UUID) ([]record.OperationRecord, error)
}

// OrderFilter narrows a list of orders.
type OrderFilter struct {
	DealerID          *uuid.UUID
	State             record.OrderState
	PurchaseReference string
	QuoteID           *uuid.UUID
	PromisedFrom      string // that day or later, ISO 8601
	PromisedTo        string // that day or earlier
}

// Place names a list for its cursors, see KeyFilter.Place.
func (f OrderFilter) Place(scope Scope) Place {
	return newPlace("orders", scope, id(f.DealerID), string(f.State), f.PurchaseReference, id(f.QuoteID), f.PromisedFrom, f.PromisedTo)
}

// CheckOrder says whether an order can be stored.
func CheckOrder(o record.Order) error {
	err := first(
		present("id", o.ID),
		present("quote", o.QuoteID),
		text("purchase reference", o.PurchaseReference, 0, maxText),
		text("reason", o.Reason, 0, maxText),
		text("carrier", o.Carrier, 0, maxText),
		text("tracking number", o.Tracking, 0, maxText),
		day("promise", o.Promise, true),
		total(o.Total),
		when("creation time", o.CreatedAt),
		when("time of change", o.UpdatedAt),
	)
	switch {
	case err != nil:
		return err
	case !o.State.Valid():
		return invalid("the state %q is none of an order's", o.State)
	case (o.State == record.OrderOnHold) != (o.HeldFrom != ""), (o.HeldFrom != "") != (o.HeldBy != ""):
		return invalid("an order says what it was before the hold, and who holds it, exactly while it is on hold")
	case o.HeldFrom != "" && !o.HeldFrom.Valid(), o.HeldBy != "" && !o.HeldBy.Valid():
		return invalid("the hold names no state or no role")
	case o.Version < 1:
		return invalid("the version %d is less than 1", o.Version)
	case o.Replaces != nil && *o.Replaces == o.ID:
		return invalid("an order cannot replace itself")
	}
	return nil
}

// CheckOperation says whether the record of an operation can be stored.
func CheckOperation(o record.OperationRecord) error {
	err := first(
		present("order", o.OrderID),
		text("operation", o.Operation, 1, maxText),
		when("start", o.StartedAt),
		whenever("finish", o.FinishedAt),
		when("time of change", o.UpdatedAt),
		actor(o.By),
	)
	switch {
	case err != nil:
		return err
	case o.FinishedAt != nil && o.FinishedAt.Before(o.StartedAt):
		return invalid("the operation finishes before it starts")
	case o.Hours != nil && !(*o.Hours >= 0 && *o.Hours < 1e6):
		return invalid("the hours %v are no amount of work", *o.Hours)
	}
	return nil
}
