package service

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/service/webhook"
	"hatchwright/store"
)

// DeliverWebhooks makes events into deliveries and calls endpoints until ctx ends,
// then waits for the calls that run. Any number of processes may do so on one
// store.
//
// A process that is killed leaves its deliveries held until the lease is over;
// then another attempt is made: a receiver may get an event twice, with the same
// webhook-id, and never none.
func (s *Service) DeliverWebhooks(ctx context.Context) {
	defer s.hooks.caller.Close()
	var running sync.WaitGroup
	defer running.Wait()
	slots := make(chan struct{}, deliverySlots)
	freed := make(chan struct{}, 1)
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	for ctx.Err() == nil {
		written := s.bell.wait()
		claimed := 0
		if err := s.fanOut(ctx); err != nil {
			s.log.WarnContext(ctx, "events not made into deliveries; tried again", "error", err)
		}
		list, token, err := s.claimDeliveries(ctx, deliverySlots-len(slots))
		if err != nil {
			s.log.WarnContext(ctx, "deliveries not claimed; tried again", "error", err)
		}
		for _, d := range list {
			claimed++
			slots <- struct{}{}
			running.Add(1)
			go func() {
				defer running.Done()
				defer func() {
					<-slots
					select {
					case freed <- struct{}{}:
					default:
					}
				}()
				s.attempt(ctx, d, token)
			}()
		}
		if claimed > 0 && len(slots) < deliverySlots {
			continue
		}
		select {
		case <-ctx.Done():
		case <-written:
		case <-freed:
		case <-tick.C:
		}
	}
}

// DeliverDue makes events into deliveries and makes one attempt at each that is
// due, and tells how many it made: a turn of DeliverWebhooks that waits for its
// own calls.
func (s *Service) DeliverDue(ctx context.Context) (attempts int, err error) {
	if err := s.fanOut(ctx); err != nil {
		return 0, err
	}
	list, token, err := s.claimDeliveries(ctx, deliverySlots)
	if err != nil {
		return 0, err
	}
	var running sync.WaitGroup
	for _, d := range list {
		running.Go(func() { s.attempt(ctx, d, token) })
	}
	running.Wait()
	return len(list), nil
}

func (s *Service) claimDeliveries(ctx context.Context, most int) ([]record.Delivery, uuid.UUID, error) {
	if most <= 0 {
		return nil, uuid.Nil, nil
	}
	token, err := s.newID()
	if err != nil {
		return nil, token, err
	}
	now := s.now()
	list, err := s.store.Deliveries().Claim(ctx, worker.Scope(), store.DeliveryClaim{Token: token, Now: now, Until: now.Add(deliveryLease), Limit: most, PerEndpoint: endpointSlots})
	return list, token, storeFault(err, "delivery")
}

// fanOut makes every event that was not yet made so into a delivery for each
// endpoint that hears it.
func (s *Service) fanOut(ctx context.Context) error {
	for {
		more := false
		err := s.store.InTx(ctx, func(tx store.Tx) error {
			scope := worker.Scope()
			place, ok, err := tx.Deliveries().Pending(ctx, scope)
			if err != nil || !ok {
				return err // another process is at it
			}
			events, err := tx.Events().After(ctx, scope, place, fanOutBatch)
			if err != nil || len(events) == 0 {
				return err
			}
			more = len(events) == fanOutBatch
			endpoints, err := every(func(p store.Page) (store.Listing[record.Webhook], error) { return tx.Webhooks().List(ctx, scope, p) })
			if err != nil {
				return err
			}
			var list []record.Delivery
			for _, e := range events {
				for _, w := range endpoints {
					if !hears(w, e) {
						continue
					}
					d, err := s.newDelivery(w, e)
					if err != nil {
						return err
					}
					list = append(list, d)
				}
			}
			return tx.Deliveries().Insert(ctx, scope, events[len(events)-1].Sequence, list...)
		})
		if err != nil || !more {
			return storeFault(err, "delivery")
		}
	}
}

// hears tells whether an endpoint is called with an event: its owner's, of a kind
// that it wants, after it was made. The shop's endpoints hear everybody's.
func hears(w record.Webhook, e record.Event) bool {
	return (w.DealerID == nil || sameOwner(w.DealerID, e.DealerID)) &&
		(len(w.Kinds) == 0 || slices.Contains(w.Kinds, e.Kind)) && e.Sequence > w.Since
}

func (s *Service) newDelivery(w record.Webhook, e record.Event) (record.Delivery, error) {
	id, err := s.newID()
	now := s.now()
	d := record.Delivery{ID: id, WebhookID: w.ID, DealerID: w.DealerID, EventID: e.ID, EventKind: e.Kind, Sequence: e.Sequence, Subject: e.Subject.ID,
		State: record.DeliveryPending, NextAt: now, CreatedAt: now}
	if w.DisabledAt != nil {
		d.State = record.DeliveryParked // never dropped
	}
	return d, err
}

// attempt calls the endpoint of a claimed delivery once and keeps the outcome.
func (s *Service) attempt(ctx context.Context, d record.Delivery, token uuid.UUID) {
	outcome, w, err := s.call(ctx, d)
	if err == nil && ctx.Err() != nil && outcome.Err != nil {
		// The process is stopping: the attempt was cut short and does not count.
		err = ctx.Err()
	}
	// The outcome is kept although the process may be stopping.
	keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), settleTime)
	defer cancel()
	if err != nil {
		if !errors.Is(err, context.Canceled) {
			s.log.WarnContext(ctx, "delivery not attempted; tried again", "delivery", d.ID, "error", err)
			d.NextAt = s.now().Add(pollEvery)
		}
		err = s.store.Deliveries().Finish(keep, worker.Scope(), d, token)
	} else {
		err = s.settle(keep, d, token, w, outcome)
	}
	switch {
	case err == nil:
		s.bell.ring()
	case !errors.Is(err, store.ErrLostClaim): // gone with its endpoint, or another's by now
		s.log.WarnContext(ctx, "outcome of a delivery not kept; it is tried again when its lease is over", "delivery", d.ID, "error", err)
	}
}

// errSecretShut is what the owner of an endpoint is told of a secret that does not
// open.
var errSecretShut = errors.New("the service cannot open the endpoint's signing secret: tell the shop")

// audience is the role of whoever reads what an endpoint is called with.
func audience(w record.Webhook) record.Role {
	if w.DealerID == nil {
		return record.RoleShop
	}
	return record.RoleDealer
}

// call makes one call. The error says that it could not be made at all.
func (s *Service) call(ctx context.Context, d record.Delivery) (webhook.Outcome, record.Webhook, error) {
	e, err := s.store.Events().Get(ctx, worker.Scope(), d.EventID)
	if err != nil {
		return webhook.Outcome{}, record.Webhook{}, err
	}
	w, err := s.store.Webhooks().Get(ctx, worker.Scope(), d.WebhookID)
	if err != nil {
		return webhook.Outcome{}, w, err
	}
	now := s.now()
	body, err := s.wire.Event(e.Body, audience(w))
	if err != nil {
		return webhook.Outcome{}, w, err
	}
	m := webhook.Message{ID: e.ID.String(), At: now, Body: body}
	for _, secret := range w.Secrets {
		if !secret.LiveAt(now) {
			continue
		}
		text, err := s.hooks.vault.Open(secret.Sealed, w.ID.String())
		if err != nil {
			// An attempt like any other that failed: its owner sees why, and it goes
			// on once the operator has put the key right.
			s.log.ErrorContext(ctx, "a webhook's secret cannot be opened; is the key it was sealed with configured?", "webhook", w.ID, "error", err)
			return webhook.Outcome{Err: errSecretShut}, w, nil
		}
		m.Secrets = append(m.Secrets, text)
	}
	return s.hooks.caller.Call(ctx, w.URL, m), w, nil
}

// longestError bounds what is kept of why an attempt failed, bytes.
const longestError = 300

// settle keeps the outcome of an attempt. In the transaction the endpoint comes
// before the delivery, as everywhere, so that no two wait for each other.
func (s *Service) settle(ctx context.Context, d record.Delivery, token uuid.UUID, w record.Webhook, outcome webhook.Outcome) error {
	now := s.now()
	d.Attempts++
	d.AttemptedAt, d.LastStatus, d.LastError = &now, outcome.Status, ""
	if outcome.Err != nil {
		d.LastError = outcome.Err.Error()
		d.LastError = d.LastError[:min(len(d.LastError), longestError)]
	}
	random, err := s.unit()
	if err != nil {
		return err
	}
	return s.store.InTx(ctx, func(tx store.Tx) error {
		scope := worker.Scope()
		if outcome.Err == nil {
			d.State = record.DeliveryDelivered
			if d.DeliveredAt == nil {
				d.DeliveredAt = &now
			}
			if err := tx.Webhooks().NoteSuccess(ctx, scope, w.ID); err != nil {
				return err
			}
			revived := false
			if w.DisabledAt != nil { // resent by hand, and it works again
				if revived, err = tx.Webhooks().Enable(ctx, scope, w.ID, now); err != nil {
					return err
				}
			}
			if err := tx.Deliveries().Finish(ctx, scope, d, token); err != nil || !revived {
				return err
			}
			w.DisabledReason = ""
			return s.emit(ctx, tx, worker, pendingEvent{order.WebhookRevived, order.AboutWebhook(w)})
		}
		since, err := tx.Webhooks().NoteFailure(ctx, scope, w.ID, now)
		if errors.Is(err, store.ErrNotFound) {
			return store.ErrLostClaim // removed meanwhile, with its deliveries
		}
		if err != nil {
			return err
		}
		wait, again := webhook.Wait(d.Attempts, random)
		if outcome.After > 0 {
			// All calls to the endpoint wait, not this one alone.
			if err := tx.Webhooks().Pause(ctx, scope, w.ID, now.Add(outcome.After)); err != nil {
				return err
			}
		}
		d.NextAt = now.Add(max(wait, outcome.After))
		if !again {
			d.State = record.DeliveryParked
		}
		disabled := false
		if outcome.Gone() || !again && now.Sub(since) >= webhook.DisableAfter {
			w.DisabledReason = fmt.Sprintf("no success since %s; the last attempt: %s", order.Instant(since), d.LastError)
			if outcome.Gone() {
				w.DisabledReason = "the receiver answered 410: it wants no more calls"
			}
			if disabled, err = tx.Webhooks().Disable(ctx, scope, w.ID, now, w.DisabledReason); err != nil {
				return err
			}
		}
		if err := tx.Deliveries().Finish(ctx, scope, d, token); err != nil || !disabled {
			return err
		}
		return s.emit(ctx, tx, worker, pendingEvent{order.WebhookDisabled, order.AboutWebhook(w)})
	})
}

// unit draws a number in [0, 1): 53 random bits, as many as a float64 holds.
func (s *Service) unit() (float64, error) {
	var b [8]byte
	if _, err := io.ReadFull(s.random, b[:]); err != nil {
		return 0, fmt.Errorf("random source: %w", err)
	}
	return float64(binary.BigEndian.Uint64(b[:])>>11) / (1 << 53), nil
}
