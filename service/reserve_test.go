package service_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/order"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// resin is what every hatch of these tests takes some kilograms of.
const resin = "general-purpose polyester"

// receive puts so much resin in stock.
func (d *desk) receive(amount stockroom.Amount, expires string) record.Lot {
	d.t.Helper()
	made, err := d.service.MoveStock(context.Background(), d.shop, service.NewMove{Kind: stockroom.Receive, Amount: amount, Lot: &service.NewLot{Material: resin, ExpiresOn: expires}}, nil)
	if err != nil {
		d.t.Fatal(err)
	}
	return made.Record.Lots[0]
}

// needed is how much resin a quote counts on.
func needed(q record.Quote) (sum stockroom.Amount) {
	for _, l := range q.Lines {
		for _, c := range l.FromStock {
			if c.Material == resin {
				sum += c.Amount
			}
		}
	}
	return sum
}

// registered puts a mold of the configuration in the register.
func (d *desk) registered(configuration uuid.UUID, of part.Part, pulls int) record.Mold {
	d.t.Helper()
	made, err := d.service.RegisterMold(context.Background(), d.shop, service.NewMold{ConfigurationID: configuration, Part: of, RemainingPulls: pulls, Tag: string(of) + " " + configuration.String()}, nil)
	if err != nil {
		d.t.Fatal(err)
	}
	return made.Record
}

// onMold is a quote like q that counts on a mold.
func (d *desk) onMold(q record.Quote, m record.Mold) record.Quote {
	d.t.Helper()
	q.ID = uuid.Must(uuid.NewV7())
	q.Lines = slices.Clone(q.Lines)
	q.Lines[0].Molds = map[string]uuid.UUID{m.Part: m.ID}
	if err := d.store.Quotes().Insert(context.Background(), store.ShopScope(), q); err != nil {
		d.t.Fatal(err)
	}
	return q
}

func (d *desk) pulls(m record.Mold) (reserved int) {
	d.t.Helper()
	sums, err := d.store.Molds().Reserved(context.Background(), store.ShopScope(), []uuid.UUID{m.ID})
	if err != nil {
		d.t.Fatal(err)
	}
	return sums[m.ID]
}

func (d *desk) stock() service.MaterialStock {
	d.t.Helper()
	list, err := d.service.ListStock(context.Background(), d.shop)
	if err != nil {
		d.t.Fatal(err)
	}
	i := slices.IndexFunc(list.Materials, func(m service.MaterialStock) bool { return m.Material == resin })
	if i < 0 {
		return service.MaterialStock{}
	}
	return list.Materials[i]
}

func (d *desk) change(o record.Order) service.OrderChange {
	return service.OrderChange{ID: o.ID}
}

// orders places the quotes, all at once, and gives the orders made and why the
// others were not.
func (d *desk) orders(quotes []record.Quote) (made []record.Order, refused map[string]int) {
	var mu sync.Mutex
	var group sync.WaitGroup
	refused = map[string]int{}
	for n, q := range quotes {
		group.Go(func() {
			c := d.shop
			if q.DealerID != nil && n%2 == 0 {
				c = d.a
			}
			o, err := d.place(d.service, c, q.ID, nil)
			mu.Lock()
			defer mu.Unlock()
			if err == nil {
				made = append(made, o)
			} else {
				refused[reason(err)]++
			}
		})
	}
	group.Wait()
	return made, refused
}

// Of many orders at once for the last pulls of a mold as many win as there are; the
// others are told so, and nothing of them is left.
func TestLastPulls(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		configuration := d.kept(d.a)
		q := d.quoted(d.a, configuration)
		m := d.registered(configuration, "receiver", 2)
		var quotes []record.Quote
		for range 8 {
			quotes = append(quotes, d.onMold(q, m))
		}
		made, refused := d.orders(quotes)
		if len(made) != 2 || refused[string(order.MoldTaken)] != 6 || d.pulls(m) != 2 {
			t.Fatalf("%d orders for 2 pulls, refused %v, %d reserved", len(made), refused, d.pulls(m))
		}
		for _, q := range quotes {
			got, err := d.store.Quotes().Get(t.Context(), store.ShopScope(), q.ID)
			if err != nil || got.State == record.QuoteOrdered != slices.ContainsFunc(made, func(o record.Order) bool { return o.QuoteID == q.ID }) {
				t.Errorf("quote %v is %s, %v", q.ID, got.State, err)
			}
		}
		// Each order has its plan from the moment on that it is there.
		plans, err := d.store.Plans().Open(t.Context(), store.ShopScope())
		if err != nil || len(plans) != 2 {
			t.Errorf("%d plans, %v", len(plans), err)
		}
		// A hold keeps the pull, a cancellation frees it: the next one gets it.
		if _, err := d.service.HoldOrder(t.Context(), d.a, d.change(made[0]), "boat delayed", nil); err != nil {
			t.Fatal(err)
		}
		if d.pulls(m) != 2 {
			t.Errorf("%d reserved during a hold", d.pulls(m))
		}
		again := d.onMold(q, m)
		if _, err := d.place(d.service, d.a, again.ID, nil); reason(err) != string(order.MoldTaken) {
			t.Errorf("a third order: %v", err)
		}
		if _, err := d.service.CancelOrder(t.Context(), d.a, d.change(made[0]), "boat sold", nil); err != nil {
			t.Fatal(err)
		}
		if d.pulls(m) != 1 {
			t.Errorf("%d reserved after a cancellation", d.pulls(m))
		}
		d.ordered(d.a, again)
		if d.pulls(m) != 2 {
			t.Errorf("%d reserved after the next order", d.pulls(m))
		}
	})
}

// A search counts only what no order has reserved.
func TestReservedPullsAreNotFound(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		configuration := d.kept(d.a)
		q := d.quoted(d.a, configuration)
		m := d.registered(configuration, "receiver", 1)
		result, err := d.service.Derive(t.Context(), d.a, request(t, smallHatch).Request)
		if err != nil {
			t.Fatal(err)
		}
		uses := func() int {
			l, err := d.service.LeadTime(t.Context(), d.a, result, service.LeadTimeOptions{})
			if err != nil {
				t.Fatal(err)
			}
			return len(l.Molds)
		}
		if uses() != 1 {
			t.Fatal("the mold is not found")
		}
		o := d.ordered(d.a, d.onMold(q, m))
		if uses() != 0 {
			t.Error("a mold whose last pull is reserved is counted on")
		}
		if _, err := d.service.CancelOrder(t.Context(), d.shop, d.change(o), "boat sold", nil); err != nil {
			t.Fatal(err)
		}
		if uses() != 1 {
			t.Error("a mold that is free again is not found")
		}
	})
}

// Of two orders at once for the last stock one wins; a shortage that the quote knew
// of is no reason to refuse.
func TestLastStock(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		configuration := d.kept(d.a)
		d.receive(100*stockroom.Unit, "")
		each := needed(d.quoted(d.a, configuration))
		if each <= 0 {
			t.Fatal("the quote counts on no resin")
		}
		whole := d.stock()
		if _, err := d.service.MoveStock(t.Context(), d.shop, service.NewMove{Kind: stockroom.Scrap, LotID: d.lot(), Amount: whole.OnHand - each - each/2}, nil); err != nil {
			t.Fatal(err)
		}
		quotes := []record.Quote{d.quoted(d.a, configuration), d.quoted(d.a, configuration), d.quoted(d.a, configuration)}
		made, refused := d.orders(quotes)
		if len(made) != 1 || refused[string(order.StockTaken)] != 2 || d.stock().Reserved != each {
			t.Fatalf("%d orders for the last stock, refused %v, %v reserved of %v", len(made), refused, d.stock().Reserved, each)
		}
		// A new quote counts on the half that is left, and is ordered.
		rest := d.quoted(d.a, configuration)
		if needed(rest) != each/2 {
			t.Errorf("a new quote counts on %v of %v", needed(rest), each/2)
		}
		second := d.ordered(d.a, rest)
		if s := d.stock(); s.Free != 0 || s.Reserved != each+each/2 {
			t.Errorf("%v free, %v reserved", s.Free, s.Reserved)
		}
		if _, err := d.service.RefreshBacklog(t.Context()); err != nil {
			t.Fatal(err)
		}
		short, err := d.service.ListShortages(t.Context(), d.shop)
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(short.Purchases, func(p stockroom.Purchase) bool { return p.Material == resin })
		if i < 0 || short.Purchases[i].Short != each-each/2 || !slices.Equal(short.Purchases[i].Orders, []string{second.ID.String()}) {
			t.Errorf("to buy: %+v", short.Purchases)
		}
		// What is freed can be ordered; what came in meanwhile is for who waits.
		if _, err := d.service.CancelOrder(t.Context(), d.a, d.change(made[0]), "boat sold", nil); err != nil {
			t.Fatal(err)
		}
		if s := d.stock(); s.Reserved != each/2 {
			t.Errorf("%v reserved after a cancellation", s.Reserved)
		}
		if next := d.quoted(d.a, configuration); needed(next) != each-(each-each/2) {
			t.Errorf("a quote counts on %v of the %v freed, of which an order waits for %v", needed(next), each, each-each/2)
		}
	})
}

func (d *desk) lot() *uuid.UUID {
	d.t.Helper()
	list, err := d.service.ListLots(context.Background(), d.shop, store.LotFilter{Material: resin, Held: true}, store.Page{})
	if err != nil || len(list.Items) == 0 {
		d.t.Fatal(len(list.Items), err)
	}
	return &list.Items[0].ID
}

// The same request many times over is one order and one reservation.
func TestOrderAgainReservesOnce(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		configuration := d.kept(d.a)
		d.receive(100*stockroom.Unit, "")
		q := d.quoted(d.a, configuration)
		m := d.registered(configuration, "lid", 64)
		q = d.onMold(q, m)
		claim := &service.Claim{Key: "once", Method: "POST", Route: "/v1/orders", Path: "/v1/orders", Body: []byte("the order")}
		var mu sync.Mutex
		ids := map[uuid.UUID]int{}
		var group sync.WaitGroup
		for range 64 {
			group.Go(func() {
				for {
					o, err := d.place(d.service, d.a, q.ID, claim)
					if r := reason(err); err != nil && r != "in progress" && r != "unavailable" {
						t.Errorf("%q: %v", r, err)
						return
					}
					if err == nil {
						mu.Lock()
						ids[o.ID]++
						mu.Unlock()
						return
					}
				}
			})
		}
		group.Wait()
		if len(ids) != 1 || d.pulls(m) != 1 || d.stock().Reserved != needed(q) {
			t.Errorf("%d orders, %d pulls and %v reserved of %v", len(ids), d.pulls(m), d.stock().Reserved, needed(q))
		}
	})
}

// brokenEvents fails where an order's transaction writes last.
type brokenEvents struct{ store.Store }

type brokenTx struct{ store.Tx }

type brokenLog struct{ store.Events }

var errBroken = errors.New("the line is cut")

func (b brokenEvents) InTx(ctx context.Context, fn func(store.Tx) error) error {
	return b.Store.InTx(ctx, func(tx store.Tx) error { return fn(brokenTx{tx}) })
}

func (b brokenTx) Events() store.Events { return brokenLog{b.Tx.Events()} }

func (brokenLog) Append(context.Context, store.Scope, ...record.Event) ([]record.Event, error) {
	return nil, errBroken
}

// An order that fails at its last write leaves no reservation, no plan, no order.
func TestOrderUndoneLeavesNothing(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		configuration := d.kept(d.a)
		d.receive(100*stockroom.Unit, "")
		q := d.quoted(d.a, configuration)
		m := d.registered(configuration, "lid", 3)
		q = d.onMold(q, m)
		broken := d.another(d.store, func(s store.Store) store.Store { return brokenEvents{s} })
		if err := broken.LoadDocuments(t.Context()); err != nil {
			t.Fatal(err)
		}
		if _, err := d.place(broken, d.a, q.ID, nil); !errors.Is(err, errBroken) {
			t.Fatalf("placed: %v", err)
		}
		plans, err := d.store.Plans().Open(t.Context(), store.ShopScope())
		if err != nil || len(plans) != 0 || d.pulls(m) != 0 || d.stock().Reserved != 0 {
			t.Errorf("%d plans, %d pulls, %v reserved, %v", len(plans), d.pulls(m), d.stock().Reserved, err)
		}
		d.ordered(d.a, q)
		if d.pulls(m) != 1 || d.stock().Reserved != needed(q) {
			t.Errorf("%d pulls, %v reserved", d.pulls(m), d.stock().Reserved)
		}
	})
}

// An order of a revised quote gets what the one that it replaces had, and a finished
// order has used what it had reserved.
func TestReservationsMoveOn(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		configuration := d.kept(d.a)
		d.receive(100*stockroom.Unit, "")
		q := d.quoted(d.a, configuration)
		m := d.registered(configuration, "lid", 1)
		first := d.ordered(d.a, d.onMold(q, m))
		revised := q
		revised.Revises = &first.ID
		second := d.ordered(d.a, d.onMold(revised, m))
		if d.pulls(m) != 1 || d.stock().Reserved != needed(q) {
			t.Errorf("%d pulls, %v reserved of %v", d.pulls(m), d.stock().Reserved, needed(q))
		}
		for n, k := range q.Lines[0].Operations {
			at := d.clock.Now()
			if _, err := d.service.RecordOperation(t.Context(), d.shop, d.change(second), service.Work{Operation: k.Key, StartedAt: at, FinishedAt: &at}, nil); err != nil {
				t.Fatal(fmt.Sprint(n, k.Key), err)
			}
		}
		if s := d.stock(); s.Reserved != 0 || s.OnHand != 100*stockroom.Unit-needed(q) || d.pulls(m) != 0 {
			t.Errorf("%v on hand, %v reserved, %d pulls", s.OnHand, s.Reserved, d.pulls(m))
		}
	})
}

// Stock is set aside for an order while it is cancelled: whichever comes first, in the
// end nothing is set aside for it.
func TestReserveWhileCancelled(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		kept := d.kept(d.a)
		lot := d.receive(500*stockroom.Unit, "")
		first := map[string]int{}
		for i := range 12 {
			o := d.ordered(d.a, d.quoted(d.a, kept))
			var both sync.WaitGroup
			var cancelled, reserved error
			both.Go(func() {
				_, cancelled = d.service.CancelOrder(ctx, d.shop, service.OrderChange{ID: o.ID}, "boat sold", nil)
			})
			both.Go(func() {
				time.Sleep(time.Duration(i) * 500 * time.Microsecond) // so that each comes first some time
				_, reserved = d.service.MoveStock(ctx, d.shop, service.NewMove{Kind: stockroom.Reserve, Amount: stockroom.Unit, LotID: &lot.ID, OrderID: &o.ID}, nil)
			})
			both.Wait()
			wantReason(t, "cancel", cancelled, "")
			if reserved == nil {
				first["reserved"]++
			} else {
				first["cancelled"]++
				wantReason(t, "reserve after", reserved, "order-closed")
			}
			list, err := d.store.Stock().Reservations(ctx, store.ShopScope(), &o.ID)
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range list {
				if v.Amount != 0 {
					t.Errorf("%v of the lot %v are set aside for the cancelled order", v.Amount, v.LotID)
				}
			}
		}
		t.Logf("first came: %v", first)
	})
}
