package storetest

import (
	"errors"
	"fmt"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/govalues/decimal"

	"hatchwright/service/money"
	"hatchwright/service/record"
	"hatchwright/store"
)

func dollars(text string) money.Amount {
	return money.Amount{Value: decimal.MustParse(text), Currency: "USD"}
}

func quote(n int, owner *uuid.UUID) record.Quote {
	return record.Quote{ID: uid(n), DealerID: owner, State: record.QuoteOpen, Version: 1, Reference: fmt.Sprintf("BM-%d", n),
		Revision: record.Revision{Engine: "1", Catalog: "1.2", PriceBook: "3"}, Promise: "2027-03-19", ValidUntil: at(1_000_000), Total: dollars("1284.40"),
		CreatedAt: at(n), UpdatedAt: at(n), CreatedBy: record.Actor{KeyID: ptr(uid(5)), Role: record.RoleDealer}, SchemaVersion: 1,
		Lines: []record.QuoteLine{{ConfigurationID: uid(9), Digest: "sha256:x", Name: "fore hatch", Quantity: 2, Promise: "2027-03-19", WorkingHours: 12.5,
			Totals:     record.PriceTotals{Material: dollars("600.10"), Price: dollars("1284.40"), PriceEach: dollars("642.20")},
			Operations: []record.Operation{{Key: "1-wax", Kind: "wax", Center: "lamination", Hours: 0.5, Crew: 1}}}}}
}

func order(n, quote int, owner *uuid.UUID) record.Order {
	return record.Order{ID: uid(n), DealerID: owner, QuoteID: uid(quote), State: record.OrderReceived, Version: 1, PurchaseReference: fmt.Sprintf("PO %d", n),
		Promise: "2027-03-19", Total: dollars("1284.40"), CreatedAt: at(n), UpdatedAt: at(n)}
}

func testQuotes(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	mine, shop := store.DealerScope(*a), store.ShopScope()
	q := quote(10, a)
	must(t, s.Quotes().Insert(ctx, mine, q))
	got, err := s.Quotes().Get(ctx, mine, q.ID)
	must(t, err)
	same(t, "quote", got, q)
	expect(t, "twice", s.Quotes().Insert(ctx, mine, q), store.ErrConflict)
	expect(t, "no such dealer", s.Quotes().Insert(ctx, shop, quote(11, ptr(uid(99)))), store.ErrNotFound)
	expect(t, "for another", s.Quotes().Insert(ctx, mine, quote(11, b)), store.ErrOutOfScope)
	_, err = s.Quotes().Get(ctx, store.DealerScope(*b), q.ID)
	expect(t, "another's", err, store.ErrNotFound)

	changed := q
	changed.State, changed.Version, changed.UpdatedAt = record.QuoteWithdrawn, 2, at(20)
	expect(t, "another's", s.Quotes().Update(ctx, store.DealerScope(*b), changed, 1), store.ErrNotFound)
	expect(t, "stale", s.Quotes().Update(ctx, mine, changed, 2), store.ErrStaleVersion)
	must(t, s.Quotes().Update(ctx, mine, changed, 1))
	expect(t, "twice", s.Quotes().Update(ctx, mine, changed, 1), store.ErrStaleVersion)
	got, err = s.Quotes().Get(ctx, shop, q.ID)
	must(t, err)
	same(t, "changed", got, changed)

	must(t, s.Quotes().Insert(ctx, mine, quote(12, a)))
	late := quote(13, nil)
	late.ValidUntil = at(100)
	must(t, s.Quotes().Insert(ctx, shop, late))
	for _, c := range []struct {
		scope  store.Scope
		filter store.QuoteFilter
		want   []int
	}{
		{shop, store.QuoteFilter{}, []int{13, 12, 10}},
		{mine, store.QuoteFilter{}, []int{12, 10}},
		{store.HouseScope(), store.QuoteFilter{}, []int{13}},
		{shop, store.QuoteFilter{State: record.QuoteOpen, At: at(99)}, []int{13, 12}},
		{shop, store.QuoteFilter{State: record.QuoteOpen, At: at(100)}, []int{12}},
		{shop, store.QuoteFilter{State: record.QuoteExpired, At: at(100)}, []int{13}},
		{shop, store.QuoteFilter{State: record.QuoteWithdrawn}, []int{10}},
		{shop, store.QuoteFilter{DealerID: a, Reference: "BM-12"}, []int{12}},
		{mine, store.QuoteFilter{DealerID: b}, nil},
	} {
		l, err := s.Quotes().List(ctx, c.scope, c.filter, store.Page{})
		must(t, err)
		var ids []uuid.UUID
		for _, q := range l.Items {
			ids = append(ids, q.ID)
			if q.Lines != nil {
				t.Error("a listing holds lines")
			}
		}
		same(t, fmt.Sprintf("%v %+v", c.scope, c.filter), ids, uids(c.want))
	}
	for what, change := range map[string]func(*record.Quote){
		"no id": func(q *record.Quote) { q.ID = uuid.Nil }, "no promise": func(q *record.Quote) { q.Promise = "" }, "a promise in words": func(q *record.Quote) { q.Promise = "soon" },
		"a stored expiry": func(q *record.Quote) { q.State = record.QuoteExpired }, "ordered without an order": func(q *record.Quote) { q.State = record.QuoteOrdered },
		"no currency": func(q *record.Quote) { q.Total.Currency = "" }, "version 0": func(q *record.Quote) { q.Version = 0 },
	} {
		q := quote(14, a)
		change(&q)
		expect(t, "quote: "+what, s.Quotes().Insert(ctx, mine, q), store.ErrInvalid)
	}
}

func uids(numbers []int) (ids []uuid.UUID) {
	for _, n := range numbers {
		ids = append(ids, uid(n))
	}
	return ids
}

func testOrders(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	mine, shop := store.DealerScope(*a), store.ShopScope()
	for n := 10; n < 14; n++ {
		must(t, s.Quotes().Insert(ctx, shop, quote(n, a)))
	}
	must(t, s.Quotes().Insert(ctx, shop, quote(14, b)))
	o := order(20, 10, a)
	must(t, s.Orders().Insert(ctx, mine, o))
	got, err := s.Orders().Get(ctx, mine, o.ID)
	must(t, err)
	same(t, "order", got, o)
	got, err = s.Orders().Hold(ctx, mine, o.ID)
	must(t, err)
	same(t, "order, held", got, o)
	_, err = s.Orders().Hold(ctx, store.DealerScope(*b), o.ID)
	expect(t, "hold another's", err, store.ErrNotFound)
	_, err = s.Orders().Hold(ctx, shop, uid(99))
	expect(t, "hold nothing", err, store.ErrNotFound)
	expect(t, "a quote twice", s.Orders().Insert(ctx, mine, order(21, 10, a)), store.ErrConflict)
	expect(t, "another's quote", s.Orders().Insert(ctx, mine, order(21, 14, a)), store.ErrNotFound)
	expect(t, "another's quote, by the shop", s.Orders().Insert(ctx, shop, order(21, 14, a)), store.ErrNotFound)
	expect(t, "no such quote", s.Orders().Insert(ctx, mine, order(21, 99, a)), store.ErrNotFound)
	expect(t, "for another", s.Orders().Insert(ctx, mine, order(21, 14, b)), store.ErrOutOfScope)
	must(t, s.Orders().Insert(ctx, shop, order(22, 14, b)))
	swap := order(21, 11, a)
	swap.Replaces = ptr(uid(22))
	expect(t, "instead of another's", s.Orders().Insert(ctx, shop, swap), store.ErrNotFound)
	swap.Replaces, swap.Promise, swap.PurchaseReference = &o.ID, "2027-04-01", "PO 20"
	must(t, s.Orders().Insert(ctx, mine, swap))
	revision := quote(15, a)
	revision.Revises = &o.ID
	must(t, s.Quotes().Insert(ctx, mine, revision))
	revision = quote(16, b)
	revision.Revises = &o.ID
	expect(t, "a quote that revises another's order", s.Quotes().Insert(ctx, shop, revision), store.ErrNotFound)

	held := o
	held.State, held.HeldFrom, held.HeldBy, held.Reason, held.Version, held.UpdatedAt = record.OrderOnHold, record.OrderReceived, record.RoleDealer, "boat sold", 2, at(50)
	held.Carrier, held.Tracking, held.Promise, held.PurchaseReference = "by hand", "1", "2027-03-20", "PO 20a"
	expect(t, "another's", s.Orders().Update(ctx, store.DealerScope(*b), held, 1), store.ErrNotFound)
	must(t, s.Orders().Update(ctx, mine, held, 1))
	expect(t, "stale", s.Orders().Update(ctx, mine, held, 1), store.ErrStaleVersion)
	got, err = s.Orders().Get(ctx, mine, o.ID)
	must(t, err)
	same(t, "held", got, held)
	forgetful := held
	forgetful.HeldBy = ""
	expect(t, "held by nobody", s.Orders().Update(ctx, mine, forgetful, 2), store.ErrInvalid)

	for _, c := range []struct {
		scope  store.Scope
		filter store.OrderFilter
		want   []int
	}{
		{shop, store.OrderFilter{}, []int{22, 21, 20}},
		{mine, store.OrderFilter{}, []int{21, 20}},
		{store.HouseScope(), store.OrderFilter{}, nil},
		{shop, store.OrderFilter{DealerID: b}, []int{22}},
		{mine, store.OrderFilter{DealerID: b}, nil},
		{shop, store.OrderFilter{State: record.OrderOnHold}, []int{20}},
		{shop, store.OrderFilter{PurchaseReference: "PO 20"}, []int{21}},
		{shop, store.OrderFilter{QuoteID: ptr(uid(14))}, []int{22}},
		{shop, store.OrderFilter{PromisedFrom: "2027-03-20"}, []int{21, 20}},
		{shop, store.OrderFilter{PromisedFrom: "2027-03-20", PromisedTo: "2027-03-31"}, []int{20}},
		{shop, store.OrderFilter{PromisedTo: "2027-03-19"}, []int{22}},
	} {
		l, err := s.Orders().List(ctx, c.scope, c.filter, store.Page{})
		must(t, err)
		var ids []uuid.UUID
		for _, o := range l.Items {
			ids = append(ids, o.ID)
		}
		same(t, fmt.Sprintf("%v %+v", c.scope, c.filter), ids, uids(c.want))
	}
	first, err := s.Orders().List(ctx, shop, store.OrderFilter{}, store.Page{Limit: 1})
	must(t, err)
	_, err = s.Orders().List(ctx, shop, store.OrderFilter{State: record.OrderOnHold}, store.Page{Cursor: first.NextCursor})
	expect(t, "the cursor of another filter", err, store.ErrCursor)
	_, err = s.Quotes().List(ctx, shop, store.QuoteFilter{}, store.Page{Cursor: first.NextCursor})
	expect(t, "the cursor of another list", err, store.ErrCursor)

	work := record.OperationRecord{OrderID: o.ID, Operation: "1-wax", StartedAt: at(100), UpdatedAt: at(101), By: record.Actor{KeyID: ptr(uid(6)), Role: record.RoleShop}}
	must(t, s.Orders().PutOperation(ctx, shop, work))
	later := work
	later.Operation, later.StartedAt = "1-laminate", at(120)
	must(t, s.Orders().PutOperation(ctx, shop, later))
	work.FinishedAt, work.Hours = ptr(at(110)), ptr(0.75)
	must(t, s.Orders().PutOperation(ctx, shop, work))
	for _, scope := range []store.Scope{mine, shop} {
		list, err := s.Orders().Operations(ctx, scope, o.ID)
		must(t, err)
		same(t, "operations", list, []record.OperationRecord{later, work})
	}
	list, err := s.Orders().Operations(ctx, store.DealerScope(*b), o.ID)
	must(t, err)
	same(t, "another's operations", len(list), 0)
	expect(t, "another's order", s.Orders().PutOperation(ctx, store.DealerScope(*b), work), store.ErrNotFound)
	work.FinishedAt = ptr(at(99))
	expect(t, "backwards", s.Orders().PutOperation(ctx, shop, work), store.ErrInvalid)
}

// Of 16 orders for one quote at once, through two openings, one gets in; of 16
// changes of one version one.
func testOrderRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	stores := []store.Store{s, h.Reopen(t, s)}
	a, _ := withDealers(t, s)
	mine := store.DealerScope(*a)
	for round := range 3 {
		n := 1000 * (round + 1)
		must(t, s.Quotes().Insert(ctx, mine, quote(n, a)))
		var placed, changed atomic.Int32
		var winner atomic.Pointer[record.Order]
		all(16, func(i int) {
			o := order(n+1+i, n, a)
			q := quote(n, a)
			q.State, q.OrderID, q.Version = record.QuoteOrdered, &o.ID, 2
			err := stores[i%2].InTx(ctx, func(tx store.Tx) error {
				if err := tx.Orders().Insert(ctx, mine, o); err != nil {
					return err
				}
				return tx.Quotes().Update(ctx, mine, q, 1)
			})
			if err == nil {
				placed.Add(1)
				winner.Store(&o)
			} else {
				expect(t, "a loser", err, store.ErrConflict)
			}
		})
		if placed.Load() != 1 {
			t.Fatalf("round %d: %d orders were placed", round, placed.Load())
		}
		all(16, func(i int) {
			o := *winner.Load()
			o.Version, o.Reason = 2, fmt.Sprint(i)
			if err := stores[i%2].Orders().Update(ctx, mine, o, 1); err == nil {
				changed.Add(1)
			} else {
				expect(t, "a loser", err, store.ErrStaleVersion)
			}
		})
		if changed.Load() != 1 {
			t.Errorf("round %d: %d changes of one version", round, changed.Load())
		}
	}
}

func event(n int, owner *uuid.UUID) record.Event {
	return record.Event{ID: uid(n), Kind: "order.received", DealerID: owner, Subject: record.Subject{Kind: "order", ID: uid(7)},
		Actor: record.Actor{KeyID: ptr(uid(5)), Role: record.RoleDealer}, CreatedAt: at(n), Body: []byte(fmt.Sprintf(`{"type":"order.received","n":%d}`, n))}
}

func testEvents(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	shop := store.ShopScope()
	last, err := s.Events().Last(ctx)
	must(t, err)
	same(t, "nothing yet", last, 0)
	var want []record.Event
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		got, err := tx.Events().Append(ctx, shop, event(10, a), event(11, b), event(12, nil))
		want = got
		return err
	}))
	for i, e := range want {
		same(t, "sequence", e.Sequence, int64(i+1))
	}
	undone := fmt.Errorf("undone")
	if err := s.InTx(ctx, func(tx store.Tx) error {
		if _, err := tx.Events().Append(ctx, shop, event(13, a)); err != nil {
			return err
		}
		return undone
	}); !errors.Is(err, undone) {
		t.Fatal(err)
	}
	got, err := s.Events().Append(ctx, store.DealerScope(*a), event(14, a))
	must(t, err)
	same(t, "an undone number is given again", got[0].Sequence, 4)
	want = append(want, got...)
	for _, c := range []struct {
		scope store.Scope
		after int64
		limit int
		want  []int
	}{
		{shop, 0, 10, []int{0, 1, 2, 3}}, {shop, 2, 10, []int{2, 3}}, {shop, 0, 2, []int{0, 1}}, {shop, 4, 2, nil},
		{store.DealerScope(*a), 0, 10, []int{0, 3}}, {store.DealerScope(*b), 0, 10, []int{1}}, {store.HouseScope(), 0, 10, []int{2}}, {store.Scope{}, 0, 10, nil},
	} {
		got, err := s.Events().After(ctx, c.scope, c.after, c.limit)
		must(t, err)
		expected := []record.Event{}
		for _, i := range c.want {
			expected = append(expected, want[i])
		}
		same(t, fmt.Sprintf("%v after %d", c.scope, c.after), got, expected)
	}
	e, err := s.Events().Get(ctx, store.DealerScope(*b), uid(11))
	must(t, err)
	same(t, "event", e, want[1])
	_, err = s.Events().Get(ctx, store.DealerScope(*a), uid(11))
	expect(t, "another's event", err, store.ErrNotFound)
	_, err = s.Events().Append(ctx, store.DealerScope(*a), event(15, b))
	expect(t, "another's event", err, store.ErrOutOfScope)

	page := store.Page{Limit: 3}
	list, err := s.Events().List(ctx, shop, want[0].Subject, page)
	must(t, err)
	same(t, "newest first", list.Items, []record.Event{want[3], want[2], want[1]})
	page.Cursor = list.NextCursor
	list, err = s.Events().List(ctx, shop, want[0].Subject, page)
	must(t, err)
	same(t, "the rest", list.Items, want[:1])
	_, err = s.Events().List(ctx, shop, record.Subject{Kind: "order", ID: uid(8)}, page)
	expect(t, "the cursor of another subject", err, store.ErrCursor)
	for _, statement := range []string{"update events set kind = 'x'", "delete from events"} {
		_, err := h.Raw(ctx, s, shop, statement)
		expect(t, statement, err, store.ErrInvalid)
	}
}

// Writers and a reader at once, through two openings. Each writer lingers between
// its events and its commit, the later ones shorter, so that numbers given before
// commits would become visible out of turn. The reader, which only ever asks for
// what comes after the last one that it saw, gets every event, once, in order.
func testEventsUnderWriters(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	stores := []store.Store{s, h.Reopen(t, s)}
	a, b := withDealers(t, s)
	owners := []*uuid.UUID{a, b, nil}
	const writers, each = 8, 12
	written, done := make(chan struct{}), make(chan struct{})
	var seen []record.Event
	var failed error
	go func() {
		defer close(done)
		position := int64(0)
		for failed == nil {
			over := false
			select {
			case <-written:
				over = true
			default:
			}
			var batch []record.Event
			batch, failed = stores[1].Events().After(ctx, store.ShopScope(), position, 5)
			for _, e := range batch {
				position = e.Sequence
				seen = append(seen, e)
			}
			if over && len(batch) == 0 {
				return
			}
		}
	}()
	all(writers, func(w int) {
		for i := range each {
			err := stores[w%2].InTx(ctx, func(tx store.Tx) error {
				e := event(1000+100*w+i, owners[w%3])
				e.Subject.ID = uid(w)
				if _, err := tx.Events().Append(ctx, store.ShopScope(), e); err != nil {
					return err
				}
				time.Sleep(time.Duration((w*7+i*3)%5) * time.Millisecond) // only makes races likelier
				if (w+i)%6 == 0 {
					return fmt.Errorf("undone")
				}
				return nil
			})
			if err != nil { // again, for good
				_, err = stores[w%2].Events().Append(ctx, store.ShopScope(), func() record.Event {
					e := event(1000+100*w+i, owners[w%3])
					e.Subject.ID = uid(w)
					return e
				}())
				if err != nil {
					t.Error(err)
				}
			}
		}
	})
	close(written)
	<-done
	must(t, failed)
	if len(seen) != writers*each {
		t.Errorf("the reader has %d events of %d", len(seen), writers*each)
	}
	next := map[uuid.UUID]int{}
	for i, e := range seen {
		if e.Sequence != int64(i+1) {
			t.Fatalf("event %d has the sequence %d", i+1, e.Sequence)
		}
		w := slices.Index([]uuid.UUID{uid(0), uid(1), uid(2), uid(3), uid(4), uid(5), uid(6), uid(7)}, e.Subject.ID)
		if want := uid(1000 + 100*w + next[e.Subject.ID]); e.ID != want {
			t.Fatalf("writer %d: %v came in place of %v", w, e.ID, want)
		}
		next[e.Subject.ID]++
	}
}
