package service_test

import (
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
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
	ctx := t.Context()
	random := rand.New(rand.NewPCG(seed, 6))
	m := &cards{seen: tally{refused: map[string]int{}}}
	callers := []service.Caller{d.shop, d.shop, d.shop, d.a, d.a, d.b, d.b, d.storefrontA}
	kept := map[uuid.UUID]uuid.UUID{*d.a.DealerID: d.kept(d.a), *d.b.DealerID: d.kept(d.b)}
	m.furnish(t, d, kept)
	chance := func(percent int) bool { return random.IntN(100) < percent }
	// recent picks mostly from the newest cards, so that cards are met often.
	recent := func(n int) int {
		if n > 20 && chance(90) {
			return n - 1 - random.IntN(20)
		}
		return random.IntN(n)
	}
	// owners mostly puts the owner in a stranger's place.
	owners := func(c service.Caller, owner *uuid.UUID) service.Caller {
		if c.Role == record.RoleDealer && !sees(c, owner) && chance(60) {
			return map[uuid.UUID]service.Caller{*d.a.DealerID: d.a, *d.b.DealerID: d.b}[*owner]
		}
		return c
	}
	type sent struct {
		post   func() (service.Made[service.OrderDetail], error)
		at     time.Time
		answer record.Answer
	}
	var replayable []sent

	for step := range steps {
		switch random.IntN(100) {
		case 0: // quotes and answers run out
			d.clock.Add(time.Duration(random.IntN(12*24)) * time.Hour)
		case 1, 2, 3, 4, 5, 6, 7, 8, 9, 10:
			d.clock.Add(time.Duration(random.IntN(90)) * time.Minute)
		}
		c := callers[random.IntN(len(callers))]
		now := d.clock.Now()
		check := func(what string, err error, want string) {
			if got := reason(err); got != want {
				t.Fatalf("step %d (seed %d), %s as %s: %q (%v), the model says %q", step, seed, what, c.Role, got, err, want)
			}
		}
		switch random.IntN(400) {
		case 0: // the keeper goes round
			scheduled, moved := m.keep(t, d, step)
			m.seen.scheduled, m.seen.moved = m.seen.scheduled+scheduled, m.seen.moved+moved
		case 2, 3, 4, 5, 6, 7:
			m.fill(d, 1+random.IntN(3))
		case 8, 9, 10:
			m.scrap(t, d, stockroom.Amount(random.IntN(2000))*m.shop.each/1000)
		case 11, 12, 13, 14, 15, 16, 17, 18:
			m.repair(t, d, m.shop.molds[random.IntN(len(m.shop.molds))], 2+random.IntN(8))
		}
		pick := random.IntN(100)
		switch {
		case pick < 4: // a quote that counts on a mold, as of a time at which it was there
			mold := m.shop.molds[random.IntN(len(m.shop.molds))]
			q := mold.copy
			q.ID, q.ValidUntil, q.CreatedAt, q.UpdatedAt = uuid.Must(uuid.NewV7()), now.Add(14*24*time.Hour), now, now
			if err := d.store.Quotes().Insert(ctx, store.ShopScope(), q); err != nil {
				t.Fatal(err)
			}
			m.made(d, q)
			m.log = m.log[:len(m.log)-1] // nobody was told
		case len(m.quotes) == 0 || pick < 12: // a quote
			m.fill(d, 1) // one that is short from the start waits for what comes; see TestLastStock
			owner := []*uuid.UUID{d.a.DealerID, d.b.DealerID}[random.IntN(2)]
			id := kept[*owner]
			n := service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &id}}, DealerID: owner}
			var revises *orderCard
			want := ""
			if len(m.orders) > 0 && chance(12) {
				revises = m.orders[recent(len(m.orders))]
				n.Revises = &revises.id
			}
			switch {
			case c.Role == record.RoleStorefront:
				want = "forbidden"
			case !sees(c, owner):
				want, m.seen.foreign = "not found", m.seen.foreign+1
			case revises != nil && *owner != *revises.owner:
				want = "not found"
			case revises != nil:
				want = revises.refusal("cancel", c.Role)
			}
			var q record.Quote
			err := into(&q)(d.service.MakeQuote(ctx, c, n, nil))
			check("quote", err, want)
			if want == "" {
				card := m.made(d, q)
				card.revises = revises
				if want := now.Add(14 * 24 * time.Hour); !card.until.Equal(want) || *q.DealerID != *owner {
					t.Fatalf("step %d: a quote of %v until %v", step, q.DealerID, q.ValidUntil)
				}
			}
		case pick < 16: // withdraw
			q := m.quotes[recent(len(m.quotes))]
			match := q.version
			if chance(10) {
				match++
			}
			want := ""
			switch {
			case c.Role == record.RoleStorefront:
				want = "forbidden"
			case !sees(c, q.owner):
				want, m.seen.foreign = "not found", m.seen.foreign+1
			case match != q.version:
				want = "stale-version"
			default:
				want = q.refusal(now)
			}
			check("withdraw", only(d.service.WithdrawQuote(ctx, c, service.QuoteChange{ID: q.id, Match: &match}, nil)), want)
			if want == "" {
				q.state, q.version = record.QuoteWithdrawn, q.version+1
				m.note("quote.withdrawn", q.owner, q.id)
			}
		case pick < 34 || len(m.orders) == 0: // order
			q := m.quotes[recent(len(m.quotes))]
			for try := 0; try < 6 && q.refusal(now) != ""; try++ { // mostly one that can be ordered
				q = m.quotes[recent(len(m.quotes))]
			}
			c = owners(c, q.owner)
			want := ""
			switch {
			case c.Role == record.RoleStorefront:
				want = "forbidden"
			case !sees(c, q.owner):
				want, m.seen.foreign = "not found", m.seen.foreign+1
			default:
				if want = q.refusal(now); want == "" && q.revises != nil {
					want = q.revises.refusal("cancel", c.Role)
				}
				if want == "" {
					want = m.taken(q)
				}
			}
			claim := &service.Claim{Key: fmt.Sprint("step ", step), Method: "POST", Route: "/v1/orders", Path: "/v1/orders", Body: []byte(q.id.String())}
			post := func() (service.Made[service.OrderDetail], error) {
				return d.service.PlaceOrder(ctx, c, service.NewOrder{QuoteID: q.id, PurchaseReference: fmt.Sprint("PO ", step)}, claim)
			}
			made, err := post()
			check("order", err, want)
			if want != "" {
				m.seen.refused[want]++
				m.look(t, d, step)
				break
			}
			o := made.Record.Order
			replayable = append(replayable, sent{post, now, made.Answer})
			card := &orderCard{id: o.ID, owner: q.owner, quote: q, state: "received", version: 1, promise: q.promise, reference: fmt.Sprint("PO ", step),
				started: map[string]time.Time{}, finished: map[string]bool{},
				has: shares{pulls: maps.Clone(q.pulls), taken: map[*moldCard]int{}, resin: q.resin}}
			if q.revises != nil {
				q.revises.free()
				q.revises.state, q.revises.heldFrom, q.revises.heldBy = "cancelled", "", ""
				q.revises.version++
				m.note("order.cancelled", q.owner, q.revises.id)
			}
			q.state, q.version = record.QuoteOrdered, q.version+1
			m.orders = append(m.orders, card)
			m.note("order.received", q.owner, o.ID)
			m.look(t, d, step)
			m.lookAt(t, d, card, step)
		case pick < 38 && len(replayable) > 0: // the same request once more
			again := replayable[max(0, len(replayable)-1-random.IntN(20))]
			repeat, err := again.post()
			if now.Sub(again.at) < 48*time.Hour {
				check("the same request again", err, "")
				if string(repeat.Answer.Body) != string(again.answer.Body) || repeat.Answer.Status != again.answer.Status {
					t.Fatalf("step %d: the same request got another answer", step)
				}
				m.seen.repeated++
			} else { // its answer is forgotten, and the quote tells that it was ordered
				check("the same request too late", err, "quote-ordered")
			}
		case pick < 55: // the floor
			o := m.orders[recent(len(m.orders))]
			want := ""
			switch {
			case c.Role != record.RoleShop:
				want = "forbidden"
			default:
				want = o.refusal("record", c.Role)
			}
			var left []string
			for _, key := range o.quote.ops {
				if !o.finished[key] {
					left = append(left, key)
				}
			}
			if want != "" {
				if len(left) == 0 { // all is recorded: anything else is final
					break
				}
				check("record", only(d.service.RecordOperation(ctx, c, service.OrderChange{ID: o.id},
					service.Work{Operation: left[0], StartedAt: now.Add(-time.Duration(step+1) * time.Second)}, nil)), want)
				break
			}
			count := 1 + random.IntN(3)
			if chance(40) {
				count = len(left)
			}
			for _, key := range left[:min(count, len(left))] {
				w := service.Work{Operation: key, StartedAt: now}
				if at, ok := o.started[key]; ok {
					w.StartedAt = at
				}
				if _, ok := o.started[key]; ok || chance(70) {
					w.FinishedAt = &now
				}
				var got record.Order
				check("record "+key, into(&got)(d.service.RecordOperation(ctx, c, service.OrderChange{ID: o.id, Match: &o.version}, w, nil)), "")
				o.version++
				if early(o.state) {
					o.state = "in_work"
					m.note("order.started", o.owner, o.id)
				}
				o.started[key] = w.StartedAt
				m.note("operation.recorded", o.owner, o.id)
				if w.FinishedAt != nil {
					before := o.made()
					o.demolded(key)
					m.seen.taken += o.made() - before
					if o.finished[key] = true; len(o.finished) == len(o.quote.ops) {
						m.shop.onHand -= o.has.resin
						o.has.used += o.has.resin
						o.free()
						m.seen.finished++
						o.state = "ready"
						m.note("order.ready", o.owner, o.id)
					}
				}
				if string(got.State) != o.state || got.Version != o.version {
					t.Fatalf("step %d: %s %d after a record, the model says %s %d", step, got.State, got.Version, o.state, o.version)
				}
			}
			if chance(25) {
				m.look(t, d, step)
				m.lookAt(t, d, o, step)
			}
			if len(left) > 0 && o.finished[left[0]] { // once more: the same is no change, another is refused
				w := service.Work{Operation: left[0], StartedAt: o.started[left[0]], FinishedAt: &now}
				check("the same record", only(d.service.RecordOperation(ctx, c, service.OrderChange{ID: o.id}, w, nil)), "")
				w.StartedAt = w.StartedAt.Add(-time.Minute)
				check("another record", only(d.service.RecordOperation(ctx, c, service.OrderChange{ID: o.id}, w, nil)), "operation-recorded")
			}
		default: // one step of an order
			o := m.orders[recent(len(m.orders))]
			c = owners(c, o.owner)
			actions := []string{"hold", "release", "cancel", "schedule", "promise", "ship", "hold", "release", "schedule", "ship"}
			action := actions[random.IntN(len(actions))]
			if action == "cancel" && chance(75) {
				action = "hold"
			}
			match := o.version
			if chance(10) {
				match = max(1, match-1)
			}
			change := service.OrderChange{ID: o.id, Match: &match}
			var got record.Order
			want := ""
			needsShop := slices.Contains([]string{"schedule", "promise", "ship"}, action)
			switch {
			case c.Role == record.RoleStorefront, needsShop && c.Role != record.RoleShop:
				want = "forbidden"
			case !sees(c, o.owner):
				want, m.seen.foreign = "not found", m.seen.foreign+1
			case match != o.version:
				want = "stale-version"
			default:
				want = o.refusal(action, c.Role)
			}
			promise := fmt.Sprintf("2027-%02d-%02d", 1+random.IntN(12), 1+random.IntN(28))
			if want == "" && action == "promise" && promise == o.promise {
				want = "invalid"
			}
			var err error
			kind := ""
			switch action {
			case "hold":
				err = into(&got)(d.service.HoldOrder(ctx, c, change, "why", nil))
				kind = "order.held"
			case "release":
				err = into(&got)(d.service.ReleaseOrder(ctx, c, change, nil))
				kind = "order.released"
			case "cancel":
				err = into(&got)(d.service.CancelOrder(ctx, c, change, "why", nil))
				kind = "order.cancelled"
			case "schedule":
				err = into(&got)(d.service.ScheduleOrder(ctx, c, change, promise, nil))
				kind = "order.scheduled"
			case "promise":
				err = into(&got)(d.service.ChangePromise(ctx, c, change, promise, "why", nil))
				kind = "order.promise_changed"
			case "ship":
				err = into(&got)(d.service.ShipOrder(ctx, c, change, service.Shipment{}, nil))
				kind = "order.shipped"
			}
			check(action+" of an order that is "+o.state, err, want)
			if want != "" {
				break
			}
			o.version++
			switch action {
			case "hold":
				o.heldFrom, o.heldBy, o.state = o.state, c.Role, "on_hold"
			case "release":
				o.state, o.heldFrom, o.heldBy = o.heldFrom, "", ""
			case "cancel":
				o.state, o.heldFrom, o.heldBy = "cancelled", "", ""
				if o.has.resin > 0 {
					m.seen.freed++
				}
				o.free()
			case "schedule":
				o.state, o.promise = "scheduled", promise
			case "promise":
				o.promise = promise
			case "ship":
				o.state = "shipped"
			}
			m.note(kind, o.owner, o.id)
			if string(got.State) != o.state || got.Version != o.version || got.Promise != o.promise {
				t.Fatalf("step %d: %s gives %+v, the model says %+v", step, action, got, o)
			}
			if chance(25) {
				m.look(t, d, step)
				m.lookAt(t, d, o, step)
			}
		}
		if step%5000 == 4999 || step == steps-1 {
			compare(t, d, m, step)
			for _, o := range m.orders {
				m.lookAt(t, d, o, step)
			}
		}
	}
	states = map[string]int{}
	for _, o := range m.orders {
		states[o.state]++
	}
	return m.seen, states
}

// compare holds everything that is kept against the cards, as each caller sees it.
func compare(t *testing.T, d *desk, m *cards, step int) {
	t.Helper()
	ctx := t.Context()
	for _, c := range []service.Caller{d.shop, d.a, d.b} {
		want := map[uuid.UUID]*orderCard{}
		for _, o := range m.orders {
			if sees(c, o.owner) {
				want[o.id] = o
			}
		}
		states := map[string]int{}
		page := store.Page{Limit: 200}
		for {
			l, err := d.service.ListOrders(ctx, c, store.OrderFilter{}, page)
			if err != nil {
				t.Fatal(err)
			}
			for _, o := range l.Items {
				card := want[o.ID]
				if card == nil {
					t.Fatalf("step %d: order %v is listed twice, or is not the caller's", step, o.ID)
				}
				if string(o.State) != card.state || o.Version != card.version || string(o.HeldFrom) != card.heldFrom || o.HeldBy != card.heldBy ||
					o.Promise != card.promise || o.PurchaseReference != card.reference {
					t.Fatalf("step %d: %+v, the model says %+v", step, o, card)
				}
				states[card.state]++
				delete(want, o.ID)
			}
			if page.Cursor = l.NextCursor; page.Cursor == "" {
				break
			}
		}
		if len(want) != 0 {
			t.Fatalf("step %d: %d orders are not listed", step, len(want))
		}
		for state, count := range states {
			got := 0
			page := store.Page{Limit: 200}
			for {
				l, err := d.service.ListOrders(ctx, c, store.OrderFilter{State: record.OrderState(state)}, page)
				if err != nil {
					t.Fatal(err)
				}
				got += len(l.Items)
				if page.Cursor = l.NextCursor; page.Cursor == "" {
					break
				}
			}
			if got != count {
				t.Fatalf("step %d: %d orders are %s, the model says %d", step, got, state, count)
			}
		}
		quotes := 0
		page = store.Page{Limit: 200}
		for {
			l, err := d.service.ListQuotes(ctx, c, store.QuoteFilter{}, page)
			if err != nil {
				t.Fatal(err)
			}
			quotes += len(l.Items)
			for _, q := range l.Items {
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
			if page.Cursor = l.NextCursor; page.Cursor == "" {
				break
			}
		}
		var log []logEntry
		for _, e := range m.log {
			if sees(c, e.owner) {
				log = append(log, e)
			}
		}
		position := int64(0)
		for i := 0; ; {
			list, err := d.store.Events().After(ctx, c.Scope(), position, 500)
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
				break
			}
		}
		visible := 0
		for _, q := range m.quotes {
			if sees(c, q.owner) {
				visible++
			}
		}
		if quotes != visible {
			t.Fatalf("step %d: %d quotes are listed, the model says %d", step, quotes, visible)
		}
	}
}
