package main

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// books is what is kept, read from the store itself, against what the clients know.
type books struct {
	y      *yard
	config Config

	checked  int   // acts that were held against it
	sequence int64 // of the last event that was read
	ids      map[uuid.UUID]bool
	told     map[toldOf]int      // events of orders, by what they tell
	versions map[uuid.UUID][]int // of orders, as events tell
	marks    map[string]int      // events of orders, by kind and reason
	works    map[string]int      // records of operations, by order, operation and times
	answered map[toldOf]*act     // by whom a change of an order was made
	seen     struct{ read, alike int }
}

type toldOf struct {
	order     uuid.UUID
	version   int
	kind      string
	operation string
}

func newBooks(y *yard, c Config) *books {
	return &books{y: y, config: c, ids: map[uuid.UUID]bool{}, told: map[toldOf]int{}, versions: map[uuid.UUID][]int{}, marks: map[string]int{}, works: map[string]int{}, answered: map[toldOf]*act{}}
}

// said is what was checked, for the log.
func (b *books) said() string {
	unheard := map[string]int{}
	for _, a := range b.y.acts {
		if a.outcome == unknown {
			unheard[a.what]++
		}
	}
	return fmt.Sprintf("%d events, %d requests held against the books, %d things read back as acknowledged; unheard of: %v", len(b.ids), b.checked, b.seen.alike, unheard)
}

func (b *books) fail(format string, args ...any) {
	b.y.t.Helper()
	b.y.t.Errorf(format, args...)
}

// all reads a list to its end.
func all[T any](b *books, list func(store.Page) (store.Listing[T], error)) (out []T) {
	b.y.t.Helper()
	page := store.Page{Limit: store.MaxLimit}
	for {
		l, err := list(page)
		if err != nil {
			b.y.t.Fatal(err)
		}
		out = append(out, l.Items...)
		if page.Cursor = l.NextCursor; page.Cursor == "" {
			return out
		}
	}
}

// check holds the store against what was done since the last time, or against all of it.
func (b *books) check(ctx context.Context, whole bool) {
	t := b.y.t
	t.Helper()
	b.sound(ctx, whole)
	s, _, err := open(ctx, b.config)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	shop := store.ShopScope()

	// What a killed program had sent to its database may be committed a moment after
	// it: events and orders are of one moment where no order changed between them.
	list := func() []record.Order {
		return all(b, func(p store.Page) (store.Listing[record.Order], error) {
			return s.Orders().List(ctx, shop, store.OrderFilter{}, p)
		})
	}
	orders := list()
	for range 50 {
		time.Sleep(20 * time.Millisecond)
		b.readEvents(ctx, s)
		before := orders
		orders = list()
		if slices.EqualFunc(before, orders, func(x, y record.Order) bool { return x.ID == y.ID && x.Version == y.Version }) {
			break
		}
	}
	quotes := all(b, func(p store.Page) (store.Listing[record.Quote], error) {
		return s.Quotes().List(ctx, shop, store.QuoteFilter{}, p)
	})
	kept := all(b, func(p store.Page) (store.Listing[record.Configuration], error) {
		return s.Configurations().List(ctx, shop, store.ConfigurationFilter{}, p)
	})
	moves := all(b, func(p store.Page) (store.Listing[record.StockMove], error) {
		return s.Stock().Moves(ctx, shop, store.MoveFilter{}, p)
	})
	lots := all(b, func(p store.Page) (store.Listing[record.Lot], error) {
		return s.Stock().Lots(ctx, shop, store.LotFilter{}, p)
	})
	molds := all(b, func(p store.Page) (store.Listing[record.Mold], error) {
		return s.Molds().List(ctx, shop, store.MoldFilter{}, p)
	})
	b.balance(ctx, s, orders, lots, moves, molds)

	// What bears the marks.
	found := map[string]map[string]int{"quote": {}, "order": {}, "configuration": {}, "stock": {}, "mold": {}, "ship": {}, "mold change": {}}
	byID := map[string]bool{}
	ordered := map[uuid.UUID]int{}
	for i := range orders {
		o := &orders[i]
		found["order"][o.PurchaseReference]++
		found["ship"][o.Tracking]++
		byID[o.ID.String()] = true
		if ordered[o.QuoteID]++; ordered[o.QuoteID] > 1 {
			b.fail("the quote %v was ordered %d times", o.QuoteID, ordered[o.QuoteID])
		}
		if v := b.versions[o.ID]; len(v) == 0 || v[len(v)-1] != o.Version {
			b.fail("the order %v has version %d, its events tell %v", o.ID, o.Version, v)
		}
	}
	for i := range quotes {
		found["quote"][quotes[i].Reference]++
		byID[quotes[i].ID.String()] = true
		if (quotes[i].State == record.QuoteOrdered) != (ordered[quotes[i].ID] == 1) {
			b.fail("the quote %v is %s and has %d orders", quotes[i].ID, quotes[i].State, ordered[quotes[i].ID])
		}
	}
	for i := range kept {
		found["configuration"][kept[i].Name]++
		byID[kept[i].ID.String()] = true
	}
	for i := range moves {
		found["stock"][moves[i].Note]++
		byID[moves[i].ID.String()] = true
	}
	for i := range molds {
		found["mold"][molds[i].Tag]++
		byID[molds[i].ID.String()] = true
	}
	if whole { // a place is overwritten by the next change; the audit list has each
		for _, e := range all(b, func(p store.Page) (store.Listing[record.AuditEntry], error) {
			return s.Audit().List(ctx, shop, store.AuditFilter{ThingKind: "mold"}, p)
		}) {
			for _, c := range e.Changes {
				if c.After != nil && c.Field == "location" {
					found["mold change"][*c.After]++
				}
			}
		}
	}
	from := b.checked
	if whole {
		from = 0
	}
	// What is still in flight is looked at again the next time.
	rest := b.y.acts[from:]
	for _, a := range rest {
		b.hold(a, found, byID, whole)
	}
	b.checked = len(b.y.acts)
	b.readBack(ctx, rest, whole)
}

// hold holds one act against what was found.
func (b *books) hold(a *act, found map[string]map[string]int, byID map[string]bool, whole bool) {
	times, known := 0, true
	switch a.what {
	case "quote", "order", "configuration", "mold", "ship":
		times = found[a.what][a.mark]
	case "hold":
		times = b.marks["order.held "+a.mark]
	case "cancel":
		times = b.marks["order.cancelled "+a.mark]
	case "receive", "scrap", "count", "reserve", "release stock", "issue", "return":
		times = found["stock"][a.mark]
	case "mold change":
		times, known = found["mold change"][a.mark], whole
	case "operation":
		var w struct {
			StartedAt  string `json:"started_at"`
			FinishedAt string `json:"finished_at"`
		}
		if err := json.Unmarshal([]byte(a.body), &w); err != nil {
			b.fail("%v in %s", err, a.body)
		}
		times = b.works[strings.Join([]string{a.order, a.mark, w.StartedAt, w.FinishedAt}, " ")]
	default: // a release has no words of its own: by its version, below
		known = false
	}
	if known {
		switch {
		case a.outcome == acknowledged && times != 1:
			b.fail("%s %s was acknowledged with %d and is there %d times: %s", a.what, a.mark, a.status, times, a.answer)
		case a.outcome == refused && times != 0:
			b.fail("%s %s was refused with %d and is there %d times: %s", a.what, a.mark, a.status, times, a.answer)
		case a.outcome == unsent && times != 0:
			b.fail("%s %s was never sent and is there %d times", a.what, a.mark, times)
		case times > 1:
			b.fail("%s %s is there %d times, its client knows %s", a.what, a.mark, times, a.outcome)
		case a.outcome == unknown && a.id == "" && a.method != http.MethodPut && a.saidNothing && times == 1: // it was sent once
			b.fail("%s %s was answered with %s, and is there", a.what, a.mark, a.answer)
		}
	}
	if a.outcome != acknowledged {
		return
	}
	var got struct {
		ID    string
		Moves []struct{ ID string }
	}
	if err := json.Unmarshal([]byte(a.answer), &got); err != nil {
		b.fail("%s: %v", a.what, err)
	}
	for _, id := range append([]string{got.ID}, func() (out []string) {
		for _, m := range got.Moves {
			out = append(out, m.ID)
		}
		return out
	}()...) {
		if id != "" && !byID[id] {
			b.fail("%s %s was acknowledged as %s, which is not there", a.what, a.mark, id)
		}
	}
	kind := map[string]string{"order": "order.received", "hold": "order.held", "release": "order.released", "cancel": "order.cancelled", "ship": "order.shipped"}[a.what]
	if kind == "" {
		return
	}
	at := toldOf{order: parsed(got.ID), version: versionOf(a), kind: kind}
	if b.told[at] != 1 {
		b.fail("%s %s was acknowledged as version %d of %s, and %d events tell it", a.what, a.mark, at.version, got.ID, b.told[at])
	}
	if by := b.answered[at]; by != nil && by != a {
		b.fail("%s %s and %s %s were both acknowledged as version %d of %s", a.what, a.mark, by.what, by.mark, at.version, got.ID)
	}
	b.answered[at] = a
}

// readEvents takes in the events since the last time: none twice, no number left out,
// and those of an order version by version.
func (b *books) readEvents(ctx context.Context, s store.Store) {
	t := b.y.t
	for {
		list, err := s.Events().After(ctx, store.ShopScope(), b.sequence, 500)
		if err != nil {
			t.Fatal(err)
		}
		if len(list) == 0 {
			return
		}
		for _, e := range list {
			if e.Sequence != b.sequence+1 {
				b.fail("event %d follows on %d", e.Sequence, b.sequence)
			}
			if b.sequence = e.Sequence; b.ids[e.ID] {
				b.fail("the event %v is there twice", e.ID)
			}
			b.ids[e.ID] = true
			if e.Subject.Kind != "order" {
				continue
			}
			var told struct {
				Data struct {
					Version    int
					Reason     string
					Operation  string
					StartedAt  string `json:"started_at"`
					FinishedAt string `json:"finished_at"`
				}
			}
			if err := json.Unmarshal(e.Body, &told); err != nil {
				t.Fatal(err)
			}
			d, id := told.Data, e.Subject.ID
			at := toldOf{id, d.Version, e.Kind, d.Operation}
			if b.told[at]++; b.told[at] > 1 {
				b.fail("%d events tell %s of version %d of %v", b.told[at], e.Kind, d.Version, id)
			}
			if d.Operation != "" {
				b.works[strings.Join([]string{id.String(), d.Operation, canonical(d.StartedAt), canonical(d.FinishedAt)}, " ")]++
			}
			if d.Reason != "" {
				b.marks[e.Kind+" "+d.Reason]++
			}
			switch v := b.versions[id]; {
			case len(v) == 0 && (d.Version != 1 || e.Kind != "order.received"):
				b.fail("the history of %v begins with %s, version %d", id, e.Kind, d.Version)
			case len(v) > 0 && d.Version == v[len(v)-1]: // several events of one change
			case len(v) > 0 && d.Version != v[len(v)-1]+1:
				b.fail("in the history of %v version %d follows on %d", id, d.Version, v[len(v)-1])
				fallthrough
			default:
				b.versions[id] = append(v, d.Version)
			}
		}
	}
}

// canonical is a time as the clients write it, without trailing zeros.
func canonical(text string) string {
	if head, ok := strings.CutSuffix(text, "Z"); ok && strings.Contains(head, ".") {
		return strings.TrimSuffix(strings.TrimRight(head, "0"), ".") + "Z"
	}
	return text
}

// balance holds the books of stock and molds: what came in is what is there and what
// was used; what is set aside of a lot is what orders have of it; what orders took of a
// mold is what came out of it; and what is closed holds nothing.
func (b *books) balance(ctx context.Context, s store.Store, orders []record.Order, lots []record.Lot, moves []record.StockMove, molds []record.Mold) {
	t := b.y.t
	shop := store.ShopScope()
	closed := map[uuid.UUID]bool{}
	for _, o := range orders {
		closed[o.ID] = o.State.Closed() || o.State == record.OrderReady
	}
	var in, used, there stockroom.Amount
	byLot := map[uuid.UUID]*struct{ onHand, reserved, orders stockroom.Amount }{}
	type share struct{ order, lot uuid.UUID }
	shares := map[share]*struct{ reserved, issued stockroom.Amount }{}
	for _, l := range lots {
		byLot[l.ID] = &struct{ onHand, reserved, orders stockroom.Amount }{}
	}
	for _, m := range moves {
		if byLot[m.LotID] == nil {
			b.fail("the move %v is of the lot %v, which is not there", m.ID, m.LotID)
			continue
		}
		byLot[m.LotID].onHand += m.Change.OnHand
		byLot[m.LotID].reserved += m.Change.Reserved
		if m.Change.OnHand > 0 {
			in += m.Change.OnHand
		} else {
			used -= m.Change.OnHand
		}
		if m.OrderID != nil {
			at := share{*m.OrderID, m.LotID}
			if shares[at] == nil {
				shares[at] = &struct{ reserved, issued stockroom.Amount }{}
			}
			shares[at].reserved += m.Change.Reserved
			shares[at].issued += m.Issued()
		}
	}
	reservations, err := s.Stock().Reservations(ctx, shop, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range reservations {
		if byLot[v.LotID] != nil {
			byLot[v.LotID].orders += v.Amount
		}
		if of := shares[share{v.OrderID, v.LotID}]; of == nil || of.reserved != v.Amount || of.issued != v.Issued {
			b.fail("the order %v has %v of the lot %v and used %v, its moves say %+v", v.OrderID, v.Amount, v.LotID, v.Issued, of)
		}
		if closed[v.OrderID] && v.Amount != 0 {
			b.fail("the order %v is closed and has %v of the lot %v set aside", v.OrderID, v.Amount, v.LotID)
		}
	}
	for _, l := range lots {
		there += l.OnHand
		if m := byLot[l.ID]; l.OnHand != m.onHand || l.Reserved != m.reserved || l.Reserved != m.orders || l.Reserved < 0 || l.OnHand < l.Reserved {
			b.fail("the lot %v has %v, %v of it set aside; its moves say %v and %v, the orders have %v", l.ID, l.OnHand, l.Reserved, m.onHand, m.reserved, m.orders)
		}
	}
	if in != there+used {
		b.fail("%v of stock came in, %v is there and %v was used", in, there, used)
	}
	pulls, err := s.Molds().Reservations(ctx, shop, nil)
	if err != nil {
		t.Fatal(err)
	}
	taken, reserved := map[uuid.UUID]int{}, map[uuid.UUID]int{}
	for _, p := range pulls {
		taken[p.MoldID] += p.Taken
		reserved[p.MoldID] += p.Pulls
		if p.Pulls < 0 || p.Taken < 0 || closed[p.OrderID] && p.Pulls != 0 {
			b.fail("the order %v, closed: %t, has %d pulls of the mold %v and took %d", p.OrderID, closed[p.OrderID], p.Pulls, p.MoldID, p.Taken)
		}
	}
	for _, m := range molds {
		if m.Pulls != taken[m.ID] || m.RemainingPulls < 0 || reserved[m.ID] < 0 {
			b.fail("the mold %v made %d parts and has %d left; orders took %d and have %d set aside", m.ID, m.Pulls, m.RemainingPulls, taken[m.ID], reserved[m.ID])
		}
	}
}

// readBack asks the program for what it acknowledged: it is what was said. Some of it,
// or in the end much.
func (b *books) readBack(ctx context.Context, acts []*act, whole bool) {
	t := b.y.t
	paths := map[string]string{"quote": "/v1/quotes/", "order": "/v1/orders/", "configuration": "/v1/configurations/"}
	mutable := map[string][]string{
		"quote": {"state", "version", "order_id", "updated_at"},
		"order": {"state", "version", "promise", "held_from", "held_by", "reason", "carrier", "tracking", "updated_at", "operations", "reserved"},
	}
	most := 5
	if whole {
		most = 400
	}
	acts = slices.Clone(acts)
	random := rand.New(rand.NewPCG(b.y.seed, uint64(len(b.y.acts))))
	random.Shuffle(len(acts), func(i, j int) { acts[i], acts[j] = acts[j], acts[i] })
	for _, a := range acts {
		if paths[a.what] == "" || a.outcome != acknowledged {
			continue
		}
		if most--; most < 0 {
			return
		}
		var got struct{ ID string }
		if err := json.Unmarshal([]byte(a.answer), &got); err != nil {
			t.Fatal(err)
		}
		q, err := http.NewRequestWithContext(ctx, http.MethodGet, b.y.program.at()+paths[a.what]+got.ID, nil)
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set("Authorization", "Bearer "+a.who)
		answer, err := b.y.client.Do(q)
		if err != nil {
			b.fail("%s %s: %v", a.what, got.ID, err)
			return
		}
		body, err := io.ReadAll(answer.Body)
		answer.Body.Close()
		if err != nil || answer.StatusCode != http.StatusOK {
			b.fail("%s %s was acknowledged and reads %d %s %v", a.what, got.ID, answer.StatusCode, body, err)
			continue
		}
		if is, was := trimmed(t, string(body), mutable[a.what]...), trimmed(t, a.answer, mutable[a.what]...); is != was {
			b.fail("%s %s was acknowledged as\n%s\nand reads\n%s", a.what, got.ID, was, is)
		}
		b.seen.alike++
	}
}

// sound asks the store's own checks.
func (b *books) sound(ctx context.Context, whole bool) {
	t := b.y.t
	if b.config.DatabaseURL == "" {
		db, err := sql.Open("sqlite", "file:"+b.config.DataFile+"?_pragma=busy_timeout(10000)&_pragma=query_only(1)")
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		for _, ask := range []string{"pragma integrity_check", "pragma foreign_key_check"} {
			rows, err := db.QueryContext(ctx, ask)
			if err != nil {
				t.Fatalf("%s: %v", ask, err)
			}
			for rows.Next() {
				if columns, _ := rows.Columns(); len(columns) == 1 {
					var said string
					if err := rows.Scan(&said); err != nil {
						t.Fatal(err)
					}
					if said == "ok" {
						continue
					}
					b.fail("%s: %s", ask, said)
				} else {
					b.fail("%s finds a row", ask)
				}
			}
			if err := rows.Err(); err != nil {
				t.Fatalf("%s: %v", ask, err)
			}
			rows.Close()
		}
		return
	}
	if b.seen.read++; !whole && b.seen.read%10 != 1 {
		return
	}
	conn, err := pgx.Connect(ctx, b.config.DatabaseURL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, "create extension if not exists amcheck"); err != nil {
		t.Fatalf("amcheck, which comes with PostgreSQL's contributed modules: %v", err)
	}
	// Every index against its table: nothing of the table is missing in it.
	if _, err := conn.Exec(ctx, `select bt_index_check(i.indexrelid, true) from pg_index i join pg_class c on c.oid = i.indexrelid join pg_am m on m.oid = c.relam
		join pg_namespace n on n.oid = c.relnamespace where m.amname = 'btree' and i.indisready and i.indisvalid and n.nspname = 'public'`); err != nil {
		b.fail("amcheck: %v", err)
	}
}
