package service

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// actor is the caller as events name it: a key by its id, a person by the role alone,
// since dealers read it, and the service itself by nothing.
func (c Caller) actor() record.Actor {
	switch id := c.KeyID; {
	case id != uuid.Nil:
		return record.Actor{KeyID: &id, Role: c.Role}
	case c.Subject != "":
		return record.Actor{Role: c.Role}
	}
	return record.Actor{}
}

// change is once for what writes events: afterwards it wakes who waits for them.
func change[T any](ctx context.Context, s *Service, c Caller, claim *Claim, what string, prepare func() (write[T], error)) (Made[T], error) {
	made, err := once(ctx, s, c, claim, what, prepare)
	if err == nil {
		s.bell.ring()
	}
	return made, refusalFault(err)
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

// stale is the refusal of a change that was based on another version than the
// present one, 0 where that is not known.
func stale(present int) *order.Refusal {
	r := &order.Refusal{Reason: order.Stale, Version: present, Detail: "It changed since you read it. Read it again and send its ETag in If-Match."}
	if present > 0 {
		r.Detail = fmt.Sprintf(`It changed since you read it: its ETag is "%d" now. Read it again and send that in If-Match.`, present)
	}
	return r
}

// emit writes one event for each of data. Call it last in the transaction.
func (s *Service) emit(ctx context.Context, tx store.Registers, c Caller, events ...happening) error {
	list := make([]record.Event, 0, len(events))
	for _, h := range events {
		id, err := s.newID()
		if err != nil {
			return err
		}
		e, err := order.NewEvent(id, h.kind, s.now(), c.actor(), h.data)
		if err != nil {
			return err
		}
		list = append(list, e)
	}
	_, err := tx.Events().Append(ctx, c.Scope(), list...)
	return err
}

// happening is an event to be.
type happening struct {
	kind order.Kind
	data any
}
