package storetest

import (
	"context"
	"fmt"
	"testing"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

func auditEntry(n int) record.AuditEntry {
	return record.AuditEntry{ID: uid(n), CreatedAt: at(n), By: record.Doer{KeyID: ptr(uid(5)), KeyName: "office", Role: record.RoleShop}, RequestID: fmt.Sprintf("request-%d", n),
		Action: "mold.changed", Thing: record.Thing{Kind: "mold", ID: uid(7).String()}, Outcome: record.AuditDone,
		Changes: []record.AuditChange{{Field: "location", Before: nil, After: ptr("rack 3")}, {Field: "note", Before: ptr(`"it's"`), After: nil}}}
}

func testAudit(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, _ := withDealers(t, s)
	shop := store.ShopScope()
	list := func(f store.AuditFilter, p store.Page) store.Listing[record.AuditEntry] {
		t.Helper()
		l, err := s.Audit().List(ctx, shop, f, p)
		must(t, err)
		return l
	}
	var want []record.AuditEntry // oldest first
	for n := 10; n < 22; n++ {
		e := auditEntry(n)
		scope := shop
		switch n {
		case 11:
			e.By, scope = record.Doer{KeyID: ptr(uid(6)), KeyName: "Brackwater", Role: record.RoleDealer}, store.DealerScope(*a)
			e.Action, e.Thing = "webhook.created", record.Thing{Kind: "webhook", ID: uid(8).String()}
		case 12:
			e.By = record.Doer{Issuer: "https://id.example", Subject: "moira", Role: record.RoleShop}
			e.Action, e.Thing, e.Changes = "profile.changed", record.Thing{Kind: "profile", ID: "3"}, nil
		case 13:
			e.Outcome, e.CreatedAt, e.RequestID = record.AuditUnchanged, at(12), "" // the same instant as the one before
		}
		must(t, s.Audit().Append(ctx, scope, e))
		want = append(want, e)
	}
	got := list(store.AuditFilter{}, store.Page{})
	same(t, "entries", len(got.Items), len(want))
	for i, e := range got.Items {
		same(t, fmt.Sprint("entry ", i), e, want[len(want)-1-i])
	}
	// Page by page, each once.
	seen := map[uuid.UUID]bool{}
	for p := (store.Page{Limit: 5}); ; {
		l := list(store.AuditFilter{}, p)
		for _, e := range l.Items {
			if seen[e.ID] {
				t.Errorf("%v came twice", e.ID)
			}
			seen[e.ID] = true
		}
		if p.Cursor = l.NextCursor; p.Cursor == "" {
			break
		}
		_, err := s.Audit().List(ctx, shop, store.AuditFilter{Action: "mold.changed"}, p)
		expect(t, "the cursor of another filter", err, store.ErrCursor)
	}
	same(t, "read page by page", len(seen), len(want))
	for what, c := range map[string]struct {
		filter store.AuditFilter
		want   []int // newest first
	}{
		"key":      {store.AuditFilter{KeyID: ptr(uid(6))}, []int{11}},
		"subject":  {store.AuditFilter{Subject: "moira"}, []int{12}},
		"kind":     {store.AuditFilter{ThingKind: "profile"}, []int{12}},
		"thing":    {store.AuditFilter{ThingKind: "webhook", ThingID: uid(8).String()}, []int{11}},
		"no thing": {store.AuditFilter{ThingKind: "mold", ThingID: uid(8).String()}, nil},
		"action":   {store.AuditFilter{Action: "webhook.created"}, []int{11}},
		"request":  {store.AuditFilter{RequestID: "request-15"}, []int{15}},
		"span":     {store.AuditFilter{From: at(12), Before: at(15)}, []int{14, 13, 12}},
		"two":      {store.AuditFilter{Action: "mold.changed", Before: at(11)}, []int{10}},
	} {
		var ids, wanted []uuid.UUID
		for _, e := range list(c.filter, store.Page{}).Items {
			ids = append(ids, e.ID)
		}
		for _, n := range c.want {
			wanted = append(wanted, uid(n))
		}
		same(t, "by "+what, ids, wanted)
	}
	// The shop alone reads, and nobody writes without a scope.
	for _, scope := range []store.Scope{{}, store.HouseScope(), store.DealerScope(*a)} {
		l, err := s.Audit().List(ctx, scope, store.AuditFilter{}, store.Page{})
		must(t, err)
		same(t, "seen by "+scope.String(), len(l.Items), 0)
		if h.RowSecurity {
			n, err := h.Raw(ctx, s, scope, "select 1 from audit_entries")
			must(t, err)
			same(t, "seen past the queries by "+scope.String(), n, 0)
		}
	}
	expect(t, "without a scope", s.Audit().Append(ctx, store.Scope{}, auditEntry(90)), store.ErrOutOfScope)
	expect(t, "twice", s.Audit().Append(ctx, shop, auditEntry(10)), store.ErrConflict)
	for what, change := range map[string]func(*record.AuditEntry){
		"no id": func(e *record.AuditEntry) { e.ID = uuid.Nil }, "no action": func(e *record.AuditEntry) { e.Action = "" },
		"no thing": func(e *record.AuditEntry) { e.Thing.ID = "" }, "no outcome": func(e *record.AuditEntry) { e.Outcome = "" },
		"a subject of nobody": func(e *record.AuditEntry) { e.By.Subject = "moira" }, "NUL": func(e *record.AuditEntry) { e.By.KeyName = "\x00" },
	} {
		e := auditEntry(90)
		change(&e)
		expect(t, what, s.Audit().Append(ctx, shop, e), store.ErrInvalid)
	}
	// With the change or not at all.
	stop := fmt.Errorf("stop")
	err := s.InTx(ctx, func(tx store.Tx) error {
		must(t, tx.Audit().Append(ctx, shop, auditEntry(91)))
		return stop
	})
	expect(t, "undone", err, stop)
	// What is there stays as it is.
	statements := []string{"update audit_entries set action = 'x'", "delete from audit_entries"}
	if h.RowSecurity {
		statements = append(statements, "truncate audit_entries")
	}
	for _, statement := range statements {
		if _, err := h.Raw(ctx, s, shop, statement); err == nil {
			t.Errorf("%s went through", statement)
		}
	}
	same(t, "afterwards", list(store.AuditFilter{}, store.Page{}).Items, got.Items)
}

// raw runs statements as an earlier version of the service would have written them.
func raw(ctx context.Context, h Harness, s store.Store, statements ...string) error {
	for _, statement := range statements {
		if _, err := h.Raw(ctx, s, store.ShopScope(), statement); err != nil {
			return err
		}
	}
	return nil
}
