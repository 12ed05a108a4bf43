package service

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/money"
	"hatchwright/service/order"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// NotMakeableError carries the ruling on a configuration that cannot be made.
type NotMakeableError struct{ Ruling derivation.Ruling }

// Error names the first finding.
func (e *NotMakeableError) Error() string {
	if len(e.Ruling.Findings) == 0 {
		return "not makeable"
	}
	return "not makeable: " + e.Ruling.Findings[0].Message(e.Ruling.Configuration.Units)
}

func badField(pointer, code, message string) *fault.Error {
	e := fault.New(fault.Invalid, "One thing is wrong with the request; see errors.")
	e.Fields = []fault.Field{{Pointer: pointer, Code: code, Message: message}}
	return e
}

func unknownField(cause error, pointer, detail, message string) *fault.Error {
	e := fault.Wrap(fault.NotFound, cause, "%s", detail)
	e.Fields = []fault.Field{{Pointer: pointer, Code: "unknown", Message: message}}
	return e
}

func unknownDealer(cause error) error {
	e := fault.Wrap(fault.NotFound, cause, "There is no such dealer.")
	e.Fields = []fault.Field{{Pointer: "/dealer_id", Code: "unknown", Message: "Give the id of a dealer, or leave it out."}}
	return e
}

// stale is the refusal of a change that was based on another version than the
// present one, 0 where that is not known.
func stale(present int) *order.Refusal {
	r := &order.Refusal{Reason: order.Stale, Version: present, Detail: "It changed since you read it. Read it again and send its ETag in If-Match."}
	if present > 0 {
		r.Detail = fmt.Sprintf(`It changed since you read it: its ETag is "%d" now. Read it again and send that in If-Match.`, present)
	}
	return r
}

// staleVersion is the refusal for a version that another change overtook.
func staleVersion(err error) error {
	if errors.Is(err, store.ErrStaleVersion) {
		return stale(0)
	}
	return err
}

// needReason refuses a hold or a cancellation that does not say why.
func needReason(reason string) error {
	if strings.TrimSpace(reason) == "" {
		return badField("/reason", "missing", "Say why, for whoever reads the order's history.")
	}
	return nil
}

// isoDay refuses what is no calendar date.
func isoDay(pointer, day string) error {
	if !order.IsDate(day) {
		return badField(pointer, "date", fmt.Sprintf("%q is no calendar date like 2027-03-05.", day))
	}
	return nil
}

// sentence is what an error says, to be read by itself.
func sentence(err error) string {
	text := err.Error()
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// worthless refuses a price at or below zero, whatever the shop's documents say.
func worthless(pointer string, price money.Amount) error {
	e := fault.New(fault.Conflict, "This comes to a price of %v: nothing is sold at or below zero. The shop has to mend its price book.", price)
	e.Fields = []fault.Field{{Pointer: pointer, Code: "price_not_positive", Message: fmt.Sprintf("The price is %v. Ask the shop to mend its price book, and ask again.", price)}}
	return e
}

// moldWritten says what a store said of a mold.
func moldWritten(err error) error {
	switch {
	case errors.Is(err, store.ErrConflict):
		e := fault.Wrap(fault.Conflict, err, "There is a mold with this tag already.")
		e.Fields = []fault.Field{{Pointer: "/tag", Code: "taken", Message: "Tags of molds that are not retired are unique. Paint another one on it, or leave it out."}}
		return e
	case errors.Is(err, store.ErrNotFound):
		return unknownField(err, "/dealer_id", "There is no such dealer.", "Give the id of a dealer, or null for a mold that everybody may have parts from.")
	}
	return err
}

// refusalFault makes a fault of what the rules of orders refuse; the refusal stays
// its cause, so that whoever answers can tell the reasons apart.
func refusalFault(err error) error {
	var f *fault.Error
	var r *order.Refusal
	if err == nil || (errors.As(err, &f) && f.Kind != fault.Internal) || !errors.As(err, &r) {
		return err
	}
	switch r.Reason {
	case order.NotYours:
		return fault.Wrap(fault.Forbidden, r, "%s", r.Detail)
	case order.NoSuchOperation, order.EventUnknown, order.EventGone:
		return fault.Wrap(fault.NotFound, r, "%s", r.Detail)
	case order.AddressRefused, order.RecordOrder:
		refused := fault.Wrap(fault.Invalid, r, "%s", r.Detail)
		if r.Pointer != "" {
			refused.Fields = []fault.Field{{Pointer: r.Pointer, Code: string(r.Reason), Message: r.Detail}}
		}
		return refused
	default:
		return fault.Wrap(fault.Conflict, r, "%s", r.Detail)
	}
}

// stockFault makes a fault of what the rules of the stock refuse; the refusal stays
// its cause.
func stockFault(err error) error {
	var r *stockroom.Refusal
	if !errors.As(err, &r) {
		return err
	}
	field := fault.Field{Pointer: "/amount", Code: string(r.Reason), Message: r.Detail}
	kind := fault.Conflict
	switch r.Reason {
	case stockroom.WrongAmount:
		kind = fault.Invalid
	case stockroom.NoKind:
		kind, field.Pointer = fault.Invalid, "/kind"
	case stockroom.Unknown:
		kind, field.Pointer = fault.Invalid, "/lot/material"
	case stockroom.Expired:
		field.Pointer = "/lot_id"
	default:
	}
	f := fault.Wrap(kind, r, "%s", r.Detail)
	f.Fields = []fault.Field{field}
	return f
}

// storeFault says in the callers' words what a store said. Faults pass through.
// what names the thing that was looked for or written, like "dealer".
func storeFault(err error, what string) error {
	var f *fault.Error
	var n *NotMakeableError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &f), errors.As(err, &n):
		return err
	case errors.Is(err, store.ErrInDoubt):
		kind := fault.Unavailable
		if errors.Is(err, context.DeadlineExceeded) {
			kind = fault.Timeout
		}
		return fault.Wrap(kind, err, "The store went away in the midst of writing: it may have been written or not. Send the request again with the same Idempotency-Key; without one, look first whether it is there.")
	case errors.Is(err, store.ErrUnavailable):
		return fault.Wrap(fault.Unavailable, err, "The store is away. Nothing was written; try again.")
	case errors.Is(err, context.DeadlineExceeded):
		return fault.Wrap(fault.Timeout, err, "The request took too long. Try again.")
	case errors.Is(err, context.Canceled):
		return fault.Wrap(fault.Canceled, err, "The caller went away.")
	case errors.Is(err, store.ErrCursor):
		e := fault.Wrap(fault.Invalid, err, "The cursor is not one that this list gave out.")
		e.Fields = []fault.Field{{Parameter: "cursor", Code: "invalid_cursor", Message: "Not a cursor of this list with this filter. Leave it out to start again, or send next_cursor unchanged."}}
		return e
	case errors.Is(err, store.ErrNotFound), errors.Is(err, store.ErrOutOfScope):
		return fault.Wrap(fault.NotFound, err, "There is no such %s.", what)
	case errors.Is(err, store.ErrLostClaim):
		f := fault.Wrap(fault.InProgress, err, "Another attempt with the same Idempotency-Key took over. Nothing was written by this one; ask again for the other's answer.")
		f.After = claimTime
		return f
	case errors.Is(err, store.ErrConflict):
		return fault.Wrap(fault.Conflict, err, "The %s collides with one that is there.", what)
	}
	return fault.Wrap(fault.Internal, err, "Something went wrong that is not your doing.")
}

// ended is the fault of a context that ended before the work did.
func ended(ctx context.Context) error { return storeFault(ctx.Err(), "request") }
