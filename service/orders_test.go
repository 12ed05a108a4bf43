package service_test

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/money"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// A quote, an order, its work and its shipment, with the history that comes of it.
func TestOrderFromQuoteToShipment(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		kept := d.kept(d.a)
		var q record.Quote
		inline := request(t, strings.Replace(smallHatch, "520", "640", 1))
		err := into(&q)(d.service.MakeQuote(ctx, d.a, service.NewQuote{Reference: "BM-14",
			Lines: []service.NewQuoteLine{{ConfigurationID: &kept, Quantity: 2}, {Configuration: &inline}}}, nil))
		if err != nil {
			t.Fatal(err)
		}
		got, err := d.service.GetQuote(ctx, d.a, q.ID)
		if err != nil || len(got.Lines) != 2 || got.Lines[0].Quantity != 2 || got.Lines[1].Quantity != 1 || got.State != record.QuoteOpen {
			t.Fatalf("%+v, %v", got, err)
		}
		sum, err := money.Sum("USD", got.Lines[0].Totals.Price, got.Lines[1].Totals.Price)
		if err != nil || sum != got.Total || sum.Value.Sign() <= 0 {
			t.Errorf("the total is %v, the lines make %v (%v)", got.Total, sum, err)
		}
		if p := max(got.Lines[0].Promise, got.Lines[1].Promise); got.Promise != p || p <= "2026-11-30" {
			t.Errorf("promised %s, the lines %s and %s", got.Promise, got.Lines[0].Promise, got.Lines[1].Promise)
		}
		if !got.ValidUntil.Equal(monday.Add(14 * 24 * time.Hour)) {
			t.Errorf("valid until %v", got.ValidUntil)
		}
		if k, err := d.service.GetConfiguration(ctx, d.a, got.Lines[1].ConfigurationID); err != nil || k.Digest != got.Lines[1].Digest {
			t.Errorf("the configuration sent along was not kept: %v", err)
		}
		keys := map[string]bool{}
		for _, l := range got.Lines {
			for _, op := range l.Operations {
				if keys[op.Key] || strings.ContainsAny(op.Key, " /?#%") {
					t.Errorf("the operation %q is there twice, or fits no path", op.Key)
				}
				keys[op.Key] = true
			}
		}

		o := d.ordered(d.a, q)
		if o.State != record.OrderReceived || o.Version != 1 || o.Total != q.Total || o.Promise != q.Promise || *o.DealerID != *d.a.DealerID {
			t.Errorf("%+v", o)
		}
		move := func(o *record.Order) service.OrderChange {
			version := o.Version
			return service.OrderChange{ID: o.ID, Match: &version}
		}
		if err := into(&o)(d.service.ScheduleOrder(ctx, d.shop, move(&o), "2026-12-18", nil)); err != nil || o.State != record.OrderScheduled || o.Version != 2 {
			t.Fatal(o, err)
		}
		if err := into(&o)(d.service.ChangePromise(ctx, d.shop, move(&o), "2026-12-21", "resin late", nil)); err != nil || o.Promise != "2026-12-21" {
			t.Fatal(o, err)
		}
		if err := into(&o)(d.service.HoldOrder(ctx, d.a, move(&o), "owner abroad", nil)); err != nil || o.State != record.OrderOnHold {
			t.Fatal(o, err)
		}
		if err := into(&o)(d.service.ReleaseOrder(ctx, d.shop, move(&o), nil)); err != nil || o.State != record.OrderScheduled {
			t.Fatal(o, err)
		}
		done := 0
		for key := range keys {
			began, ended, hours := d.clock.Now(), d.clock.Now().Add(time.Minute), 0.5
			d.clock.Add(time.Minute)
			if err := into(&o)(d.service.RecordOperation(ctx, d.shop, service.OrderChange{ID: o.ID}, service.Work{Operation: key, StartedAt: began, FinishedAt: &ended, Hours: &hours}, nil)); err != nil {
				t.Fatal(key, err)
			}
			done++
			want := record.OrderInWork
			if done == len(keys) {
				want = record.OrderReady
			}
			if o.State != want {
				t.Fatalf("after %d of %d operations the order is %s", done, len(keys), o.State)
			}
		}
		detail, err := d.service.GetOrder(ctx, d.a, o.ID)
		if err != nil || len(detail.Operations) != len(keys) || detail.Quote.OrderID == nil || *detail.Quote.OrderID != o.ID || detail.Order != o && detail.Order.Version != o.Version {
			t.Errorf("%d operations, %v", len(detail.Operations), err)
		}
		if err := into(&o)(d.service.ShipOrder(ctx, d.shop, move(&o), service.Shipment{Carrier: "by hand", Tracking: "1"}, nil)); err != nil || o.State != record.OrderShipped || o.Carrier != "by hand" {
			t.Fatal(o, err)
		}
		wantReason(t, "cancel after shipment", func() error { _, err := d.service.CancelOrder(ctx, d.shop, move(&o), "too late", nil); return err }(), "order-closed")

		var kinds []string
		page := store.Page{Limit: 7}
		for {
			l, err := d.service.OrderEvents(ctx, d.a, o.ID, page)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range l.Items {
				var told struct {
					Type string
					Data struct{ Version int }
				}
				if err := json.Unmarshal(e.Body, &told); err != nil || told.Type != e.Kind || told.Data.Version < 1 {
					t.Errorf("%s: %v", e.Body, err)
				}
				if e.Actor.KeyID == nil || (e.Kind == "order.received" || e.Kind == "order.held") != (*e.Actor.KeyID == d.a.KeyID) {
					t.Errorf("%s by %v", e.Kind, e.Actor)
				}
				if e.Kind != "operation.recorded" {
					kinds = append(kinds, e.Kind)
				}
			}
			if page.Cursor = l.NextCursor; page.Cursor == "" {
				break
			}
		}
		want := "order.shipped order.ready order.started order.released order.held order.promise_changed order.scheduled order.received"
		if got := strings.Join(kinds, " "); got != want {
			t.Errorf("the history is\n%s, want\n%s", got, want)
		}
	})
}

// What is refused, with its word, and nothing changed.
func TestOrderRefusals(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		kept, others := d.kept(d.a), d.kept(d.b)
		var q record.Quote
		quote := func(c service.Caller, change func(*service.NewQuote)) error {
			n := service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &kept}}}
			if change != nil {
				change(&n)
			}
			return into(&q)(d.service.MakeQuote(ctx, c, n, nil))
		}
		late, past := monday.Add(15*24*time.Hour), monday
		tooLarge := request(t, strings.Replace(smallHatch, `"length":520`, `"length":9000`, 1))
		for _, c := range []struct {
			what   string
			caller service.Caller
			change func(*service.NewQuote)
			want   string
		}{
			{"another dealer's configuration", d.b, nil, "not found"},
			{"the shop, for the house, of a dealer's configuration", d.shop, nil, "not found"},
			{"a dealer, for another", d.a, func(n *service.NewQuote) { n.DealerID = d.b.DealerID }, "not found"},
			{"the shop, for b, of a's configuration", d.shop, func(n *service.NewQuote) { n.DealerID = d.b.DealerID }, "not found"},
			{"no lines", d.a, func(n *service.NewQuote) { n.Lines = nil }, "invalid"},
			{"51 lines", d.a, func(n *service.NewQuote) { n.Lines = make([]service.NewQuoteLine, 51) }, "invalid"},
			{"a line with nothing", d.a, func(n *service.NewQuote) { n.Lines = make([]service.NewQuoteLine, 1) }, "invalid"},
			{"a quantity below", d.a, func(n *service.NewQuote) { n.Lines[0].Quantity = -1 }, "invalid"},
			{"a quantity above", d.a, func(n *service.NewQuote) { n.Lines[0].Quantity = 201 }, "invalid"},
			{"valid too long", d.a, func(n *service.NewQuote) { n.ValidUntil = &late }, "invalid"},
			{"valid until now", d.a, func(n *service.NewQuote) { n.ValidUntil = &past }, "invalid"},
			{"revises nothing", d.a, func(n *service.NewQuote) { n.Revises = &kept }, "not found"},
		} {
			wantReason(t, c.what, quote(c.caller, c.change), c.want)
		}
		if err := quote(d.a, func(n *service.NewQuote) { n.Lines[0] = service.NewQuoteLine{Configuration: &tooLarge} }); err == nil {
			t.Error("what cannot be made was quoted")
		}
		if l, err := d.service.ListQuotes(ctx, d.shop, store.QuoteFilter{}, store.Page{}); err != nil || len(l.Items) != 0 {
			t.Fatalf("%d quotes are there: %v", len(l.Items), err)
		}

		wantReason(t, "a storefront quotes", quote(d.storefrontA, nil), "forbidden")
		q = d.quoted(d.a, kept)
		_, err := d.service.GetQuote(ctx, d.storefrontA, q.ID)
		wantReason(t, "a storefront reads a quote", err, "forbidden")
		_, err = d.service.ListQuotes(ctx, d.storefrontA, store.QuoteFilter{}, store.Page{})
		wantReason(t, "a storefront lists quotes", err, "forbidden")
		_, err = d.place(d.service, d.storefrontA, q.ID, nil)
		wantReason(t, "a storefront orders", err, "forbidden")
		_, err = d.place(d.service, d.b, q.ID, nil)
		wantReason(t, "another dealer orders", err, "not found")
		_, err = d.service.GetQuote(ctx, d.b, q.ID)
		wantReason(t, "another dealer reads", err, "not found")
		_, err = d.service.GetQuote(ctx, d.houseWindow, q.ID)
		wantReason(t, "the shop's storefront reads", err, "forbidden")

		// Withdrawn, expired, ordered.
		withdraw := func(c service.Caller, q record.Quote, match int) error {
			_, err := d.service.WithdrawQuote(ctx, c, service.QuoteChange{ID: q.ID, Match: &match}, nil)
			return err
		}
		wantReason(t, "withdraw another's", withdraw(d.b, q, 1), "not found")
		wantReason(t, "withdraw on an old version", withdraw(d.a, q, 7), "stale-version")
		wantReason(t, "withdraw", withdraw(d.a, q, 1), "")
		wantReason(t, "withdraw twice", withdraw(d.a, q, 2), "quote-withdrawn")
		_, err = d.place(d.service, d.a, q.ID, nil)
		wantReason(t, "order what was withdrawn", err, "quote-withdrawn")
		q = d.quoted(d.a, kept)
		d.clock.Add(14*24*time.Hour - time.Millisecond)
		if got, err := d.service.GetQuote(ctx, d.a, q.ID); err != nil || got.State != record.QuoteOpen {
			t.Error(got.State, err)
		}
		d.clock.Add(time.Millisecond)
		if got, err := d.service.GetQuote(ctx, d.a, q.ID); err != nil || got.State != record.QuoteExpired {
			t.Error(got.State, err)
		}
		_, err = d.place(d.service, d.a, q.ID, nil)
		wantReason(t, "order what has expired", err, "quote-expired")
		q = d.quoted(d.a, kept)
		o := d.ordered(d.a, q)
		_, err = d.place(d.service, d.a, q.ID, nil)
		wantReason(t, "order twice", err, "quote-ordered")
		wantReason(t, "withdraw what was ordered", withdraw(d.a, q, 2), "quote-ordered")

		// The order's own.
		change := func(match int) service.OrderChange {
			return service.OrderChange{ID: o.ID, Match: &match}
		}
		wantReason(t, "hold another's", into(&o)(d.service.HoldOrder(ctx, d.b, change(1), "x", nil)), "not found")
		wantReason(t, "hold on an old version", into(&o)(d.service.HoldOrder(ctx, d.a, change(2), "x", nil)), "stale-version")
		wantReason(t, "hold without a reason", into(&o)(d.service.HoldOrder(ctx, d.a, change(1), " ", nil)), "invalid")
		wantReason(t, "release what is not held", into(&o)(d.service.ReleaseOrder(ctx, d.a, change(1), nil)), "order-state")
		wantReason(t, "a dealer ships", into(&o)(d.service.ShipOrder(ctx, d.a, change(1), service.Shipment{}, nil)), "forbidden")
		wantReason(t, "ship what is not ready", into(&o)(d.service.ShipOrder(ctx, d.shop, change(1), service.Shipment{}, nil)), "order-state")
		wantReason(t, "a dealer schedules", into(&o)(d.service.ScheduleOrder(ctx, d.a, change(1), "2027-01-04", nil)), "forbidden")
		wantReason(t, "no such day", into(&o)(d.service.ScheduleOrder(ctx, d.shop, change(1), "2027-02-29", nil)), "invalid")
		wantReason(t, "the same date", into(&o)(d.service.ChangePromise(ctx, d.shop, change(1), o.Promise, "x", nil)), "invalid")
		wantReason(t, "no cause", into(&o)(d.service.ChangePromise(ctx, d.shop, change(1), "2027-02-28", "", nil)), "invalid")
		wantReason(t, "no such operation", into(&o)(d.service.RecordOperation(ctx, d.shop, change(1), service.Work{Operation: "1-nothing", StartedAt: d.clock.Now()}, nil)), "operation-unknown")
		wantReason(t, "an operation of tomorrow", into(&o)(d.service.RecordOperation(ctx, d.shop, change(1), service.Work{Operation: "1-x", StartedAt: d.clock.Now().Add(time.Hour)}, nil)), "operation-times")
		wantReason(t, "a dealer records", into(&o)(d.service.RecordOperation(ctx, d.a, change(1), service.Work{Operation: "1-x", StartedAt: d.clock.Now()}, nil)), "forbidden")
		wantReason(t, "the shop holds", into(&o)(d.service.HoldOrder(ctx, d.shop, change(1), "unpaid", nil)), "")
		wantReason(t, "a dealer lifts the shop's hold", into(&o)(d.service.ReleaseOrder(ctx, d.a, change(2), nil)), "order-role")
		wantReason(t, "work on what is held", into(&o)(d.service.RecordOperation(ctx, d.shop, change(2), service.Work{Operation: q.Lines[0].Operations[0].Key, StartedAt: d.clock.Now()}, nil)), "order-state")
		wantReason(t, "no such order", into(&o)(d.service.CancelOrder(ctx, d.shop, service.OrderChange{ID: q.ID}, "x", nil)), "not found")
		if got, err := d.service.GetOrder(ctx, d.a, o.ID); err != nil || got.Order.Version != 2 || got.Order.State != record.OrderOnHold {
			t.Errorf("%+v, %v", got.Order, err)
		}
		if l, err := d.service.OrderEvents(ctx, d.a, o.ID, store.Page{}); err != nil || len(l.Items) != 2 {
			t.Errorf("%d events, %v", len(l.Items), err)
		}
		_, err = d.service.OrderEvents(ctx, d.b, o.ID, store.Page{})
		wantReason(t, "another's history", err, "not found")
		_ = others
	})
}

// A revised quote replaces the order: the old one is cancelled, the new one placed,
// both or neither. An order is never edited.
func TestRevisedOrder(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		kept := d.kept(d.a)
		old := d.ordered(d.a, d.quoted(d.a, kept))
		var first, second record.Quote
		for _, q := range []*record.Quote{&first, &second} {
			err := into(q)(d.service.MakeQuote(ctx, d.a, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &kept, Quantity: 3}}, Revises: &old.ID}, nil))
			if err != nil {
				t.Fatal(err)
			}
		}
		_, err := d.service.MakeQuote(ctx, d.storefrontA, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &kept}}, Revises: &old.ID}, nil)
		wantReason(t, "a storefront revises", err, "forbidden")
		fresh := d.ordered(d.a, first)
		if fresh.Replaces == nil || *fresh.Replaces != old.ID {
			t.Errorf("%+v", fresh)
		}
		got, err := d.service.GetOrder(ctx, d.a, old.ID)
		if err != nil || got.Order.State != record.OrderCancelled || got.Order.Version != 2 {
			t.Errorf("%+v, %v", got.Order, err)
		}
		l, err := d.service.OrderEvents(ctx, d.a, old.ID, store.Page{Limit: 1})
		if err != nil || l.Items[0].Kind != "order.cancelled" || !strings.Contains(string(l.Items[0].Body), `"replaced_by":"`+fresh.ID.String()+`"`) {
			t.Errorf("%s, %v", l.Items[0].Body, err)
		}
		// The second revision comes too late: nothing of it happens.
		_, err = d.place(d.service, d.a, second.ID, nil)
		wantReason(t, "replace what is replaced", err, "order-closed")
		if q, err := d.service.GetQuote(ctx, d.a, second.ID); err != nil || q.State != record.QuoteOpen {
			t.Error(q.State, err)
		}
		all, err := d.service.ListOrders(ctx, d.a, store.OrderFilter{}, store.Page{})
		if err != nil || len(all.Items) != 2 {
			t.Errorf("%d orders, %v", len(all.Items), err)
		}
	})
}

// 64 clients, in two copies of the service, post the same idempotency key: one
// order, and one and the same answer for whoever gets one. Then: 64 keys, one
// quote: one order, and a clear conflict for the others.
func TestOrderRaces(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		copies := []*service.Service{d.service, d.another(open(), nil)}
		if err := copies[1].LoadDocuments(t.Context()); err != nil {
			t.Fatal(err)
		}
		kept := d.kept(d.a)
		race := func(what string, key func(int) string, allowed ...string) {
			q := d.quoted(d.a, kept)
			var placed atomic.Int32
			var mu sync.Mutex
			ids := map[uuid.UUID]int{}
			var all sync.WaitGroup
			for n := range 64 {
				all.Go(func() {
					o, err := d.place(copies[n%2], d.a, q.ID, &service.Claim{Key: key(n), Method: "POST", Route: "/v1/orders", Path: "/v1/orders", Body: []byte(q.ID.String())})
					if err == nil {
						placed.Add(1)
						mu.Lock()
						ids[o.ID]++
						mu.Unlock()
						return
					}
					for _, a := range allowed {
						if reason(err) == a {
							return
						}
					}
					t.Errorf("%s: %v", what, err)
				})
			}
			all.Wait()
			l, err := d.service.ListOrders(t.Context(), d.a, store.OrderFilter{QuoteID: &q.ID}, store.Page{})
			if err != nil || len(l.Items) != 1 || len(ids) != 1 || ids[l.Items[0].ID] == 0 {
				t.Errorf("%s: %d orders, answers %v, %v", what, len(l.Items), ids, err)
			}
			events, err := d.service.OrderEvents(t.Context(), d.a, l.Items[0].ID, store.Page{})
			if err != nil || len(events.Items) != 1 {
				t.Errorf("%s: %d events, %v", what, len(events.Items), err)
			}
		}
		for round := range 3 {
			race("one key", func(int) string { return fmt.Sprint("one ", round) }, fault.InProgress.String())
			race("64 keys", func(n int) string { return fmt.Sprint("many ", round, n) }, string(order.QuoteOrdered))
		}
	})
}

// An order and a withdrawal of one quote at once, and two holds of one version:
// exactly one of each goes through.
func TestChangeRaces(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := context.Background()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		kept := d.kept(d.a)
		for round := range 10 {
			q := d.quoted(d.a, kept)
			var both sync.WaitGroup
			var o record.Order
			var placed, withdrawn error
			both.Go(func() { o, placed = d.place(d.service, d.a, q.ID, nil) })
			both.Go(func() {
				_, withdrawn = d.service.WithdrawQuote(ctx, d.a, service.QuoteChange{ID: q.ID}, nil)
			})
			both.Wait()
			switch {
			case placed == nil:
				if r := reason(withdrawn); r != "quote-ordered" && r != "stale-version" {
					t.Errorf("round %d: ordered, and the withdrawal: %v", round, withdrawn)
				}
				var holds atomic.Int32
				for range 8 {
					both.Go(func() {
						match := 1
						_, err := d.service.HoldOrder(ctx, d.a, service.OrderChange{ID: o.ID, Match: &match}, "x", nil)
						if err == nil {
							holds.Add(1)
						} else {
							wantReason(t, "another hold", err, "stale-version")
						}
					})
				}
				both.Wait()
				if holds.Load() != 1 {
					t.Errorf("round %d: held %d times", round, holds.Load())
				}
			default:
				wantReason(t, "an order of a withdrawn quote", placed, "quote-withdrawn")
				if withdrawn != nil {
					t.Errorf("round %d: neither went through: %v, %v", round, placed, withdrawn)
				}
			}
		}
	})
}
