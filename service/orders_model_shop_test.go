package service_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// The cards of the shop: a few molds with few pulls, and a shelf with resin for a few
// hatches. Resin does not age here; package stockroom and the tests of reservations have
// lots that do.
type shopCards struct {
	molds  []*moldCard
	onHand stockroom.Amount
	each   stockroom.Amount // what a hatch takes
}

type moldCard struct {
	id        uuid.UUID
	part      string
	owner     *uuid.UUID // whose hatch it is of
	remaining int
	made      int
	copy      record.Quote // a quote that counts on it
	version   int
}

// shares of the shop that an order has.
type shares struct {
	pulls map[*moldCard]int
	taken map[*moldCard]int
	resin stockroom.Amount
	used  stockroom.Amount
}

func (m *cards) reserved(mold *moldCard) (sum int) {
	for _, o := range m.orders {
		sum += o.has.pulls[mold]
	}
	return sum
}

func (m *cards) resin() (sum stockroom.Amount) {
	for _, o := range m.orders {
		sum += o.has.resin
	}
	return sum
}

// taken says why a quote can no longer have what it counts on; "" when it can. What the
// order that it replaces has is counted as free.
func (m *cards) taken(q *quoteCard) string {
	for mold, pulls := range q.pulls {
		free := mold.remaining - m.reserved(mold)
		if q.revises != nil {
			free += q.revises.has.pulls[mold]
		}
		if max(0, free) < pulls {
			return "mold-taken"
		}
	}
	free := m.shop.onHand - m.resin()
	if q.revises != nil {
		free += q.revises.has.resin
	}
	if free < q.resin {
		return "stock-taken"
	}
	return ""
}

// free gives back what an order has and has not used.
func (o *orderCard) free() { o.has.pulls, o.has.resin = map[*moldCard]int{}, 0 }

// count notes what a quote counts on.
func (m *cards) count(t *testing.T, card *quoteCard, q record.Quote) {
	card.pulls = map[*moldCard]int{}
	for _, l := range q.Lines {
		for _, id := range l.Molds {
			i := slices.IndexFunc(m.shop.molds, func(k *moldCard) bool { return k.id == id })
			if i < 0 {
				t.Fatalf("a quote counts on the mold %v, which is not in the shop", id)
			}
			card.pulls[m.shop.molds[i]] += l.Quantity
		}
		for _, op := range l.Operations {
			if op.Kind == "demold" {
				card.demolds = append(card.demolds, op.Key)
			}
		}
	}
	if card.resin = needed(q); card.resin == 0 {
		t.Fatal("a quote that counts on no resin")
	}
	m.shop.each = card.resin
}

// demolded takes a part out of its mold: a registered one has a pull less.
func (o *orderCard) demolded(key string) {
	if !slices.Contains(o.quote.demolds, key) {
		return
	}
	for mold := range o.quote.pulls {
		if !strings.Contains(key, "-"+mold.part+"-") {
			continue
		}
		if o.has.pulls[mold] > 0 {
			o.has.pulls[mold]--
		}
		o.has.taken[mold]++
		mold.made, mold.remaining, mold.version = mold.made+1, max(0, mold.remaining-1), mold.version+1
	}
}

// made is how many pulls the order took.
func (o *orderCard) made() (sum int) {
	for _, n := range o.has.taken {
		sum += n
	}
	return sum
}

// furnish registers molds of each dealer's hatch, and fills the shelf.
func (m *cards) furnish(t *testing.T, d *desk, kept map[uuid.UUID]uuid.UUID) {
	t.Helper()
	m.shop.each = 50 * stockroom.Unit // more than it takes; the first quote tells
	m.fill(d, 1)
	for i, c := range []service.Caller{d.a, d.b} {
		of := part.Parts[i]
		configuration := kept[*c.DealerID]
		made, err := d.service.RegisterMold(t.Context(), d.shop, service.NewMold{ConfigurationID: configuration, Part: of, RemainingPulls: 3, DealerID: c.DealerID, Tag: string(of)}, nil)
		if err != nil {
			t.Fatal(err)
		}
		card := &moldCard{id: made.Record.ID, part: string(of), owner: c.DealerID, remaining: 3, version: 1}
		m.shop.molds = append(m.shop.molds, card)
		card.copy = d.countsOn(c, configuration, made.Record, m)
	}
}

// countsOn is a quote, not kept, that a mold was there for: its molding is not built.
func (d *desk) countsOn(c service.Caller, kept uuid.UUID, mold record.Mold, m *cards) record.Quote {
	d.t.Helper()
	result, err := d.service.Derive(d.t.Context(), c, request(d.t, smallHatch).Request)
	if err != nil {
		d.t.Fatal(err)
	}
	l, err := d.service.LeadTime(d.t.Context(), c, result, service.LeadTimeOptions{})
	if err != nil {
		d.t.Fatal(err)
	}
	there := map[string]bool{}
	for _, step := range l.Steps {
		there["1-"+strings.ReplaceAll(step.Key, " ", "-")] = true
	}
	q := d.quoted(c, kept)
	m.made(d, q)
	q.Lines = slices.Clone(q.Lines)
	q.Lines[0].Molds = map[string]uuid.UUID{mold.Part: mold.ID}
	q.Lines[0].Operations = slices.DeleteFunc(slices.Clone(q.Lines[0].Operations), func(o record.Operation) bool { return !there[o.Key] })
	if l.Molds[mold.Part].ID != mold.ID || len(q.Lines[0].Operations) != len(l.Steps) {
		d.t.Fatalf("%d molds, %d operations, %d steps", len(l.Molds), len(q.Lines[0].Operations), len(l.Steps))
	}
	return q
}

// made notes a quote that was made by the service.
func (m *cards) made(d *desk, q record.Quote) *quoteCard {
	card := &quoteCard{id: q.ID, owner: q.DealerID, state: record.QuoteOpen, version: 1, until: q.ValidUntil, promise: q.Promise}
	for _, op := range q.Lines[0].Operations {
		card.ops = append(card.ops, op.Key)
	}
	m.count(d.t, card, q)
	m.quotes = append(m.quotes, card)
	m.note("quote.made", q.DealerID, q.ID)
	return card
}

// fill takes resin in until there is some for so many hatches that nobody has set
// aside.
func (m *cards) fill(d *desk, hatches int) {
	if missing := stockroom.Amount(hatches)*m.shop.each - (m.shop.onHand - m.resin()); missing > 0 {
		d.receive(missing, "2199-12-31")
		m.shop.onHand += missing
	}
}

// scrap throws away resin that nobody has set aside, but for so much.
func (m *cards) scrap(t *testing.T, d *desk, leave stockroom.Amount) {
	t.Helper()
	for {
		surplus := m.shop.onHand - m.resin() - leave
		if surplus <= 0 {
			return
		}
		list, err := d.service.ListLots(t.Context(), d.shop, store.LotFilter{Material: resin, Held: true}, store.Page{Limit: store.MaxLimit})
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(list.Items, func(l record.Lot) bool { return l.OnHand > l.Reserved })
		if i < 0 {
			t.Fatalf("no lot has any of the %v free that the model says", surplus)
		}
		l := list.Items[i]
		amount := min(surplus, l.OnHand-l.Reserved)
		if _, err := d.service.MoveStock(t.Context(), d.shop, service.NewMove{Kind: stockroom.Scrap, LotID: &l.ID, Amount: amount}, nil); err != nil {
			t.Fatal(err)
		}
		m.shop.onHand -= amount
	}
}

// repair gives a mold pulls again.
func (m *cards) repair(t *testing.T, d *desk, mold *moldCard, pulls int) {
	t.Helper()
	if _, err := d.service.ChangeMold(t.Context(), d.shop, service.MoldChange{ID: mold.id, RemainingPulls: &pulls}); err != nil {
		t.Fatal(err)
	}
	mold.remaining, mold.version = pulls, mold.version+1
}

// keep lets the keeper of promises go round: what was received is scheduled with its
// promise, and of what is open and not on hold some promises move later; by how much is
// the schedule's affair.
func (m *cards) keep(t *testing.T, d *desk, step int) (scheduled, moved int) {
	t.Helper()
	if _, err := d.service.RefreshBacklog(t.Context()); err != nil {
		t.Fatal(err)
	}
	b := d.service.KeptBacklog()
	if len(b.Left) > 0 {
		t.Fatalf("step %d: orders without a place: %v", step, b.Left)
	}
	if err := d.service.KeepPromises(t.Context()); err != nil {
		t.Fatal(err)
	}
	open := slices.DeleteFunc(slices.Clone(m.orders), func(o *orderCard) bool { return !early(o.state) && o.state != "in_work" })
	slices.SortFunc(open, func(a, b *orderCard) int { return bytes.Compare(a.id[:], b.id[:]) })
	for _, o := range open {
		if o.state == "received" {
			o.state, o.version = "scheduled", o.version+1
			m.note("order.scheduled", o.owner, o.id)
			scheduled++
		}
		if got := d.get(o.id); got.Promise != o.promise {
			if got.Promise < o.promise {
				t.Fatalf("step %d: the promise %s moved to %s", step, o.promise, got.Promise)
			}
			o.promise, o.version = got.Promise, o.version+1
			m.note("order.promise_changed", o.owner, o.id)
			moved++
		}
	}
	return scheduled, moved
}

// look holds what the shop has set aside against the cards.
func (m *cards) look(t *testing.T, d *desk, step int) {
	t.Helper()
	for _, k := range m.shop.molds {
		got, err := d.store.Molds().Get(t.Context(), store.ShopScope(), k.id)
		if err != nil {
			t.Fatal(err)
		}
		if reserved := d.pulls(got); reserved != m.reserved(k) || got.RemainingPulls != k.remaining || got.Pulls != k.made || got.Version != k.version {
			t.Fatalf("step %d: the mold of the %s has %d of %d pulls reserved, %d made, version %d; the model says %d of %d, %d, %d", step, k.part,
				reserved, got.RemainingPulls, got.Pulls, got.Version, m.reserved(k), k.remaining, k.made, k.version)
		}
	}
	if s := d.stock(); s.OnHand != m.shop.onHand || s.Reserved != m.resin() {
		t.Fatalf("step %d: %v of %v resin reserved, the model says %v of %v", step, s.Reserved, s.OnHand, m.resin(), m.shop.onHand)
	}
}

// lookAt holds what one order has set aside, as the shop reads it, against its card.
func (m *cards) lookAt(t *testing.T, d *desk, o *orderCard, step int) {
	t.Helper()
	got, err := d.service.GetOrder(t.Context(), d.shop, o.id)
	if err != nil {
		t.Fatal(err)
	}
	if got.Reserved.Plan == nil {
		t.Fatalf("step %d: an order without a plan", step)
	}
	var resins, used stockroom.Amount
	for _, v := range got.Reserved.Stock {
		resins, used = resins+v.Amount, used+v.Issued
	}
	if resins != o.has.resin || used != o.has.used {
		t.Fatalf("step %d: an order that is %s has %v resin reserved and %v used, the model says %v and %v", step, o.state, resins, used, o.has.resin, o.has.used)
	}
	for _, k := range m.shop.molds {
		pulls, taken := 0, 0
		for _, v := range got.Reserved.Molds {
			if v.MoldID == k.id {
				pulls, taken = v.Pulls, v.Taken
			}
		}
		if pulls != o.has.pulls[k] || taken != o.has.taken[k] {
			t.Fatalf("step %d: an order that is %s has %d pulls and took %d, the model says %d and %d", step, o.state, pulls, taken, o.has.pulls[k], o.has.taken[k])
		}
	}
}
