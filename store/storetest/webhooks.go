package storetest

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

func webhook(n int, owner *uuid.UUID) record.Webhook {
	return record.Webhook{ID: uid(n), DealerID: owner, Version: 1, URL: "https://brackwater.example/hook", Kinds: []string{"order.received", "order.shipped"},
		Secrets:   []record.WebhookSecret{{Sealed: "plain:abc", CreatedAt: at(1)}, {Sealed: "plain:def", CreatedAt: at(0), ExpiresAt: ptr(at(99))}},
		CreatedAt: at(n), UpdatedAt: at(n)}
}

func delivery(n int, w record.Webhook, e record.Event) record.Delivery {
	return record.Delivery{ID: uid(n), WebhookID: w.ID, DealerID: w.DealerID, EventID: e.ID, EventKind: e.Kind, Sequence: e.Sequence, Subject: e.Subject.ID,
		State: record.DeliveryPending, NextAt: at(n), CreatedAt: at(n)}
}

func testWebhooks(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	mine, shop := store.DealerScope(*a), store.ShopScope()
	_, err := s.Events().Append(ctx, shop, event(5, a), event(6, a))
	must(t, err)
	w, err := s.Webhooks().Insert(ctx, mine, webhook(10, a))
	must(t, err)
	want := webhook(10, a)
	want.Since = 2
	same(t, "inserted", w, want)
	_, err = s.Webhooks().Insert(ctx, mine, webhook(10, a))
	expect(t, "twice", err, store.ErrConflict)
	_, err = s.Webhooks().Insert(ctx, mine, webhook(11, b))
	expect(t, "for another", err, store.ErrOutOfScope)
	_, err = s.Webhooks().Insert(ctx, shop, webhook(11, ptr(uid(99))))
	expect(t, "no such dealer", err, store.ErrNotFound)
	bare := webhook(11, nil)
	bare.Secrets = nil
	_, err = s.Webhooks().Insert(ctx, shop, bare)
	expect(t, "no secret", err, store.ErrInvalid)
	house, err := s.Webhooks().Insert(ctx, shop, webhook(12, nil))
	must(t, err)

	w.Secrets, w.Version, w.UpdatedAt = w.Secrets[:1], 2, at(30)
	expect(t, "another's", s.Webhooks().Update(ctx, store.DealerScope(*b), w, 1), store.ErrNotFound)
	must(t, s.Webhooks().Update(ctx, mine, w, 1))
	expect(t, "stale", s.Webhooks().Update(ctx, mine, w, 1), store.ErrStaleVersion)
	got, err := s.Webhooks().Get(ctx, mine, w.ID)
	must(t, err)
	same(t, "updated", got, w)

	since, err := s.Webhooks().NoteFailure(ctx, shop, w.ID, at(40))
	must(t, err)
	same(t, "first failure", since, at(40))
	since, err = s.Webhooks().NoteFailure(ctx, shop, w.ID, at(50))
	must(t, err)
	same(t, "still the first", since, at(40))
	must(t, s.Webhooks().NoteSuccess(ctx, shop, w.ID))
	must(t, s.Webhooks().NoteSuccess(ctx, shop, w.ID))
	since, err = s.Webhooks().NoteFailure(ctx, shop, w.ID, at(60))
	must(t, err)
	same(t, "a new row of failures", since, at(60))
	for _, c := range []struct{ until, want int }{{500, 500}, {400, 500}, {600, 600}} { // the later end stays
		must(t, s.Webhooks().Pause(ctx, shop, w.ID, at(c.until)))
		got, err = s.Webhooks().Get(ctx, mine, w.ID)
		must(t, err)
		same(t, "paused", got.PausedUntil, ptr(at(c.want)))
	}
	expect(t, "pause another's", s.Webhooks().Pause(ctx, store.DealerScope(*b), w.ID, at(900)), store.ErrNotFound)
	must(t, s.Webhooks().Pause(ctx, mine, w.ID, time.Time{}))
	for i, want := range []bool{true, false} {
		changed, err := s.Webhooks().Disable(ctx, shop, w.ID, at(70), "no answer")
		must(t, err)
		same(t, fmt.Sprint("disabled ", i), changed, want)
	}
	got, err = s.Webhooks().Get(ctx, mine, w.ID)
	must(t, err)
	off := w
	off.FailingSince, off.DisabledAt, off.DisabledReason = ptr(at(60)), ptr(at(70)), "no answer"
	same(t, "disabled", got, off)
	for i, want := range []bool{true, false} {
		changed, err := s.Webhooks().Enable(ctx, shop, w.ID, at(80))
		must(t, err)
		same(t, fmt.Sprint("enabled ", i), changed, want)
	}
	for _, c := range []struct {
		scope store.Scope
		want  []record.Webhook
	}{{shop, []record.Webhook{house, w}}, {mine, []record.Webhook{w}}, {store.DealerScope(*b), []record.Webhook{}}, {store.HouseScope(), []record.Webhook{house}}} {
		l, err := s.Webhooks().List(ctx, c.scope, store.Page{})
		must(t, err)
		same(t, c.scope.String(), l.Items, c.want)
	}
	expect(t, "delete another's", s.Webhooks().Delete(ctx, store.DealerScope(*b), w.ID), store.ErrNotFound)
	must(t, s.Webhooks().Delete(ctx, mine, w.ID))
	expect(t, "delete twice", s.Webhooks().Delete(ctx, mine, w.ID), store.ErrNotFound)
}

// withEndpoint puts an endpoint in and n events, for the subjects 1, 2, 1, 2 ...
func withEndpoint(t *testing.T, s store.Store, owner *uuid.UUID, n int) (record.Webhook, []record.Event) {
	t.Helper()
	ctx := t.Context()
	w, err := s.Webhooks().Insert(ctx, store.ShopScope(), webhook(10, owner))
	must(t, err)
	var list []record.Event
	for i := range n {
		e := event(100+i, owner)
		e.Subject.ID = uid(1 + i%2)
		list = append(list, e)
	}
	list, err = s.Events().Append(ctx, store.ShopScope(), list...)
	must(t, err)
	return w, list
}

func testDeliveries(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	a, b := withDealers(t, s)
	w, events := withEndpoint(t, s, a, 5) // subjects 1 2 1 2 1
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		n, ok, err := tx.Deliveries().Pending(ctx, shop)
		if err != nil || !ok || n != 0 {
			t.Errorf("the place is %d, %v, %v", n, ok, err)
		}
		var list []record.Delivery
		for i, e := range events {
			list = append(list, delivery(200+i, w, e))
		}
		gone := w
		gone.ID = uid(77)
		list = append(list, delivery(300, gone, events[0]), delivery(301, w, events[0])) // no such endpoint; twice
		return tx.Deliveries().Insert(ctx, shop, 5, list...)
	}))
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		n, ok, err := tx.Deliveries().Pending(ctx, shop)
		if err != nil || !ok || n != 5 {
			t.Errorf("the place is %d, %v, %v", n, ok, err)
		}
		return nil
	}))
	claim := func(ms int, token, limit, each int) []record.Delivery {
		t.Helper()
		got, err := s.Deliveries().Claim(ctx, shop, store.DeliveryClaim{Token: uid(token), Now: at(ms), Until: at(ms + 1000), Limit: limit, PerEndpoint: each})
		must(t, err)
		return got
	}
	ids := func(list []record.Delivery) (ids []int) {
		for _, d := range list {
			ids = append(ids, int(d.ID[15]))
		}
		return ids
	}
	finish := func(d record.Delivery, state record.DeliveryState, ms, token int) error {
		d.State, d.Attempts, d.AttemptedAt, d.NextAt, d.LastStatus = state, d.Attempts+1, ptr(at(ms)), at(ms+100), 500
		if state == record.DeliveryDelivered {
			d.LastStatus, d.DeliveredAt = 204, ptr(at(ms))
		}
		return s.Deliveries().Finish(ctx, shop, d, uid(token))
	}
	same(t, "not due", len(claim(199, 900, 10, 10)), 0)
	must(t, s.Webhooks().Pause(ctx, shop, w.ID, at(1001)))
	same(t, "paused", len(claim(1000, 900, 10, 10)), 0)
	must(t, s.Webhooks().Pause(ctx, shop, w.ID, time.Time{}))
	same(t, "one at a time of the endpoint", ids(claim(1000, 901, 10, 1)), []int{200})
	same(t, "no more of the endpoint", len(claim(1001, 902, 10, 1)), 0)
	second := claim(1001, 902, 10, 2)
	same(t, "the head of the other subject", ids(second), []int{201})
	same(t, "all heads are held", len(claim(1002, 903, 10, 10)), 0)
	expect(t, "not the holder", finish(second[0], record.DeliveryDelivered, 1003, 901), store.ErrLostClaim)
	must(t, finish(second[0], record.DeliveryDelivered, 1003, 902))
	expect(t, "twice", finish(second[0], record.DeliveryDelivered, 1003, 902), store.ErrLostClaim)
	same(t, "the next of that subject", ids(claim(1004, 904, 10, 10)), []int{203})
	again := claim(2000, 905, 10, 10) // 901's time is over, 904's is not
	same(t, "taken over", ids(again), []int{200})
	must(t, finish(again[0], record.DeliveryPending, 2001, 905)) // failed: due again at 2101
	same(t, "its followers wait", len(claim(2003, 906, 10, 10)), 0)
	parked := claim(2101, 907, 10, 10) // with 203, whose holder is late
	must(t, finish(parked[0], record.DeliveryParked, 2102, 907))
	same(t, "a parked one holds back", ids(claim(9000, 908, 10, 10)), []int{203})
	first, err := s.Deliveries().Earliest(ctx, shop, w.ID, uid(1))
	must(t, err)
	same(t, "the earliest", ids([]record.Delivery{first}), []int{200})

	_, err = s.Deliveries().Resend(ctx, store.DealerScope(*b), first.ID, at(9001))
	expect(t, "resend another's", err, store.ErrNotFound)
	resent, err := s.Deliveries().Resend(ctx, store.DealerScope(*a), first.ID, at(9001))
	must(t, err)
	want := first
	want.State, want.Attempts, want.NextAt = record.DeliveryPending, 0, at(9001)
	same(t, "resent", resent, want)
	must(t, finish(claim(9001, 909, 1, 10)[0], record.DeliveryDelivered, 9002, 909))
	_, err = s.Deliveries().Resend(ctx, shop, first.ID, at(9003)) // once more, although it was delivered
	must(t, err)
	same(t, "it holds nothing back", ids(claim(9003, 910, 10, 10)), []int{200, 202})

	l, err := s.Deliveries().List(ctx, store.DealerScope(*a), store.DeliveryFilter{WebhookID: w.ID}, store.Page{})
	must(t, err)
	same(t, "listed", ids(l.Items), []int{204, 203, 202, 201, 200})
	l, err = s.Deliveries().List(ctx, shop, store.DeliveryFilter{WebhookID: w.ID, State: record.DeliveryDelivered}, store.Page{})
	must(t, err)
	same(t, "delivered", ids(l.Items), []int{201})
	l, err = s.Deliveries().List(ctx, store.DealerScope(*b), store.DeliveryFilter{WebhookID: w.ID}, store.Page{})
	must(t, err)
	same(t, "another's", len(l.Items), 0)
	_, err = s.Deliveries().Get(ctx, store.DealerScope(*b), first.ID)
	expect(t, "another's", err, store.ErrNotFound)

	// A disabled endpoint: all parked, and what fails meanwhile too.
	held, err := s.Deliveries().Get(ctx, shop, uid(202))
	must(t, err)
	_, err = s.Webhooks().Disable(ctx, shop, w.ID, at(9004), "no answer")
	must(t, err)
	must(t, finish(held, record.DeliveryPending, 9005, 910))
	same(t, "nothing goes", len(claim(20_000, 911, 10, 10)), 0)
	l, err = s.Deliveries().List(ctx, shop, store.DeliveryFilter{WebhookID: w.ID, State: record.DeliveryParked}, store.Page{})
	must(t, err)
	same(t, "parked", ids(l.Items), []int{204, 203, 202, 200})
	_, err = s.Webhooks().Enable(ctx, shop, w.ID, at(20_000))
	must(t, err)
	same(t, "all goes on, in order", ids(claim(20_000, 912, 10, 10)), []int{200, 202, 203})
	must(t, s.Webhooks().Delete(ctx, shop, w.ID))
	expect(t, "finish what is gone", finish(held, record.DeliveryDelivered, 20_001, 912), store.ErrLostClaim)
}

// Claimants at once, through two openings, deliver everything once and keep the
// order of each subject.
func testDeliveryRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	stores := []store.Store{s, h.Reopen(t, s)}
	shop := store.ShopScope()
	const events = 60
	w, list := withEndpoint(t, s, nil, events)
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		var all []record.Delivery
		for i, e := range list {
			d := delivery(2000+i, w, e)
			d.NextAt = at(0)
			all = append(all, d)
		}
		return tx.Deliveries().Insert(ctx, shop, int64(events), all...)
	}))
	var mu sync.Mutex
	var order []record.Delivery
	all(8, func(worker int) {
		st := stores[worker%2]
		for try := 0; ; try++ {
			token := uid(100_000 + 10_000*worker + try)
			got, err := st.Deliveries().Claim(ctx, shop, store.DeliveryClaim{Token: token, Now: at(1000), Until: at(2000), Limit: 4, PerEndpoint: 8})
			if err != nil {
				t.Errorf("claim: %v", err)
				return
			}
			for _, d := range got {
				mu.Lock()
				order = append(order, d)
				mu.Unlock()
				d.State, d.Attempts, d.AttemptedAt, d.DeliveredAt = record.DeliveryDelivered, 1, ptr(at(1001)), ptr(at(1001))
				if err := st.Deliveries().Finish(ctx, shop, d, token); err != nil {
					t.Errorf("finish: %v", err)
				}
			}
			mu.Lock()
			enough := len(order) >= events
			mu.Unlock()
			if enough || try > 5000 {
				return
			}
			if len(got) == 0 {
				time.Sleep(time.Millisecond) // others hold all heads
			}
		}
	})
	if len(order) != events {
		t.Fatalf("%d deliveries of %d", len(order), events)
	}
	last := map[uuid.UUID]int64{}
	for _, d := range order {
		if d.Sequence <= last[d.Subject] {
			t.Errorf("subject %v: %d came after %d", d.Subject, d.Sequence, last[d.Subject])
		}
		last[d.Subject] = d.Sequence
	}
}

// One at a time makes events into deliveries; another passes by.
func testPendingHeld(t *testing.T, h Harness) {
	if !h.RowSecurity {
		return // the engine has one writer: the other waits for the file
	}
	s, ctx := h.Migrated(t), t.Context()
	other := h.Reopen(t, s)
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		if _, ok, err := tx.Deliveries().Pending(ctx, store.ShopScope()); err != nil || !ok {
			t.Errorf("%v, %v", ok, err)
		}
		return other.InTx(ctx, func(tx store.Tx) error {
			if _, ok, err := tx.Deliveries().Pending(ctx, store.ShopScope()); err != nil || ok {
				t.Errorf("taken twice: %v, %v", ok, err)
			}
			return nil
		})
	}))
}

// A forgotten filter on quotes, orders, events, webhooks or deliveries leaks
// nothing, and moves nothing to another owner.
func testRowSecurityOfOrders(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	owners := []*uuid.UUID{nil, a, b}
	scopes := []store.Scope{store.HouseScope(), store.DealerScope(*a), store.DealerScope(*b), store.ShopScope(), {}, store.DealerScope(uid(77))}
	shop := store.ShopScope()
	var deliveries []record.Delivery
	for i, owner := range owners {
		n := 100 * (i + 1)
		must(t, s.Quotes().Insert(ctx, shop, quote(n, owner)))
		must(t, s.Orders().Insert(ctx, shop, order(n+1, n, owner)))
		must(t, s.Orders().PutOperation(ctx, shop, record.OperationRecord{OrderID: uid(n + 1), Operation: "1-wax", StartedAt: at(1), UpdatedAt: at(1)}))
		e, err := s.Events().Append(ctx, shop, event(n+2, owner))
		must(t, err)
		w, err := s.Webhooks().Insert(ctx, shop, webhook(n+3, owner))
		must(t, err)
		deliveries = append(deliveries, delivery(n+4, w, e[0]))
	}
	must(t, s.Deliveries().Insert(ctx, shop, 3, deliveries...))
	tables := []string{"quotes", "quote_documents", "orders", "operation_records", "events", "webhooks", "webhook_deliveries"}
	for _, table := range tables {
		for _, scope := range scopes {
			got, err := h.Raw(ctx, s, scope, "select * from "+table)
			must(t, err)
			if want := covered(scope, owners); got != want {
				t.Errorf("%v: select * from %s gives %d rows, want %d", scope, table, got, want)
			}
		}
	}
	for _, statement := range []string{"select * from webhook_progress", "update webhook_progress set sequence = 0"} {
		for _, scope := range scopes {
			got, err := h.Raw(ctx, s, scope, statement)
			must(t, err)
			if want := map[bool]int64{true: 1}[scope.Whole()]; got != want {
				t.Errorf("%v: %s: %d rows, want %d", scope, statement, got, want)
			}
		}
	}
	mine, other := scopes[1], scopes[2].String()
	for _, table := range []string{"quotes", "orders", "operation_records", "webhooks", "webhook_deliveries"} {
		for _, to := range []string{"'" + other + "'", "null"} {
			statement := "update " + table + " set dealer_id = " + to
			_, err := h.Raw(ctx, s, mine, statement)
			expect(t, statement, err, store.ErrOutOfScope)
		}
	}
	for _, statement := range []string{
		"insert into events select sequence + 100, gen_random_uuid(), kind, '" + other + "', subject_kind, subject_id, key_id, role, created_at, body from events",
		"insert into webhooks select gen_random_uuid(), '" + other + "', version, url, kinds, secrets, since, null, null, '', created_at, updated_at from webhooks",
		"insert into event_counter (one, last) values (true, 0)",
	} {
		_, err := h.Raw(ctx, s, mine, statement)
		expect(t, statement, err, store.ErrOutOfScope)
	}
	if n, err := h.Raw(ctx, s, mine, "delete from event_counter"); err != nil || n != 0 {
		t.Errorf("the counter was removed: %d, %v", n, err)
	}
	for _, table := range []string{"webhook_deliveries", "webhooks", "operation_records"} {
		for _, scope := range []store.Scope{{}, scopes[5], mine, scopes[0], scopes[2]} {
			got, err := h.Raw(ctx, s, scope, "delete from "+table)
			must(t, err)
			if want := covered(scope, owners); got != want {
				t.Errorf("%v: delete from %s takes %d rows, want %d", scope, table, got, want)
			}
		}
	}
}
