package storetest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// What never changes cannot be changed past the queries either.
func testNeverChanges(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	want := configuration(1, nil)
	must(t, s.Configurations().Insert(ctx, shop, want))
	doc, err := s.ShopDocuments().Put(ctx, shop, record.ShopDocument{Kind: "profile", Body: []byte("{}"), CreatedAt: at(0)}, 0)
	must(t, err)
	for _, statement := range []string{
		"update configurations set verdict = 'x'",
		"update configuration_documents set completed = '{}'",
		"update shop_documents set body = '[]'",
	} {
		_, err := h.Raw(ctx, s, shop, statement)
		expect(t, statement, err, store.ErrInvalid)
	}
	got, err := s.Configurations().Get(ctx, shop, want.ID)
	must(t, err)
	same(t, "configuration", got, want)
	latest, err := s.ShopDocuments().Latest(ctx, "profile")
	must(t, err)
	same(t, "document", latest, doc)
}

// Both engines refuse the same records, and leave nothing behind.
func testInvalid(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, _ := withDealers(t, s)
	shop := store.ShopScope()
	long := strings.Repeat("x", 1001)
	for what, change := range map[string]func(*record.Dealer){
		"no id": func(d *record.Dealer) { d.ID = uuid.Nil }, "no name": func(d *record.Dealer) { d.Name = "" },
		"NUL": func(d *record.Dealer) { d.Name = "a\x00b" }, "not UTF-8": func(d *record.Dealer) { d.Email = "\xff" },
		"long": func(d *record.Dealer) { d.Name = long }, "no time": func(d *record.Dealer) { d.CreatedAt = time.Time{} },
		"far time": func(d *record.Dealer) { d.CreatedAt = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) },
	} {
		d := dealer(10)
		change(&d)
		expect(t, "dealer: "+what, s.Dealers().Insert(ctx, shop, d), store.ErrInvalid)
	}
	for what, change := range map[string]func(*record.Key){
		"no id": func(k *record.Key) { k.ID = uuid.Nil }, "no hash": func(k *record.Key) { k.Hash = nil },
		"short hash": func(k *record.Key) { k.Hash = k.Hash[:31] }, "no role": func(k *record.Key) { k.Role = "" },
		"another role": func(k *record.Key) { k.Role = "root" }, "a shop key of a dealer": func(k *record.Key) { k.Role = record.RoleShop },
		"a dealer key of nobody": func(k *record.Key) { k.DealerID = nil }, "a quota of less than nothing": func(k *record.Key) { k.Quota = -1 },
		"rotated from itself": func(k *record.Key) { k.RotatedFrom, k.Root = &k.ID, &k.ID }, "rotated without a root": func(k *record.Key) { k.RotatedFrom = ptr(uid(11)) },
		"NUL":          func(k *record.Key) { k.Name = "\x00" },
		"early expiry": func(k *record.Key) { k.ExpiresAt = ptr(time.Date(1969, 1, 1, 0, 0, 0, 0, time.UTC)) },
	} {
		k := key(10, a)
		change(&k)
		expect(t, "key: "+what, s.Keys().Insert(ctx, shop, k), store.ErrInvalid)
	}
	for what, change := range map[string]func(*record.Configuration){
		"no id": func(c *record.Configuration) { c.ID = uuid.Nil }, "no digest": func(c *record.Configuration) { c.Digest = "" },
		"no completed": func(c *record.Configuration) { c.Completed = nil }, "no schema version": func(c *record.Configuration) { c.SchemaVersion = 0 },
		"supersedes itself": func(c *record.Configuration) { c.Supersedes = &c.ID }, "long reference": func(c *record.Configuration) { c.Reference = long },
		"not UTF-8": func(c *record.Configuration) { c.Requested = []byte("\"\xc3\"") }, "NUL": func(c *record.Configuration) { c.Derivation = []byte("\x00") },
	} {
		c := configuration(10, a)
		change(&c)
		expect(t, "configuration: "+what, s.Configurations().Insert(ctx, shop, c), store.ErrInvalid)
	}
	for what, d := range map[string]record.ShopDocument{
		"no kind": {Body: []byte("{}"), CreatedAt: at(0)}, "no body": {Kind: "k", CreatedAt: at(0)}, "no time": {Kind: "k", Body: []byte("{}")},
	} {
		_, err := s.ShopDocuments().Put(ctx, shop, d, 0)
		expect(t, "shop document: "+what, err, store.ErrInvalid)
	}
	for what, change := range map[string]func(*record.IdempotencyClaim){
		"no key": func(c *record.IdempotencyClaim) { c.Key = "" }, "long key": func(c *record.IdempotencyClaim) { c.Key = long[:256] },
		"no caller": func(c *record.IdempotencyClaim) { c.Caller = "" },
		"no token":  func(c *record.IdempotencyClaim) { c.Token = uuid.Nil }, "no hash": func(c *record.IdempotencyClaim) { c.BodyHash = nil },
		"expired": func(c *record.IdempotencyClaim) { c.ExpiresAt = c.CreatedAt },
	} {
		c := claim(10)
		change(&c)
		_, err := s.Idempotency().Begin(ctx, shop, c)
		expect(t, "claim: "+what, err, store.ErrInvalid)
	}
	for n := 10; n < 12; n++ {
		if got := written(t, s, n); got != 0 {
			t.Errorf("%d of the refused records were kept", got)
		}
	}
	dealers, err := s.Dealers().List(ctx, shop, store.Page{})
	must(t, err)
	same(t, "dealers", len(dealers.Items), 2)
}

// Documents and bodies come back byte for byte, whatever is in them and however
// long they are.
func testByteForByte(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	random := rand.New(rand.NewPCG(3, 4))
	noise := make([]byte, 1<<20)
	for i := range noise {
		noise[i] = byte(random.Uint32())
	}
	for n, text := range []string{
		`{"a":1.0,"a":2e-7, "b":"it's \"\\ \u0000 $1 $$ ? :x %s"}`, "{}\n\n\t ", `"'; drop table dealers; --"`, `"\x00 E'\\'"`,
		`"Søn ⚓ 🛥 é é ﬁ` + "\u2028\u200b\ufeff" + `"`, `"` + strings.Repeat("0123456789abcdef", 1<<16) + `"`,
		fmt.Sprintf(`"%x"`, noise),
	} {
		c := configuration(10+n, nil)
		c.Requested, c.Completed, c.Derivation = []byte(text), []byte(text+" "), []byte(text)
		c.Name, c.Reference = "it's \\ $1 ? ⚓", "'; --"
		must(t, s.Configurations().Insert(ctx, shop, c))
		got, err := s.Configurations().Get(ctx, shop, c.ID)
		must(t, err)
		if !bytes.Equal(got.Requested, c.Requested) || !bytes.Equal(got.Completed, c.Completed) || !bytes.Equal(got.Derivation, c.Derivation) {
			t.Errorf("document %d of %d bytes changed", n, len(text))
		}
		got.Requested, got.Completed, got.Derivation = c.Requested, c.Completed, c.Derivation
		same(t, "the rest", got, c)
		doc, err := s.ShopDocuments().Put(ctx, shop, record.ShopDocument{Kind: "profile", Body: []byte(text), CreatedAt: at(n)}, n)
		must(t, err)
		latest, err := s.ShopDocuments().Latest(ctx, "profile")
		must(t, err)
		if !bytes.Equal(latest.Body, doc.Body) || string(doc.Body) != text {
			t.Errorf("shop document %d changed", n)
		}
	}
	for n, body := range [][]byte{noise, {}, {0}, []byte(`\x00`), []byte("'\\")} {
		c := claim(100 + n)
		c.Key = fmt.Sprintf("it's \\x $1 %d", n)
		_, err := s.Idempotency().Begin(ctx, shop, c)
		must(t, err)
		a := answer()
		a.Body = body
		must(t, s.Idempotency().Finish(ctx, shop, c, a))
		begun, err := s.Idempotency().Begin(ctx, shop, c)
		must(t, err)
		if begun.Outcome != store.Stored || !bytes.Equal(begun.Record.Answer.Body, body) {
			t.Errorf("answer %d: %v, %d bytes of %d", n, begun.Outcome, len(begun.Record.Answer.Body), len(body))
		}
	}
	// Times lose what is below the millisecond and come back in UTC.
	d := dealer(1)
	d.CreatedAt = time.Date(2027, 7, 1, 12, 0, 0, 123_999_999, time.FixedZone("", -5*3600))
	must(t, s.Dealers().Insert(ctx, shop, d))
	got, err := s.Dealers().Get(ctx, shop, d.ID)
	must(t, err)
	same(t, "time", got.CreatedAt, time.Date(2027, 7, 1, 17, 0, 0, 123_000_000, time.UTC))
}

// What was written is there for whoever opens the store next.
func testKept(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	must(t, writes(ctx, s, 1))
	want, err := s.Configurations().Get(ctx, store.ShopScope(), uid(1))
	must(t, err)
	next := h.Reopen(t, s)
	must(t, s.Close())
	if n := written(t, next, 1); n != 4 {
		t.Errorf("%d of 4 are there", n)
	}
	got, err := next.Configurations().Get(ctx, store.ShopScope(), uid(1))
	must(t, err)
	same(t, "configuration", got, want)
	must(t, writes(ctx, next, 2))
}

// migrations are the numbers of the migrations, of both engines.
var migrations = []int64{1, 2, 3, 4, 5, 6, 7, 20, 21, 22, 23, 24, 25, 26, 27, 28, 29, 30, 31}

// The migrations one at a time, with records written as soon as their tables are
// there: the later ones keep them. Keys and events are written as the statements of
// that time did, in the columns of that time, since the store's own know columns of
// later migrations; they are read back once all migrations are there.
func testMigrations(t *testing.T, h Harness) {
	s, ctx := h.Empty(t), t.Context()
	shop := store.ShopScope()
	d, k, c := dealer(1), key(1, ptr(uid(1))), configuration(1, ptr(uid(1)))
	k.ExpiresAt, k.LastUsedAt = ptr(at(9_000_000)), ptr(at(7))
	revoked := key(2, nil)
	revoked.Role, revoked.RevokedAt = record.RoleShop, ptr(at(8))
	insertKey := func(k record.Key) string {
		owner, expires, ended, used := "null", "null", "null", "null"
		if k.DealerID != nil {
			owner = "'" + k.DealerID.String() + "'"
		}
		for into, t := range map[*string]*time.Time{&expires: k.ExpiresAt, &ended: k.RevokedAt, &used: k.LastUsedAt} {
			if t != nil {
				*into = h.Time(*t)
			}
		}
		return fmt.Sprintf("insert into api_keys (id, dealer_id, role, name, hash, prefix, created_at, expires_at, revoked_at, last_used_at) values ('%v', %s, '%s', '%s', %s, '%s', %s, %s, %s, %s)",
			k.ID, owner, k.Role, k.Name, h.Bytes(k.Hash), k.Prefix, h.Time(k.CreatedAt), expires, ended, used)
	}
	first, second := event(1, &d.ID), event(2, nil)
	first.Sequence, second.Sequence, second.Actor = 1, 2, record.Actor{}
	insertEvent := func(e record.Event) string {
		owner, by := "null", "null"
		if e.DealerID != nil {
			owner = "'" + e.DealerID.String() + "'"
		}
		if e.Actor.KeyID != nil {
			by = "'" + e.Actor.KeyID.String() + "'"
		}
		return fmt.Sprintf("insert into events (sequence, id, kind, dealer_id, subject_kind, subject_id, key_id, role, created_at, body) values (%d, '%v', '%s', %s, '%s', '%v', %s, '%s', %s, '%s')",
			e.Sequence, e.ID, e.Kind, owner, e.Subject.Kind, e.Subject.ID, by, e.Actor.Role, h.Time(e.CreatedAt), e.Body)
	}
	plain, secret, flight := claim(1), claim(2), claim(3)
	plain.Key, secret.Key, flight.Key = "an order", "a key", "in flight"
	secret.Route = "/v1/dealers/{id}/keys"
	const shown = `{"key":"hw_shown","id":"1","name":"it's \"key\":\"x\""}`
	insertAnswer := func(c record.IdempotencyClaim, state, rest string) string {
		return fmt.Sprintf(`insert into idempotency_keys (owner, key, method, route, body_hash, token, state, status, header, body, created_at, locked_until, expires_at)
			values ('shop', '%s', '%s', '%s', %s, '%v', '%s', %s, %s, %s, %s)`, c.Key, c.Method, c.Route, h.Bytes(c.BodyHash), c.Token, state, rest, h.Time(c.CreatedAt), h.Time(c.LockedUntil), h.Time(c.ExpiresAt))
	}
	former := []string{
		insertAnswer(plain, "done", "201, '{\"Etag\":[\"1\"]}', "+h.Bytes([]byte("{\"id\": 1}\n"))),
		insertAnswer(secret, "done", "201, 'null', "+h.Bytes([]byte(shown))),
		insertAnswer(flight, "running", "null, null, null"),
	}
	quoted := quote(1, &d.ID)
	quoted.Lines[0].ConfigurationID = c.ID
	var doc record.ShopDocument
	after := []struct {
		write, check func() error
	}{
		{ // 1: dealers and keys
			func() error {
				if err := s.Dealers().Insert(ctx, shop, d); err != nil {
					return err
				}
				return raw(ctx, h, s, insertKey(k), insertKey(revoked))
			},
			func() error {
				got, err := s.Dealers().Get(ctx, shop, d.ID)
				same(t, "dealer", got, d)
				return err
			},
		},
		{ // 2: configurations
			// In words of the time: the queries keep derivations in parts.
			func() error {
				document := fmt.Sprintf("insert into configuration_documents (configuration_id, schema_version, requested, completed, derivation) values ('%v', 1, '%s', '%s', '%s')", c.ID, c.Requested, c.Completed, c.Derivation)
				if h.RowSecurity {
					document = strings.NewReplacer("(configuration_id,", "(configuration_id, dealer_id,", "values ('"+c.ID.String()+"',", "values ('"+c.ID.String()+"', '"+c.DealerID.String()+"',").Replace(document)
				}
				return raw(ctx, h, s, fmt.Sprintf(`insert into configurations (id, dealer_id, digest, units, pattern, verdict, name, reference, created_at, engine_revision, catalog_revision, price_book_revision)
					values ('%v', '%v', '%s', '%s', '%s', '%s', '%s', '%s', %s, '1', '2', '3')`, c.ID, c.DealerID, c.Digest, c.Units, c.Pattern, c.Verdict, c.Name, c.Reference, h.Time(c.CreatedAt)), document)
			},
			func() error {
				n, err := h.Raw(ctx, s, shop, "select 1 from configuration_documents where derivation is not null")
				same(t, "configurations of the first days", n, 1)
				return err
			},
		},
		{ // 3: shop documents
			func() (err error) {
				doc, err = s.ShopDocuments().Put(ctx, shop, record.ShopDocument{Kind: "profile", Body: []byte("{}"), CreatedAt: at(0)}, 0)
				return err
			},
			func() error {
				got, err := s.ShopDocuments().Latest(ctx, "profile")
				same(t, "shop document", got, doc)
				return err
			},
		},
		{ // 4: idempotency keys
			// In the words of the time: the queries know columns that came later.
			func() error { return raw(ctx, h, s, former...) },
			func() error {
				n, err := h.Raw(ctx, s, shop, "select owner from idempotency_keys where owner = 'shop'")
				if n < 2 {
					t.Errorf("%d answers are there", n)
				}
				return err
			},
		},
		{ // 5: quotes and orders
			func() error {
				if err := s.Quotes().Insert(ctx, shop, quoted); err != nil {
					return err
				}
				return s.Orders().Insert(ctx, shop, order(2, 1, &d.ID))
			},
			func() error {
				got, err := s.Quotes().Get(ctx, shop, uid(1))
				same(t, "quote", got, quoted)
				if err != nil {
					return err
				}
				o, err := s.Orders().Get(ctx, shop, uid(2))
				same(t, "order", o, order(2, 1, &d.ID))
				return err
			},
		},
		{ // 6: events
			func() error {
				return raw(ctx, h, s, insertEvent(first), insertEvent(second), "update event_counter set last = 2")
			},
			func() error {
				last, err := s.Events().Last(ctx)
				same(t, "last sequence", last, 2)
				return err
			},
		},
		{ // 7: webhooks
			// In words of the time: the queries know columns that came later.
			func() error {
				now := "1"
				if h.RowSecurity {
					now = "now()"
				}
				_, err := h.Raw(ctx, s, shop, fmt.Sprintf(`insert into webhooks (id, dealer_id, version, url, kinds, secrets, since, disabled_reason, created_at, updated_at)
					values ('%v', '%v', 1, 'https://brackwater.example/hook', '', '[]', 1, '', %s, %s)`, uid(1), d.ID, now, now))
				return err
			},
			func() error {
				n, err := h.Raw(ctx, s, shop, "select id from webhooks where since = 1")
				same(t, "endpoints", n, 1)
				return err
			},
		},
		{ // 20: molds
			func() error { return s.Molds().Insert(ctx, shop, mold(1, &d.ID)) },
			func() error {
				got, err := s.Molds().Get(ctx, shop, uid(1))
				same(t, "mold", got, mold(1, &d.ID))
				return err
			},
		},
		{ // 21: stock
			func() error { return received(ctx, s, 1, 1000) },
			func() error {
				got, err := s.Stock().OnHand(ctx, shop)
				same(t, "lots", len(got), 1)
				return err
			},
		},
		{ // 22: plans of orders
			func() error { return s.Plans().Put(ctx, shop, plan(2)) },
			func() error {
				got, err := s.Plans().Get(ctx, shop, uid(2))
				same(t, "plan", got, plan(2))
				return err
			},
		},
		{ // 23: reservations of molds
			func() error {
				return s.Molds().Reserve(ctx, shop, record.MoldReservation{OrderID: uid(2), MoldID: uid(1), Pulls: 3})
			},
			func() error {
				got, err := s.Molds().Reservations(ctx, shop, nil)
				same(t, "reservations of molds", got, []record.MoldReservation{{OrderID: uid(2), MoldID: uid(1), Pulls: 3}})
				return err
			},
		},
		{ // 24: quotas and rotation
			func() error {
				_, _, err := s.Keys().Spend(ctx, k.ID, "2027-03-01", 7)
				k.Spent, k.SpentOn = 7, "2027-03-01"
				return err
			},
			func() error {
				got, err := s.Keys().ByHash(ctx, k.Hash)
				same(t, "key", got, k)
				return err
			},
		},
		{ // 25: who changed what
			func() error { return s.Audit().Append(ctx, shop, auditEntry(1)) },
			func() error {
				got, err := s.Audit().List(ctx, shop, store.AuditFilter{}, store.Page{})
				same(t, "audit entries", got.Items, []record.AuditEntry{auditEntry(1)})
				return err
			},
		},
		{ // 26: what is kept for a time only
			func() error { _, err := s.Retention().RemoveAudit(ctx, shop, at(0), 10); return err },
			func() error {
				_, at, err := s.Retention().EventsFrom(ctx)
				same(t, "nothing was removed before", at, time.UnixMilli(0).UTC())
				return err
			},
		},
		{ // 27: pauses of webhooks
			func() error { return s.Webhooks().Pause(ctx, shop, uid(1), at(9)) },
			func() error {
				got, err := s.Webhooks().Get(ctx, shop, uid(1))
				same(t, "paused until", got.PausedUntil, ptr(at(9)))
				same(t, "hears from", got.Since, 1)
				return err
			},
		},
		{ // 28: idempotency keys of callers
			func() error { _, err := s.Idempotency().Begin(ctx, shop, claim(1)); return err },
			func() error {
				begin := func(what string, c record.IdempotencyClaim, want store.Outcome) record.Answer {
					got, err := s.Idempotency().Begin(ctx, shop, c)
					must(t, err)
					if got.Outcome != want {
						t.Errorf("%s of the first days: %v, want %v", what, got.Outcome, want)
					}
					return got.Record.Answer
				}
				for n, caller := range []string{plain.Caller, "key:" + uid(77).String()} { // it is not known whose they were
					p, k := plain, secret
					p.Caller, k.Caller = caller, caller
					same(t, "an answer of the first days", begin("an answer", p, store.Stored), record.Answer{Status: 201, Header: map[string][]string{"Etag": {"1"}}, Body: []byte("{\"id\": 1}\n")})
					bare := begin("a key", k, store.Stored)
					var body map[string]string
					must(t, json.Unmarshal(bare.Body, &body))
					same(t, "status", bare.Status, 200)
					same(t, "an answer that showed a key", body, map[string]string{"withheld": "not_kept", "id": "1", "name": `it's "key":"x"`})
					p.BodyHash, p.Token = record.KeyHash("another"), uid(50+n)
					begin("another request with the key", p, store.Fresh)
					must(t, s.Idempotency().Abandon(ctx, shop, p))
				}
				begin("what was in flight", flight, store.Fresh)
				must(t, s.Idempotency().Abandon(ctx, shop, flight))
				late := plain
				late.CreatedAt, late.ExpiresAt = late.ExpiresAt, late.ExpiresAt.Add(time.Hour)
				begin("an expired answer", late, store.Fresh)
				return s.Idempotency().Abandon(ctx, shop, late)
			},
		},
		{nil, func() error { return nil }}, // 29: the files anew
		{ // 30: what nobody orders from
			func() error { return raw(ctx, h, s, "select 1 from quote_configurations") },
			func() error {
				n, err := h.Raw(ctx, s, shop, fmt.Sprintf("select 1 from quote_configurations where quote_id = '%v' and configuration_id = '%v'", quoted.ID, c.ID))
				same(t, "configurations that the quote of the first days names", n, 1)
				return err
			},
		},
		{ // 31: derivations in parts
			func() error { return s.Configurations().Insert(ctx, shop, configuration(2, &d.ID)) },
			func() error {
				for _, want := range []record.Configuration{c, configuration(2, &d.ID)} {
					got, err := s.Configurations().Get(ctx, shop, want.ID)
					if err != nil {
						return err
					}
					same(t, "configuration", got, want)
				}
				return nil
			},
		},
	}
	_, newest, err := s.Version(ctx)
	must(t, err)
	if len(migrations) != len(after) || newest != migrations[len(migrations)-1] {
		t.Fatalf("the newest migration is %d, and there are records for %d of %v: add to this test", newest, len(after), migrations)
	}
	before := int64(0)
	for n, number := range migrations {
		current, _, err := s.Version(ctx)
		must(t, err)
		same(t, "version", current, before)
		before = number
		if after[n].write != nil && after[n].write() == nil {
			t.Errorf("before migration %d its records could be written", number)
		}
		applied, err := s.MigrateTo(ctx, number)
		must(t, err)
		same(t, "applied", applied, []int64{number})
		if after[n].write != nil {
			must(t, after[n].write())
		}
		for _, earlier := range after[:n+1] {
			must(t, earlier.check())
		}
	}
	for _, want := range []record.Key{k, revoked} {
		got, err := s.Keys().ByHash(ctx, want.Hash)
		must(t, err)
		same(t, "key of the first days", got, want)
	}
	list, err := s.Events().After(ctx, shop, 0, 10)
	must(t, err)
	same(t, "events of the first days", list, []record.Event{first, second})
	more, err := s.Events().Append(ctx, shop, event(3, &d.ID))
	must(t, err)
	same(t, "the next sequence", more[0].Sequence, 3)
	applied, err := s.Migrate(ctx)
	must(t, err)
	if len(applied) != 0 {
		t.Errorf("a second Migrate applied %v", applied)
	}
	current, newest, err := s.Version(ctx)
	must(t, err)
	same(t, "version", current, newest)
}

// Several migrators at once, each through its own opening, as when several copies
// of the service start: each migration is applied once.
func testMigrationRace(t *testing.T, h Harness) {
	s, ctx := h.Empty(t), t.Context()
	stores := []store.Store{s}
	for len(stores) < 6 {
		stores = append(stores, h.Reopen(t, s))
	}
	var applied atomic.Int32
	all(len(stores), func(n int) {
		got, err := stores[n].Migrate(ctx)
		if err != nil {
			t.Errorf("migrator %d: %v", n, err)
		}
		applied.Add(int32(len(got)))
	})
	current, newest, err := s.Version(ctx)
	must(t, err)
	if current != newest || int(applied.Load()) != len(migrations) {
		t.Errorf("version %d of %d after %d migrations", current, newest, applied.Load())
	}
	must(t, writes(ctx, s, 1))
}
