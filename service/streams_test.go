package service_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// Readers that are cut off and come back 1,000 times, each time to the other of two
// copies of the service, while both write: each reader has exactly its own events,
// in order, none twice.
func TestStreamResumes(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		copies := []*service.Service{d.service, d.another(open(), nil)}
		readers := []service.Caller{d.shop, d.a, d.b}
		streams := make([]*service.Stream, len(readers))
		for i, c := range readers {
			var err error
			if streams[i], err = copies[0].StreamEvents(ctx, c, nil); err != nil {
				t.Fatal(err)
			}
		}
		a, b := d.ordered(d.a, d.quoted(d.a, d.kept(d.a))), d.ordered(d.b, d.quoted(d.b, d.kept(d.b)))
		const changes = 700
		var writers, reading sync.WaitGroup
		done := make(chan struct{})
		// The shop changes both orders: a dealer's key may not that often.
		for n, id := range []uuid.UUID{a.ID, b.ID} {
			writers.Go(func() {
				for i := range changes {
					change := service.OrderChange{ID: id}
					do := func() (err error) {
						if i%2 == 0 {
							_, err = copies[n].HoldOrder(ctx, d.shop, change, "why", nil)
						} else {
							_, err = copies[n].ReleaseOrder(ctx, d.shop, change, nil)
						}
						return err
					}
					err := do()
					// Two copies on one file can wait too long for each other on a slow
					// machine; the service says that nothing was written, try again.
					for tries := 0; tries < 5 && fault.KindOf(err) == fault.Unavailable; tries++ {
						err = do()
					}
					if err != nil {
						t.Error(err)
					}
				}
			})
		}
		const resumes = 1000
		for i, c := range readers {
			reading.Go(func() {
				random := rand.New(rand.NewPCG(uint64(i), 4))
				var got []record.Event
				stream, cuts := streams[i], 0
				for {
					finished := false
					select {
					case <-done:
						finished = true
					default:
					}
					list, err := stream.Next(ctx, 2*time.Millisecond)
					if err != nil {
						t.Error(err)
						return
					}
					if len(list) == 0 && finished && cuts >= resumes {
						break
					}
					// Cut off in the midst of what came: the rest comes again.
					if len(list) > 0 && (cuts < resumes || random.IntN(4) == 0) {
						list = list[:1+random.IntN(len(list))]
					}
					got = append(got, list...)
					var last *uuid.UUID
					if len(got) > 0 {
						last = &got[len(got)-1].ID
					} else {
						continue
					}
					if stream, err = copies[cuts%2].StreamEvents(ctx, c, last); err != nil {
						t.Error(err)
						return
					}
					cuts++
				}
				want := d.events(c.Scope(), 0)
				if len(got) != len(want) {
					t.Errorf("%s has %d events of %d after %d cuts", c.Role, len(got), len(want), cuts)
					return
				}
				for k := range want {
					if got[k].ID != want[k].ID || k > 0 && got[k].Sequence <= got[k-1].Sequence {
						t.Errorf("%s: event %d is %v, want %v", c.Role, k, got[k].ID, want[k].ID)
						return
					}
				}
			})
		}
		writers.Wait()
		close(done)
		reading.Wait()
	})
}

// A stream tells nothing while nothing happens, wakes at once when this process
// writes, starts only from an event that is its reader's, and lets go of a reader
// that had everything and then stayed away too long.
func TestStreamManners(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		kept := d.kept(d.a)
		early := d.quoted(d.a, kept)
		stream, err := d.service.StreamEvents(ctx, d.a, nil)
		if err != nil {
			t.Fatal(err)
		}
		if list, err := stream.Next(ctx, time.Millisecond); err != nil || len(list) != 0 {
			t.Errorf("%d events from before, %v", len(list), err)
		}
		var woken sync.WaitGroup
		woken.Go(func() {
			if list, err := stream.Next(ctx, time.Hour); err != nil || len(list) != 1 || list[0].Kind != string(order.QuoteMade) {
				t.Errorf("%v, %v", list, err)
			}
		})
		d.quoted(d.a, kept)
		woken.Wait()

		theirs := d.events(d.a.Scope(), 0)[0].ID
		_, err = d.service.StreamEvents(ctx, d.b, &theirs)
		wantReason(t, "from another's event", err, "event-unknown")
		unknown := early.ID
		_, err = d.service.StreamEvents(ctx, d.a, &unknown)
		wantReason(t, "from no event", err, "event-unknown")
		_, err = d.service.StreamEvents(ctx, d.storefrontA, nil)
		wantReason(t, "a storefront reads events", err, "forbidden")
		ended, cancel := context.WithCancel(ctx)
		cancel()
		_, err = stream.Next(ended, time.Hour)
		wantReason(t, "a reader that left", err, "canceled")

		flood := func(n int) {
			t.Helper()
			if err := d.store.InTx(ctx, func(tx store.Tx) error {
				for range n {
					e, err := order.NewEvent(uuid.New(), order.OrderHeld, monday, record.Actor{}, order.OrderData{OrderID: early.ID, DealerID: d.a.DealerID})
					if err != nil {
						return err
					}
					if _, err := tx.Events().Append(ctx, store.ShopScope(), e); err != nil {
						return err
					}
				}
				return nil
			}); err != nil {
				t.Fatal(err)
			}
		}
		flood(1000)
		list, err := stream.Next(ctx, time.Second)
		if err != nil || len(list) != 1000 {
			t.Fatalf("%d events, %v", len(list), err)
		}
		last := list[len(list)-1].ID
		flood(1001)
		_, err = stream.Next(ctx, time.Second)
		wantReason(t, "a slow reader", err, "slow-reader")
		// It comes back, and may take its time to catch up.
		if stream, err = d.service.StreamEvents(ctx, d.a, &last); err != nil {
			t.Fatal(err)
		}
		got := 0
		for {
			list, err := stream.Next(ctx, time.Millisecond)
			if err != nil {
				t.Fatal(err)
			}
			if len(list) == 0 {
				break
			}
			got += len(list)
		}
		if got != 1001 {
			t.Errorf("%d events after coming back", got)
		}
	})
}

// Whatever a dealer asks with the ids of another, it gets word for word the answer
// that an id gets which nobody has, and no list shows anything of the other's.
func TestAnothersIdsAreNobodys(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		r := newReceiver(t, d.clock.Now)
		w := d.hook(d.b, r)
		keptA, keptB := d.kept(d.a), d.kept(d.b)
		open2 := d.quoted(d.b, keptB)
		o := d.ordered(d.b, d.quoted(d.b, keptB))
		mine := d.ordered(d.a, d.quoted(d.a, keptA))
		d.deliver(d.service)
		delivery := d.deliveries(d.b, w, "")[0]
		event := d.events(d.b.Scope(), 0)[0]
		page := store.Page{}
		toOrder := func(id uuid.UUID) service.OrderChange {
			return service.OrderChange{ID: id}
		}
		for what, ask := range map[string]struct {
			id  uuid.UUID
			ask func(service.Caller, uuid.UUID) error
		}{
			"get configuration": {keptB, func(c service.Caller, id uuid.UUID) error {
				_, err := d.service.GetConfiguration(ctx, c, id)
				return err
			}},
			"quote configuration": {keptB, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.MakeQuote(ctx, c, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &id}}}, nil))
			}},
			"quote for": {*d.b.DealerID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.MakeQuote(ctx, c, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &keptA}}, DealerID: &id}, nil))
			}},
			"quote revision": {o.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.MakeQuote(ctx, c, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &keptA}}, Revises: &id}, nil))
			}},
			"get quote": {open2.ID, func(c service.Caller, id uuid.UUID) error { _, err := d.service.GetQuote(ctx, c, id); return err }},
			"withdraw": {open2.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.WithdrawQuote(ctx, c, service.QuoteChange{ID: id}, nil))
			}},
			"order":     {open2.ID, func(c service.Caller, id uuid.UUID) error { _, err := d.place(d.service, c, id, nil); return err }},
			"get order": {o.ID, func(c service.Caller, id uuid.UUID) error { _, err := d.service.GetOrder(ctx, c, id); return err }},
			"order events": {o.ID, func(c service.Caller, id uuid.UUID) error {
				_, err := d.service.OrderEvents(ctx, c, id, page)
				return err
			}},
			"hold": {o.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.HoldOrder(ctx, c, toOrder(id), "x", nil))
			}},
			"release": {o.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.ReleaseOrder(ctx, c, toOrder(id), nil))
			}},
			"cancel": {o.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.CancelOrder(ctx, c, toOrder(id), "x", nil))
			}},
			"ship": {o.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.ShipOrder(ctx, c, toOrder(id), service.Shipment{}, nil))
			}},
			"schedule": {o.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.ScheduleOrder(ctx, c, toOrder(id), "2027-01-04", nil))
			}},
			"promise": {o.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.ChangePromise(ctx, c, toOrder(id), "2027-01-04", "x", nil))
			}},
			"record": {o.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.RecordOperation(ctx, c, toOrder(id), service.Work{Operation: "1-x", StartedAt: monday}, nil))
			}},
			"rotate": {w.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.RotateWebhookSecret(ctx, c, id, nil))
			}},
			"delete": {w.ID, func(c service.Caller, id uuid.UUID) error { return d.service.DeleteWebhook(ctx, c, id) }},
			"deliveries": {w.ID, func(c service.Caller, id uuid.UUID) error {
				_, err := d.service.ListDeliveries(ctx, c, store.DeliveryFilter{WebhookID: id}, page)
				return err
			}},
			"resend": {delivery.ID, func(c service.Caller, id uuid.UUID) error {
				return only(d.service.ResendDelivery(ctx, c, id, nil))
			}},
			"stream": {event.ID, func(c service.Caller, id uuid.UUID) error { _, err := d.service.StreamEvents(ctx, c, &id); return err }},
		} {
			for _, c := range []service.Caller{d.a, d.storefrontA, d.houseWindow} {
				nobodys := uuid.New()
				theirs, none := ask.ask(c, ask.id), ask.ask(c, nobodys)
				if theirs == nil || none == nil {
					t.Errorf("%s as %s: %v, %v", what, c.Role, theirs, none)
					continue
				}
				if said(theirs) != said(none) {
					t.Errorf("%s as %s: another's id gives %q, nobody's %q", what, c.Role, said(theirs), said(none))
				}
			}
		}
		// And the lists, with another's ids in the filters.
		if l, err := d.service.ListQuotes(ctx, d.a, store.QuoteFilter{DealerID: d.b.DealerID}, page); err != nil || len(l.Items) != 0 {
			t.Errorf("%d quotes, %v", len(l.Items), err)
		}
		if l, err := d.service.ListOrders(ctx, d.a, store.OrderFilter{QuoteID: &o.QuoteID}, page); err != nil || len(l.Items) != 0 {
			t.Errorf("%d orders, %v", len(l.Items), err)
		}
		if l, err := d.service.ListOrders(ctx, d.a, store.OrderFilter{}, page); err != nil || len(l.Items) != 1 || l.Items[0].ID != mine.ID {
			t.Errorf("%d orders, %v", len(l.Items), err)
		}
		if l, err := d.service.ListWebhooks(ctx, d.a, page); err != nil || len(l.Items) != 0 {
			t.Errorf("%d webhooks, %v", len(l.Items), err)
		}
		if got, err := d.service.GetOrder(ctx, d.b, o.ID); err != nil || got.Order.Version != o.Version {
			t.Errorf("the order was touched: %+v, %v", got.Order, err)
		}
	})
}

// said is what a caller is told: the kind, the detail and the fields, not the cause.
func said(err error) string {
	var f *fault.Error
	if !errors.As(err, &f) {
		return err.Error()
	}
	return fmt.Sprint(f.Kind, " ", reason(err), " ", f.Detail, " ", f.Fields)
}
