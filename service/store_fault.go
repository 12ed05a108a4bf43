package service

import (
	"context"
	"errors"

	"hatchwright/service/fault"
	"hatchwright/store"
)

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
