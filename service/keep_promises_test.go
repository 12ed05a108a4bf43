package service_test

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// keep works the backlog out and holds the promises against it, as the worker does.
func (d *desk) keep(s *service.Service) {
	d.t.Helper()
	if _, err := s.RefreshBacklog(d.t.Context()); err != nil {
		d.t.Fatal(err)
	}
	if err := s.KeepPromises(d.t.Context()); err != nil {
		d.t.Fatal(err)
	}
}

func (d *desk) get(id uuid.UUID) record.Order {
	d.t.Helper()
	o, err := d.store.Orders().Get(d.t.Context(), store.ShopScope(), id)
	if err != nil {
		d.t.Fatal(err)
	}
	return o
}

// told is an event as a receiver reads it.
type told struct {
	Type string
	Data struct {
		Version        int
		State          string
		Promise        string
		PromisedBefore string `json:"promised_before"`
		Cause          string
	}
	by record.Actor
}

// history is what was told of an order, oldest first, without the floor's records.
func (d *desk) history(id uuid.UUID) (list []told) {
	d.t.Helper()
	page := store.Page{Limit: store.MaxLimit}
	for {
		l, err := d.service.OrderEvents(d.t.Context(), d.shop, id, page)
		if err != nil {
			d.t.Fatal(err)
		}
		for _, e := range l.Items {
			v := told{by: e.Actor}
			if err := json.Unmarshal(e.Body, &v); err != nil {
				d.t.Fatal(err)
			}
			if v.Type != "operation.recorded" {
				list = append(list, v)
			}
		}
		if page.Cursor = l.NextCursor; page.Cursor == "" {
			slices.Reverse(list)
			return list
		}
	}
}

func kinds(list []told) string {
	var out []string
	for _, e := range list {
		out = append(out, strings.TrimPrefix(e.Type, "order."))
	}
	return strings.Join(out, " ")
}

// finish records operations of an order as done now, the first so many that are not.
func (d *desk) finish(id uuid.UUID, count int) {
	d.t.Helper()
	detail, err := d.service.GetOrder(d.t.Context(), d.shop, id)
	if err != nil {
		d.t.Fatal(err)
	}
	done := map[string]bool{}
	for _, r := range detail.Operations {
		done[r.Operation] = true
	}
	at := d.clock.Now()
	for _, l := range detail.Quote.Lines {
		for _, k := range l.Operations {
			if done[k.Key] || count == 0 {
				continue
			}
			count--
			if _, err := d.service.RecordOperation(d.t.Context(), d.shop, d.change(detail.Order), service.Work{Operation: k.Key, StartedAt: at, FinishedAt: &at}, nil); err != nil {
				d.t.Fatal(err)
			}
		}
	}
}

const week = 7 * 24 * time.Hour

// An order is scheduled by the program with the date that it was promised; the promise
// stays while it holds, moves later when it does not, says why, and never moves back.
func TestKeepPromises(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		kept := d.kept(d.a)
		d.keep(d.service)
		o := d.ordered(d.a, d.dated(d.quoted(d.a, kept)))
		first := o.Promise
		for range 3 {
			d.keep(d.service)
		}
		o = d.get(o.ID)
		list := d.history(o.ID)
		if o.State != record.OrderScheduled || o.Promise != first || o.Version != 2 || kinds(list) != "received scheduled" {
			t.Fatalf("%s, promised %s, version %d, %s", o.State, o.Promise, o.Version, kinds(list))
		}
		if e := list[1]; e.by != (record.Actor{}) || e.Data.Promise != first || e.Data.PromisedBefore != first || e.Data.State != "scheduled" || e.Data.Version != 2 {
			t.Errorf("scheduled: %+v", e)
		}

		// On hold nothing moves, however long.
		move := func(err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
		}
		_, err := d.service.HoldOrder(t.Context(), d.a, d.change(o), "owner abroad", nil)
		move(err)
		d.clock.Add(8 * week)
		d.keep(d.service)
		if got := d.get(o.ID); got.Promise != first || got.Version != 3 {
			t.Errorf("on hold: %+v", got)
		}
		_, err = d.service.ReleaseOrder(t.Context(), d.a, d.change(o), nil)
		move(err)
		d.keep(d.service)
		d.keep(d.service)
		list = d.history(o.ID)
		if kinds(list) != "received scheduled held released promise_changed" {
			t.Fatal(kinds(list))
		}
		e := list[4]
		if e.Data.PromisedBefore != first || e.Data.Promise <= "2027-01-25" || e.Data.Cause != "It was on hold." || e.Data.Version != 5 {
			t.Errorf("after the hold: %+v", e.Data)
		}
		o = d.get(o.ID)
		if o.Promise != e.Data.Promise || o.State != record.OrderScheduled {
			t.Errorf("%+v", o)
		}

		// Nothing is recorded for two weeks.
		second := o.Promise
		d.clock.Add(2 * week)
		d.keep(d.service)
		list = d.history(o.ID)
		if e = list[len(list)-1]; e.Type != "order.promise_changed" || e.Data.PromisedBefore != second || e.Data.Promise <= second || e.Data.Cause != "The work recorded so far is behind the plan." {
			t.Errorf("nothing recorded: %+v", e)
		}

		// All but the last is done at once: that is earlier, and not taken back.
		third := d.get(o.ID).Promise
		operations := 0
		detail, err := d.service.GetOrder(t.Context(), d.shop, o.ID)
		move(err)
		for _, l := range detail.Quote.Lines {
			operations += len(l.Operations)
		}
		d.finish(o.ID, operations-1)
		d.keep(d.service)
		if got := d.get(o.ID); got.Promise != third || got.State != record.OrderInWork {
			t.Errorf("earlier: %s %s, was %s", got.State, got.Promise, third)
		}
		// Ready, it waits for whoever takes it away.
		d.finish(o.ID, 1)
		d.clock.Add(20 * week)
		d.keep(d.service)
		if got := d.get(o.ID); got.Promise != third || got.State != record.OrderReady {
			t.Errorf("ready: %s %s, was %s", got.State, got.Promise, third)
		}
	})
}

// Two copies of the service, each with its own backlog, change each order once.
func TestKeepPromisesTogether(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		other := d.another(open(), nil)
		if err := other.LoadDocuments(t.Context()); err != nil {
			t.Fatal(err)
		}
		kept := d.kept(d.a)
		var orders []record.Order
		for range 6 {
			orders = append(orders, d.ordered(d.a, d.quoted(d.a, kept)))
		}
		together := func() {
			t.Helper()
			both := []*service.Service{d.service, other}
			for _, s := range both {
				if _, err := s.RefreshBacklog(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			var group sync.WaitGroup
			for _, s := range both {
				group.Go(func() {
					if err := s.KeepPromises(t.Context()); err != nil {
						t.Error(err)
					}
				})
			}
			group.Wait()
		}
		together()
		d.clock.Add(8 * week)
		before := map[uuid.UUID]int{}
		for _, o := range orders {
			before[o.ID] = strings.Count(kinds(d.history(o.ID)), "promise_changed")
		}
		together()
		for _, o := range orders {
			got := kinds(d.history(o.ID))
			if strings.Count(got, "scheduled") != 1 || strings.Count(got, "promise_changed") != before[o.ID]+1 || d.get(o.ID).State != record.OrderScheduled {
				t.Errorf("%s, before the second round %d", got, before[o.ID])
			}
		}
	})
}

// stumbling fails every write of an event of one order after so many, and when there
// are to be none the update of the order itself.
type stumbling struct {
	store.Store
	order  uuid.UUID
	events *int // left; -1 for all
}

type stumblingTx struct {
	store.Tx
	s stumbling
}

type stumblingOrders struct {
	store.Orders
	s stumbling
}

type stumblingLog struct {
	store.Events
	s stumbling
}

func (s stumbling) InTx(ctx context.Context, fn func(store.Tx) error) error {
	return s.Store.InTx(ctx, func(tx store.Tx) error { return fn(stumblingTx{tx, s}) })
}

func (s stumblingTx) Orders() store.Orders { return stumblingOrders{s.Tx.Orders(), s.s} }

func (s stumblingTx) Events() store.Events { return stumblingLog{s.Tx.Events(), s.s} }

func (o stumblingOrders) Update(ctx context.Context, scope store.Scope, now record.Order, expected int) error {
	if now.ID == o.s.order && *o.s.events == 0 {
		return errBroken
	}
	return o.Orders.Update(ctx, scope, now, expected)
}

func (l stumblingLog) Append(ctx context.Context, scope store.Scope, e ...record.Event) ([]record.Event, error) {
	if e[0].Subject.ID == l.s.order {
		if *l.s.events == 0 {
			return nil, errBroken
		}
		*l.s.events--
	}
	return l.Events.Append(ctx, scope, e...)
}

// An order that cannot be changed does not keep the others from it; a keeper that dies
// after any of its events leaves the rest to the next, and nothing is told twice.
func TestKeepPromisesAfterFaults(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		kept := d.kept(d.a)
		var orders []record.Order
		for range 3 {
			orders = append(orders, d.ordered(d.a, d.quoted(d.a, kept)))
		}
		d.clock.Add(8 * week) // each is to be scheduled, and its promise to move
		keeper := func(events int) error {
			s := d.another(d.store, func(s store.Store) store.Store { return stumbling{s, orders[1].ID, &events} })
			if err := s.LoadDocuments(t.Context()); err != nil {
				t.Fatal(err)
			}
			if _, err := s.RefreshBacklog(t.Context()); err != nil {
				t.Fatal(err)
			}
			return s.KeepPromises(t.Context())
		}
		for events, want := range []string{"received", "received scheduled"} {
			if err := keeper(events); !errors.Is(err, errBroken) || !strings.Contains(err.Error(), orders[1].ID.String()) {
				t.Errorf("no more than %d events: %v", events, err)
			}
			for i, o := range orders {
				got := kinds(d.history(o.ID))
				if i == 1 && got != want || i != 1 && !strings.HasPrefix(got, "received scheduled promise_changed") {
					t.Errorf("no more than %d events of the second, order %d: %s", events, i, got)
				}
			}
		}
		for range 3 {
			if err := keeper(-1); err != nil {
				t.Error(err)
			}
		}
		for _, o := range orders {
			list := d.history(o.ID)
			if !strings.HasPrefix(kinds(list), "received scheduled promise_changed") || strings.Count(kinds(list), "scheduled") != 1 {
				t.Errorf("in the end: %s", kinds(list))
			}
			for i, e := range list[1:] { // each from where the one before left it
				if e.Data.PromisedBefore != list[i].Data.Promise || e.Data.Version != list[i].Data.Version+1 {
					t.Errorf("%+v after %+v", e.Data, list[i].Data)
				}
			}
		}
	})
}

// Each cause is told by what moved the order.
func TestPromiseCauses(t *testing.T) {
	// cause places orders, lets happen what moves the first, and gives what is told.
	cause := func(t *testing.T, happens func(d *desk, kept uuid.UUID, o record.Order)) told {
		t.Helper()
		d := newDesk(t, engines["sqlite"](t)(), &clock{now: monday}, nil)
		kept := d.kept(d.a)
		d.receive(100*stockroom.Unit, "")
		d.keep(d.service)
		o := d.ordered(d.a, d.dated(d.quoted(d.a, kept)))
		d.keep(d.service)
		if got := kinds(d.history(o.ID)); got != "received scheduled" {
			t.Fatal(got)
		}
		d.clock.Add(time.Minute)
		happens(d, kept, o)
		d.keep(d.service)
		list := d.history(o.ID)
		e := list[len(list)-1]
		if e.Type != "order.promise_changed" || e.Data.Promise <= e.Data.PromisedBefore {
			t.Fatalf("%s, promised %s", kinds(list), d.get(o.ID).Promise)
		}
		return e
	}
	wants := func(t *testing.T, e told, want string) {
		t.Helper()
		if !strings.HasPrefix(e.Data.Cause, want) {
			t.Errorf("told %q, want %q", e.Data.Cause, want)
		}
	}
	t.Run("material", func(t *testing.T) {
		e := cause(t, func(d *desk, kept uuid.UUID, o record.Order) {
			// The lot is found spoiled; the supplier takes weeks.
			lot := d.lot()
			for _, m := range []service.NewMove{
				{Kind: stockroom.Release, LotID: lot, OrderID: &o.ID, Amount: d.stock().Reserved},
				{Kind: stockroom.Scrap, LotID: lot, Amount: 100 * stockroom.Unit},
			} {
				if _, err := d.service.MoveStock(t.Context(), d.shop, m, nil); err != nil {
					t.Fatal(err)
				}
			}
			d.put(record.DocumentMaterials, func(doc map[string]any) {
				doc["purchasing"].(map[string]any)[resin].(map[string]any)["lead_working_days"] = 40
			})
		})
		wants(t, e, "Material is short, general-purpose polyester; ordered now, it is here on 2027-0")
	})
	t.Run("closure", func(t *testing.T) {
		wants(t, cause(t, func(d *desk, kept uuid.UUID, o record.Order) {
			d.put(record.DocumentProfile, func(doc map[string]any) {
				c := doc["calendar"].(map[string]any)
				c["closures"] = append(c["closures"].([]any), map[string]any{"from": "2026-12-01", "to": "2026-12-11", "reason": "storm damage"})
			})
		}), "The shop is closed on more days until then than when the date was given.")
	})
	t.Run("behind", func(t *testing.T) {
		wants(t, cause(t, func(d *desk, kept uuid.UUID, o record.Order) { d.clock.Add(2 * week) }), "The work recorded so far is behind the plan.")
	})
	t.Run("an operation that does not end", func(t *testing.T) {
		wants(t, cause(t, func(d *desk, kept uuid.UUID, o record.Order) {
			detail, err := d.service.GetOrder(t.Context(), d.shop, o.ID)
			if err != nil {
				t.Fatal(err)
			}
			k := detail.Quote.Lines[0].Operations[0]
			if _, err := d.service.RecordOperation(t.Context(), d.shop, d.change(o), service.Work{Operation: k.Key, StartedAt: d.clock.Now()}, nil); err != nil {
				t.Fatal(err)
			}
			d.clock.Add(3 * week)
		}), `The operation "`)
	})
	t.Run("an order ahead", func(t *testing.T) {
		wants(t, cause(t, func(d *desk, kept uuid.UUID, o record.Order) {
			// A boat builder's orders for days before: the shop promises them by hand.
			for range 12 {
				urgent := d.ordered(d.b, d.quoted(d.b, d.kept(d.b)))
				if _, err := d.service.ScheduleOrder(t.Context(), d.shop, d.change(urgent), "2026-12-03", nil); err != nil {
					t.Fatal(err)
				}
			}
		}), "Another order is ahead of it at the ")
	})
	t.Run("slower work", func(t *testing.T) {
		wants(t, cause(t, func(d *desk, kept uuid.UUID, o record.Order) {
			d.put(record.DocumentProfile, func(doc map[string]any) {
				// The shop learns that its work takes long: what was finished took six times as much.
				doc["uncertainty"].(map[string]any)["weight"] = 0.5
			})
			past := d.ordered(d.b, d.quoted(d.b, d.kept(d.b)))
			detail, err := d.service.GetOrder(t.Context(), d.shop, past.ID)
			if err != nil {
				t.Fatal(err)
			}
			at := d.clock.Now()
			for _, k := range detail.Quote.Lines[0].Operations {
				hours := 6 * k.Hours * float64(k.Crew)
				if _, err := d.service.RecordOperation(t.Context(), d.shop, d.change(past), service.Work{Operation: k.Key, StartedAt: at, FinishedAt: &at, Hours: &hours}, nil); err != nil {
					t.Fatal(err)
				}
			}
		}), "The work takes longer than was planned, most of all at the ")
	})
	t.Run("a mold", func(t *testing.T) {
		d := newDesk(t, engines["sqlite"](t)(), &clock{now: monday}, nil)
		kept := d.kept(d.a)
		m := d.registered(kept, "receiver", 40)
		d.keep(d.service)
		o := d.ordered(d.a, d.dated(d.quotedOn(kept, m)))
		d.keep(d.service)
		if got := d.get(o.ID); got.State != record.OrderScheduled {
			t.Fatal(got.State)
		}
		// Others come first in the same mold, by the shop's own word.
		for range 9 {
			urgent := d.ordered(d.a, d.quotedOn(kept, m))
			if _, err := d.service.ScheduleOrder(t.Context(), d.shop, d.change(urgent), "2026-12-02", nil); err != nil {
				t.Fatal(err)
			}
		}
		d.keep(d.service)
		list := d.history(o.ID)
		wants(t, list[len(list)-1], `The mold "receiver `+kept.String()+`" of the receiver is in use for another order for longer than it was.`)
	})
}

// quotedOn is a quote that was made when a mold was there: its molding is not built.
func (d *desk) quotedOn(kept uuid.UUID, m record.Mold) record.Quote {
	d.t.Helper()
	result, err := d.service.Derive(d.t.Context(), d.a, request(d.t, smallHatch).Request)
	if err != nil {
		d.t.Fatal(err)
	}
	l, err := d.service.LeadTime(d.t.Context(), d.a, result, service.LeadTimeOptions{})
	if err != nil {
		d.t.Fatal(err)
	}
	q := d.onMold(d.quoted(d.a, kept), m)
	there := map[string]bool{}
	for _, step := range l.Steps {
		there["1-"+strings.ReplaceAll(step.Key, " ", "-")] = true
	}
	q.ID = uuid.Must(uuid.NewV7())
	q.Lines[0].Operations = slices.DeleteFunc(slices.Clone(q.Lines[0].Operations), func(o record.Operation) bool { return !there[o.Key] })
	if len(l.Molds) == 0 || len(q.Lines[0].Operations) != len(l.Steps) {
		d.t.Fatalf("%d molds, %d operations, %d steps", len(l.Molds), len(q.Lines[0].Operations), len(l.Steps))
	}
	if err := d.store.Quotes().Insert(d.t.Context(), store.ShopScope(), q); err != nil {
		d.t.Fatal(err)
	}
	return q
}

// dated is a quote like q that promises what the lead time says: its p80 behind the
// open work.
func (d *desk) dated(q record.Quote) record.Quote {
	d.t.Helper()
	result, err := d.service.Derive(d.t.Context(), d.a, request(d.t, smallHatch).Request)
	if err != nil {
		d.t.Fatal(err)
	}
	l, err := d.service.LeadTime(d.t.Context(), d.a, result, service.LeadTimeOptions{})
	if err != nil {
		d.t.Fatal(err)
	}
	q.ID, q.Promise = uuid.Must(uuid.NewV7()), l.Promise.String()
	if err := d.store.Quotes().Insert(d.t.Context(), store.ShopScope(), q); err != nil {
		d.t.Fatal(err)
	}
	return q
}

// put puts a changed version of a shop document.
func (d *desk) put(kind string, change func(map[string]any)) {
	d.t.Helper()
	latest, err := d.store.ShopDocuments().Latest(d.t.Context(), kind)
	if err != nil {
		d.t.Fatal(err)
	}
	doc := map[string]any{}
	if err := json.Unmarshal(latest.Body, &doc); err != nil {
		d.t.Fatal(err)
	}
	change(doc)
	body, err := json.Marshal(doc)
	if err != nil {
		d.t.Fatal(err)
	}
	if _, err := d.service.PutShopDocument(d.t.Context(), d.shop, service.NewShopDocument{Kind: kind, Body: body}, nil); err != nil {
		d.t.Fatal(err)
	}
}

// Orders that come in after another and are promised sooner, as they are smaller, leave
// its promise alone: each is quoted behind the open work and has that place.
func TestLaterOrdersLeavePromises(t *testing.T) {
	d := newDesk(t, engines["sqlite"](t)(), &clock{now: monday}, nil)
	kept := d.kept(d.a)
	d.keep(d.service)
	var orders []record.Order
	sooner := 0
	for _, hatches := range []int{4, 1, 2, 3, 1, 4, 2} {
		var q record.Quote
		err := into(&q)(d.service.MakeQuote(t.Context(), d.a, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &kept, Quantity: hatches}}}, nil))
		if err != nil {
			t.Fatal(err)
		}
		o := d.ordered(d.a, q)
		for _, before := range orders {
			if o.Promise < before.Promise {
				sooner++
			}
		}
		orders = append(orders, o)
		d.clock.Add(time.Minute)
		d.keep(d.service)
	}
	if sooner == 0 {
		t.Error("no order was promised sooner than one before it")
	}
	for i, o := range orders {
		if got := kinds(d.history(o.ID)); got != "received scheduled" || d.get(o.ID).Promise != o.Promise {
			t.Errorf("order %d, promised %s: %s, now %s", i, o.Promise, got, d.get(o.ID).Promise)
		}
	}
}

// The lines of a quote are one order: it is promised for when all of it is done, which
// is later than any line by itself, and that promise holds in a shop where nothing
// changes. Two lines do not count on the same last pulls.
func TestQuoteOfSeveralLines(t *testing.T) {
	d := newDesk(t, engines["sqlite"](t)(), &clock{now: monday}, nil)
	kept := d.kept(d.a)
	d.keep(d.service)
	quote := func(hatches ...int) (q record.Quote) {
		t.Helper()
		n := service.NewQuote{}
		for _, k := range hatches {
			n.Lines = append(n.Lines, service.NewQuoteLine{ConfigurationID: &kept, Quantity: k})
		}
		if err := into(&q)(d.service.MakeQuote(t.Context(), d.a, n, nil)); err != nil {
			t.Fatal(err)
		}
		return q
	}
	alone, three := quote(3), quote(3, 3, 3)
	for _, l := range three.Lines {
		if l.Promise != three.Promise || three.Promise <= alone.Promise {
			t.Errorf("three lines promise %s, a line %s, one alone %s", three.Promise, l.Promise, alone.Promise)
		}
	}
	o := d.ordered(d.a, three)
	for range 3 {
		d.clock.Add(time.Minute)
		d.keep(d.service)
	}
	if got := kinds(d.history(o.ID)); got != "received scheduled" || d.get(o.ID).Promise != three.Promise {
		t.Errorf("promised %s, now %s: %s", three.Promise, d.get(o.ID).Promise, got)
	}

	m := d.registered(kept, "receiver", 3)
	split := quote(2, 2, 1)
	if a, b, c := split.Lines[0], split.Lines[1], split.Lines[2]; a.Molds["receiver"] != m.ID || len(b.Molds) != 0 || c.Molds["receiver"] != m.ID ||
		a.Totals.Mold.Value.Cmp(b.Totals.Mold.Value) >= 0 {
		t.Errorf("of 3 pulls: %v, %v, %v; molds cost %v and %v", a.Molds, b.Molds, c.Molds, a.Totals.Mold, b.Totals.Mold)
	}
	if _, err := d.place(d.service, d.a, split.ID, nil); err != nil {
		t.Errorf("its order: %v", err)
	}
}

// A shop that promised too much comes to rest: after some rounds no promise moves any
// more, though each move changes the order of the queue.
func TestPromisesComeToRest(t *testing.T) {
	d := newDesk(t, engines["sqlite"](t)(), &clock{now: monday}, nil)
	kept := d.kept(d.a)
	var orders []record.Order
	for range 24 { // each quoted as if the shop were idle
		orders = append(orders, d.ordered(d.a, d.quoted(d.a, kept)))
	}
	var moves []int
	for range 12 {
		d.clock.Add(time.Minute)
		before := 0
		for _, o := range orders {
			before += strings.Count(kinds(d.history(o.ID)), "promise_changed")
		}
		d.keep(d.service)
		after := 0
		for _, o := range orders {
			after += strings.Count(kinds(d.history(o.ID)), "promise_changed")
		}
		moves = append(moves, after-before)
	}
	most := 0
	for _, o := range orders {
		most = max(most, strings.Count(kinds(d.history(o.ID)), "promise_changed"))
	}
	t.Logf("promises moved in each round: %v; one order's at most %d times", moves, most)
	if moves[0] == 0 || slices.Max(moves[len(moves)-4:]) > 0 {
		t.Errorf("promises moved in each round: %v", moves)
	}
}
