package service

import (
	"context"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// change is once for what writes events: afterwards it wakes who waits for them.
func change[T any](ctx context.Context, s *Service, c Caller, claim *Claim, what string, prepare func() (write[T], error)) (Made[T], error) {
	made, err := once(ctx, s, c, claim, what, prepare)
	if err == nil {
		s.bell.ring()
	}
	return made, refusalFault(err)
}

// emit writes one event for each of data. Call it last in the transaction.
func (s *Service) emit(ctx context.Context, tx store.Registers, c Caller, events ...pendingEvent) error {
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

// pendingEvent is an event that is still to be written.
type pendingEvent struct {
	kind order.Kind
	data any
}
