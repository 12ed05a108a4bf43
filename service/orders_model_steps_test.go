package service_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// walk is one run through the model: what is drawn, what is asked, and the cards that
// say what must come of it. Each verb is a method.
type walk struct {
	t      *testing.T
	d      *desk
	m      *cards
	random *rand.Rand
	seed   uint64
	step   int

	kept       map[uuid.UUID]uuid.UUID // a configuration of each dealer
	caller     service.Caller          // of this step
	replayable []sent
}

// sent is an order that was placed, which may be sent again.
type sent struct {
	post   func() (service.Made[service.OrderDetail], error)
	at     time.Time
	answer record.Answer
}

func (r *walk) chance(percent int) bool { return r.random.IntN(100) < percent }

// recent picks mostly from the newest cards, so that cards are met often.
func (r *walk) recent(n int) int {
	if n > 20 && r.chance(90) {
		return n - 1 - r.random.IntN(20)
	}
	return r.random.IntN(n)
}

// owners mostly puts the owner in a stranger's place.
func (r *walk) owners(c service.Caller, owner *uuid.UUID) service.Caller {
	if c.Role == record.RoleDealer && !sees(c, owner) && r.chance(60) {
		r.caller = map[uuid.UUID]service.Caller{*r.d.a.DealerID: r.d.a, *r.d.b.DealerID: r.d.b}[*owner]
	}
	return r.caller
}

// check holds a refusal against the model's.
func (r *walk) check(what string, err error, want string) {
	if got := reason(err); got != want {
		r.t.Fatalf("step %d (seed %d), %s as %s: %q (%v), the model says %q", r.step, r.seed, what, r.caller.Role, got, err, want)
	}
}

// tick lets time go by and has one of the shop's people do something.
func (r *walk) tick() {
	d, m := r.d, r.m
	switch r.random.IntN(100) {
	case 0: // quotes and answers run out
		d.clock.Add(time.Duration(r.random.IntN(12*24)) * time.Hour)
	case 1, 2, 3, 4, 5, 6, 7, 8, 9, 10:
		d.clock.Add(time.Duration(r.random.IntN(90)) * time.Minute)
	}
	callers := []service.Caller{d.shop, d.shop, d.shop, d.a, d.a, d.b, d.b, d.storefrontA}
	r.caller = callers[r.random.IntN(len(callers))]
	c, now := r.caller, d.clock.Now()
	switch r.random.IntN(400) {
	case 0: // the keeper goes round
		scheduled, moved := m.keep(r.t, d, r.step)
		m.seen.scheduled, m.seen.moved = m.seen.scheduled+scheduled, m.seen.moved+moved
	case 2, 3, 4, 5, 6, 7:
		m.fill(d, 1+r.random.IntN(3))
	case 8, 9, 10:
		m.scrap(r.t, d, stockroom.Amount(r.random.IntN(2000))*m.shop.each/1000)
	case 11, 12, 13, 14, 15, 16, 17, 18:
		m.repair(r.t, d, m.shop.molds[r.random.IntN(len(m.shop.molds))], 2+r.random.IntN(8))
	}
	pick := r.random.IntN(100)
	switch {
	case pick < 4:
		r.quoteOnMold(now)
	case len(m.quotes) == 0 || pick < 12:
		r.quote(c, now)
	case pick < 16:
		r.withdraw(c, now)
	case pick < 34 || len(m.orders) == 0:
		r.order(c, now)
	case pick < 38 && len(r.replayable) > 0:
		r.again(now)
	case pick < 55:
		r.floor(c, now)
	default:
		r.change(c)
	}
}

// quoteOnMold keeps a quote that counts on a mold, as of a time at which it was there.
func (r *walk) quoteOnMold(now time.Time) {
	d, m := r.d, r.m
	mold := m.shop.molds[r.random.IntN(len(m.shop.molds))]
	q := mold.copy
	q.ID, q.ValidUntil, q.CreatedAt, q.UpdatedAt = uuid.Must(uuid.NewV7()), now.Add(14*24*time.Hour), now, now
	if err := d.store.Quotes().Insert(r.t.Context(), store.ShopScope(), q); err != nil {
		r.t.Fatal(err)
	}
	m.made(d, q)
	m.log = m.log[:len(m.log)-1] // nobody was told
}

// quote asks for a quote, now and then of one that revises an order.
func (r *walk) quote(c service.Caller, now time.Time) {
	d, m := r.d, r.m
	m.fill(d, 1) // one that is short from the start waits for what comes; see TestLastStock
	owner := []*uuid.UUID{d.a.DealerID, d.b.DealerID}[r.random.IntN(2)]
	id := r.kept[*owner]
	n := service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &id}}, DealerID: owner}
	var revises *orderCard
	want := ""
	if len(m.orders) > 0 && r.chance(12) {
		revises = m.orders[r.recent(len(m.orders))]
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
	err := into(&q)(d.service.MakeQuote(r.t.Context(), c, n, nil))
	r.check("quote", err, want)
	if want == "" {
		card := m.made(d, q)
		card.revises = revises
		if want := now.Add(14 * 24 * time.Hour); !card.until.Equal(want) || *q.DealerID != *owner {
			r.t.Fatalf("step %d: a quote of %v until %v", r.step, q.DealerID, q.ValidUntil)
		}
	}
}

// withdraw withdraws a quote.
func (r *walk) withdraw(c service.Caller, now time.Time) {
	d, m := r.d, r.m
	q := m.quotes[r.recent(len(m.quotes))]
	match := q.version
	if r.chance(10) {
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
	r.check("withdraw", only(d.service.WithdrawQuote(r.t.Context(), c, service.QuoteChange{ID: q.id, Match: &match}, nil)), want)
	if want == "" {
		q.state, q.version = record.QuoteWithdrawn, q.version+1
		m.note("quote.withdrawn", q.owner, q.id)
	}
}

// order orders a quote, mostly one that can be ordered.
func (r *walk) order(c service.Caller, now time.Time) {
	d, m := r.d, r.m
	q := m.quotes[r.recent(len(m.quotes))]
	for try := 0; try < 6 && q.refusal(now) != ""; try++ { // mostly one that can be ordered
		q = m.quotes[r.recent(len(m.quotes))]
	}
	c = r.owners(c, q.owner)
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
	claim := &service.Claim{Key: fmt.Sprint("step ", r.step), Method: "POST", Route: "/v1/orders", Path: "/v1/orders", Body: []byte(q.id.String())}
	post := func() (service.Made[service.OrderDetail], error) {
		return d.service.PlaceOrder(r.t.Context(), c, service.NewOrder{QuoteID: q.id, PurchaseReference: fmt.Sprint("PO ", r.step)}, claim)
	}
	made, err := post()
	r.check("order", err, want)
	if want != "" {
		m.seen.refused[want]++
		m.look(r.t, d, r.step)
		return
	}
	o := made.Record.Order
	r.replayable = append(r.replayable, sent{post, now, made.Answer})
	card := &orderCard{id: o.ID, owner: q.owner, quote: q, state: "received", version: 1, promise: q.promise, reference: fmt.Sprint("PO ", r.step),
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
	m.look(r.t, d, r.step)
	m.lookAt(r.t, d, card, r.step)
}

// again sends an order that was placed once more.
func (r *walk) again(now time.Time) {
	m := r.m
	again := r.replayable[max(0, len(r.replayable)-1-r.random.IntN(20))]
	repeat, err := again.post()
	if now.Sub(again.at) < 48*time.Hour {
		r.check("the same request again", err, "")
		if string(repeat.Answer.Body) != string(again.answer.Body) || repeat.Answer.Status != again.answer.Status {
			r.t.Fatalf("step %d: the same request got another answer", r.step)
		}
		m.seen.repeated++
	} else { // its answer is forgotten, and the quote tells that it was ordered
		r.check("the same request too late", err, "quote-ordered")
	}
}

// floor reports operations of an order.
func (r *walk) floor(c service.Caller, now time.Time) {
	d, m := r.d, r.m
	o := m.orders[r.recent(len(m.orders))]
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
			return
		}
		r.check("record", only(d.service.RecordOperation(r.t.Context(), c, service.OrderChange{ID: o.id},
			service.Work{Operation: left[0], StartedAt: now.Add(-time.Duration(r.step+1) * time.Second)}, nil)), want)
		return
	}
	count := 1 + r.random.IntN(3)
	if r.chance(40) {
		count = len(left)
	}
	for _, key := range left[:min(count, len(left))] {
		w := service.Work{Operation: key, StartedAt: now}
		if at, ok := o.started[key]; ok {
			w.StartedAt = at
		}
		if _, ok := o.started[key]; ok || r.chance(70) {
			w.FinishedAt = &now
		}
		var got record.Order
		r.check("record "+key, into(&got)(d.service.RecordOperation(r.t.Context(), c, service.OrderChange{ID: o.id, Match: &o.version}, w, nil)), "")
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
			r.t.Fatalf("step %d: %s %d after a record, the model says %s %d", r.step, got.State, got.Version, o.state, o.version)
		}
	}
	if r.chance(25) {
		m.look(r.t, d, r.step)
		m.lookAt(r.t, d, o, r.step)
	}
	if len(left) > 0 && o.finished[left[0]] { // once more: the same is no change, another is refused
		w := service.Work{Operation: left[0], StartedAt: o.started[left[0]], FinishedAt: &now}
		r.check("the same record", only(d.service.RecordOperation(r.t.Context(), c, service.OrderChange{ID: o.id}, w, nil)), "")
		w.StartedAt = w.StartedAt.Add(-time.Minute)
		r.check("another record", only(d.service.RecordOperation(r.t.Context(), c, service.OrderChange{ID: o.id}, w, nil)), "operation-recorded")
	}
}

// change takes one step of an order.
func (r *walk) change(c service.Caller) {
	d, m := r.d, r.m
	o := m.orders[r.recent(len(m.orders))]
	c = r.owners(c, o.owner)
	actions := []string{"hold", "release", "cancel", "schedule", "promise", "ship", "hold", "release", "schedule", "ship"}
	action := actions[r.random.IntN(len(actions))]
	if action == "cancel" && r.chance(75) {
		action = "hold"
	}
	match := o.version
	if r.chance(10) {
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
	promise := fmt.Sprintf("2027-%02d-%02d", 1+r.random.IntN(12), 1+r.random.IntN(28))
	if want == "" && action == "promise" && promise == o.promise {
		want = "invalid"
	}
	var err error
	kind := ""
	switch action {
	case "hold":
		err = into(&got)(d.service.HoldOrder(r.t.Context(), c, change, "why", nil))
		kind = "order.held"
	case "release":
		err = into(&got)(d.service.ReleaseOrder(r.t.Context(), c, change, nil))
		kind = "order.released"
	case "cancel":
		err = into(&got)(d.service.CancelOrder(r.t.Context(), c, change, "why", nil))
		kind = "order.cancelled"
	case "schedule":
		err = into(&got)(d.service.ScheduleOrder(r.t.Context(), c, change, promise, nil))
		kind = "order.scheduled"
	case "promise":
		err = into(&got)(d.service.ChangePromise(r.t.Context(), c, change, promise, "why", nil))
		kind = "order.promise_changed"
	case "ship":
		err = into(&got)(d.service.ShipOrder(r.t.Context(), c, change, service.Shipment{}, nil))
		kind = "order.shipped"
	}
	r.check(action+" of an order that is "+o.state, err, want)
	if want != "" {
		return
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
		r.t.Fatalf("step %d: %s gives %+v, the model says %+v", r.step, action, got, o)
	}
	if r.chance(25) {
		m.look(r.t, d, r.step)
		m.lookAt(r.t, d, o, r.step)
	}
}
