package service_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

var (
	modelSteps = flag.Int("model-steps", 800, "steps of the model-based test of orders, on each engine and for each seed")
	modelSeed  = flag.Uint64("model-seed", 1, "first seed of the model-based test of orders")
	modelSeeds = flag.Int("model-seeds", 1, "how many seeds it goes through, each on a fresh store")
)

// The model: what a shop clerk would write on cards. It shares no rule with the
// service; its rules are written down here anew.
type cards struct {
	quotes []*quoteCard
	orders []*orderCard
	log    []logEntry // every event, in order
	shop   shopCards
	seen   tally
}

// tally counts what the steps came by.
type tally struct {
	foreign, repeated, scheduled, moved int
	refused                             map[string]int
	freed, taken, finished              int // cancellations that freed something, pulls taken, orders that used up their resin
}

type quoteCard struct {
	id      uuid.UUID
	owner   *uuid.UUID
	state   record.QuoteState
	version int
	until   time.Time
	revises *orderCard
	ops     []string
	promise string
	pulls   map[*moldCard]int // what it counts on
	resin   stockroom.Amount
	demolds []string // operations that take a part out of a mold
}

type orderCard struct {
	id        uuid.UUID
	owner     *uuid.UUID
	quote     *quoteCard
	state     string
	version   int
	heldFrom  string
	heldBy    record.Role
	promise   string
	started   map[string]time.Time
	finished  map[string]bool
	reference string
	has       shares
}

type logEntry struct {
	kind  string
	owner *uuid.UUID
	about uuid.UUID
}

func (m *cards) note(kind string, owner *uuid.UUID, about uuid.UUID) {
	m.log = append(m.log, logEntry{kind, owner, about})
}

func sees(c service.Caller, owner *uuid.UUID) bool {
	if c.Role == record.RoleShop {
		return true
	}
	return (c.DealerID == nil) == (owner == nil) && (owner == nil || *owner == *c.DealerID)
}

func (q *quoteCard) refusal(now time.Time) string {
	switch {
	case q.state == record.QuoteOrdered:
		return "quote-ordered"
	case q.state == record.QuoteWithdrawn:
		return "quote-withdrawn"
	case !now.Before(q.until):
		return "quote-expired"
	}
	return ""
}

func early(state string) bool { return state == "received" || state == "scheduled" }

// refusal says why an action is refused; "" when it is not.
func (o *orderCard) refusal(action string, role record.Role) string {
	shop := role == record.RoleShop
	if o.state == "shipped" || o.state == "cancelled" {
		return "order-closed"
	}
	onlyShop := func(possible bool) string {
		switch {
		case !possible:
			return "order-state"
		case !shop:
			return "order-role"
		}
		return ""
	}
	switch action {
	case "hold":
		if early(o.state) {
			return ""
		}
		return onlyShop(o.state == "in_work")
	case "release":
		if o.state == "on_hold" && o.heldBy == record.RoleDealer {
			return ""
		}
		return onlyShop(o.state == "on_hold")
	case "cancel":
		if early(o.state) || o.state == "on_hold" && early(o.heldFrom) {
			return ""
		}
		return onlyShop(true)
	case "schedule":
		return onlyShop(early(o.state))
	case "promise":
		return onlyShop(o.state != "ready")
	case "ship":
		return onlyShop(o.state == "ready")
	case "record":
		return onlyShop(early(o.state) || o.state == "in_work")
	}
	panic(action)
}

// Random operations of everybody, with everybody's ids, against the cards: the
// same refusals, the same states and versions, the same history, the same pulls and
// resin set aside and used, for each engine.
func TestOrdersAgainstModel(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		t.Run("1", func(t *testing.T) { modelRun(t, open(), *modelSeed) })
	})
	for seed := *modelSeed + 1; seed < *modelSeed+uint64(*modelSeeds); seed++ {
		onEngines(t, func(t *testing.T, open func() store.Store) {
			t.Run(fmt.Sprint(seed), func(t *testing.T) { modelRun(t, open(), seed) })
		})
	}
}

func modelRun(t *testing.T, s store.Store, seed uint64) {
	began := time.Now()
	n, states := runModel(t, newDesk(t, s, &clock{now: monday}, nil), *modelSteps, seed)
	t.Logf("seed %d: %d steps in %v: %+v; orders at the end: %v", seed, *modelSteps, time.Since(began).Round(time.Millisecond), n, states)
	few := *modelSteps < 3000 // whole orders are rare
	if n.foreign == 0 || n.repeated == 0 || n.scheduled == 0 || n.moved == 0 || n.refused["mold-taken"] == 0 || n.refused["stock-taken"] == 0 || n.freed == 0 ||
		!few && (n.taken == 0 || n.finished == 0 || len(states) < len(record.OrderStates)-1) {
		t.Error("the steps did not come around")
	}
}

func runModel(t *testing.T, d *desk, steps int, seed uint64) (n tally, states map[string]int) {
	r := &walk{t: t, d: d, m: &cards{seen: tally{refused: map[string]int{}}}, random: rand.New(rand.NewPCG(seed, 6)), seed: seed,
		kept: map[uuid.UUID]uuid.UUID{*d.a.DealerID: d.kept(d.a), *d.b.DealerID: d.kept(d.b)}}
	r.m.furnish(t, d, r.kept)
	for r.step = range steps {
		r.tick()
		if r.step%5000 == 4999 || r.step == steps-1 {
			compare(t, d, r.m, r.step)
			for _, o := range r.m.orders {
				r.m.lookAt(t, d, o, r.step)
			}
		}
	}
	states = map[string]int{}
	for _, o := range r.m.orders {
		states[o.state]++
	}
	return r.m.seen, states
}

// compare holds everything that is kept against the cards, as each caller sees it.
func compare(t *testing.T, d *desk, m *cards, step int) {
	t.Helper()
	for _, c := range []service.Caller{d.shop, d.a, d.b} {
		compareOrders(t, d, m, c, step)
		compareQuotes(t, d, m, c, step)
		compareEvents(t, d, m, c, step)
	}
}

// pages reads a list whole.
func pages[T any](t *testing.T, list func(store.Page) (store.Listing[T], error)) (items []T) {
	t.Helper()
	page := store.Page{Limit: 200}
	for {
		l, err := list(page)
		if err != nil {
			t.Fatal(err)
		}
		items = append(items, l.Items...)
		if page.Cursor = l.NextCursor; page.Cursor == "" {
			return items
		}
	}
}

func compareOrders(t *testing.T, d *desk, m *cards, c service.Caller, step int) {
	t.Helper()
	want := map[uuid.UUID]*orderCard{}
	for _, o := range m.orders {
		if sees(c, o.owner) {
			want[o.id] = o
		}
	}
	listed := func(f store.OrderFilter) []record.Order {
		return pages(t, func(page store.Page) (store.Listing[record.Order], error) {
			return d.service.ListOrders(t.Context(), c, f, page)
		})
	}
	states := map[string]int{}
	for _, o := range listed(store.OrderFilter{}) {
		card := want[o.ID]
		if card == nil {
			t.Fatalf("step %d: order %v is listed twice, or is not the caller's", step, o.ID)
		}
		got := orderCard{state: string(o.State), version: o.Version, heldFrom: string(o.HeldFrom), heldBy: o.HeldBy, promise: o.Promise, reference: o.PurchaseReference}
		says := orderCard{state: card.state, version: card.version, heldFrom: card.heldFrom, heldBy: card.heldBy, promise: card.promise, reference: card.reference}
		if !reflect.DeepEqual(got, says) {
			t.Fatalf("step %d: order %v is %+v, the model says %+v", step, o.ID, got, says)
		}
		states[card.state]++
		delete(want, o.ID)
	}
	if len(want) != 0 {
		t.Fatalf("step %d: %d orders are not listed", step, len(want))
	}
	for state, count := range states {
		if got := len(listed(store.OrderFilter{State: record.OrderState(state)})); got != count {
			t.Fatalf("step %d: %d orders are %s, the model says %d", step, got, state, count)
		}
	}
}

func compareQuotes(t *testing.T, d *desk, m *cards, c service.Caller, step int) {
	t.Helper()
	listed := pages(t, func(page store.Page) (store.Listing[record.Quote], error) {
		return d.service.ListQuotes(t.Context(), c, store.QuoteFilter{}, page)
	})
	for _, q := range listed {
		i := slices.IndexFunc(m.quotes, func(k *quoteCard) bool { return k.id == q.ID })
		if i < 0 || !sees(c, m.quotes[i].owner) {
			t.Fatalf("step %d: a quote that is not the caller's is listed", step)
		}
		k, state := m.quotes[i], m.quotes[i].state
		if k.refusal(d.clock.Now()) == "quote-expired" {
			state = record.QuoteExpired
		}
		if q.State != state || q.Version != k.version {
			t.Fatalf("step %d: quote %s %d, the model says %s %d", step, q.State, q.Version, state, k.version)
		}
	}
	visible := 0
	for _, q := range m.quotes {
		if sees(c, q.owner) {
			visible++
		}
	}
	if len(listed) != visible {
		t.Fatalf("step %d: %d quotes are listed, the model says %d", step, len(listed), visible)
	}
}

func compareEvents(t *testing.T, d *desk, m *cards, c service.Caller, step int) {
	t.Helper()
	var log []logEntry
	for _, e := range m.log {
		if sees(c, e.owner) {
			log = append(log, e)
		}
	}
	position := int64(0)
	for i := 0; ; {
		list, err := d.store.Events().After(t.Context(), c.Scope(), position, 500)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			if e.Actor == (record.Actor{}) && !slices.ContainsFunc(order.Steps, func(s order.Step) bool { return s.Itself && string(s.Event) == e.Kind }) {
				t.Fatalf("step %d: the service did %s by itself, which the table does not say", step, e.Kind)
			}
			if i >= len(log) || e.Kind != log[i].kind || e.Subject.ID != log[i].about {
				t.Fatalf("step %d: event %d is %s of %v, which the model does not say", step, i, e.Kind, e.Subject)
			}
			position = e.Sequence
			i++
		}
		if len(list) == 0 {
			if i != len(log) {
				t.Fatalf("step %d: %d events, the model says %d", step, i, len(log))
			}
			return
		}
	}
}
