package storetest

import (
	"fmt"
	"testing"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// owned fills a store with records of the house and of two dealers and names the
// scopes.
func owned(t *testing.T, s store.Store) (owners []*uuid.UUID, scopes []store.Scope) {
	t.Helper()
	ctx := t.Context()
	a, b := withDealers(t, s)
	owners = []*uuid.UUID{nil, a, b}
	scopes = []store.Scope{store.HouseScope(), store.DealerScope(*a), store.DealerScope(*b), store.ShopScope(), {}, store.DealerScope(uid(77))}
	for i, owner := range owners {
		for n := range 3 {
			must(t, s.Keys().Insert(ctx, store.ShopScope(), key(100+10*i+n, owner)))
			must(t, s.Configurations().Insert(ctx, store.ShopScope(), configuration(100+10*i+n, owner)))
		}
		_, err := s.Idempotency().Begin(ctx, scopes[i], claim(100+10*i))
		must(t, err)
	}
	return owners, scopes
}

// Through every method a scope reaches what it covers and nothing else.
func testScopes(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	owners, scopes := owned(t, s)
	for _, scope := range scopes {
		covered := 0
		for i, owner := range owners {
			what := fmt.Sprintf("%v and a record of owner %d", scope, i)
			want := store.ErrNotFound
			if scope.Covers(owner) {
				want = nil
				covered++
			}
			_, err := s.Configurations().Get(ctx, scope, uid(100+10*i))
			expect(t, what, err, want)
			_, err = s.Keys().Revoke(ctx, scope, uid(100+10*i), at(1))
			expect(t, what, err, want)

			if owner != nil {
				want := store.ErrNotFound
				if scope.Whole() || scope == store.DealerScope(*owner) {
					want = nil
				}
				_, err = s.Dealers().Get(ctx, scope, *owner)
				expect(t, what+": the dealer", err, want)
			}

			fresh := 1000 + 100*i + int(scope.String()[0])
			want = store.ErrOutOfScope
			if scope.Covers(owner) {
				want = nil
			}
			expect(t, what+": insert", s.Keys().Insert(ctx, scope, key(fresh, owner)), want)
			expect(t, what+": insert", s.Configurations().Insert(ctx, scope, configuration(fresh, owner)), want)
			if want == nil {
				// Taken away again from the counts below by their filter.
				continue
			}
		}
		for i, owner := range owners {
			if owner == nil {
				continue
			}
			wantAny := scope.Covers(owner)
			keys, err := s.Keys().List(ctx, scope, store.KeyFilter{DealerID: owner}, store.Page{})
			must(t, err)
			configurations, err := s.Configurations().List(ctx, scope, store.ConfigurationFilter{DealerID: owner}, store.Page{})
			must(t, err)
			if (len(keys.Items) > 0) != wantAny || (len(configurations.Items) > 0) != wantAny {
				t.Errorf("%v asked for dealer %d: %d keys, %d configurations", scope, i, len(keys.Items), len(configurations.Items))
			}
		}
		keys, err := s.Keys().List(ctx, scope, store.KeyFilter{}, store.Page{Limit: 200})
		must(t, err)
		for _, k := range keys.Items {
			if !scope.Covers(k.DealerID) {
				t.Errorf("%v lists the key %s", scope, show(k))
			}
		}
		configurations, err := s.Configurations().List(ctx, scope, store.ConfigurationFilter{}, store.Page{Limit: 200})
		must(t, err)
		for _, c := range configurations.Items {
			if !scope.Covers(c.DealerID) {
				t.Errorf("%v lists the configuration %s", scope, show(c))
			}
		}
		if len(keys.Items) < 3*covered || len(configurations.Items) < 3*covered {
			t.Errorf("%v lists %d keys and %d configurations of %d owners", scope, len(keys.Items), len(configurations.Items), covered)
		}
		dealers, err := s.Dealers().List(ctx, scope, store.Page{})
		must(t, err)
		want := 0
		switch {
		case scope.Whole():
			want = 2
		case scope == scopes[1] || scope == scopes[2]:
			want = 1
		}
		if len(dealers.Items) != want {
			t.Errorf("%v lists %d dealers, want %d", scope, len(dealers.Items), want)
		}
	}

	// A transaction that goes from one scope to another is in each in turn.
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		for range 2 {
			for _, scope := range scopes {
				for i, owner := range owners {
					want := store.ErrNotFound
					if scope.Covers(owner) {
						want = nil
					}
					_, err := tx.Configurations().Get(ctx, scope, uid(100+10*i))
					expect(t, fmt.Sprintf("in a transaction, %v and a record of owner %d", scope, i), err, want)
				}
			}
		}
		return nil
	}))
}

// A forgotten filter leaks nothing: statements without any condition touch only
// rows within the scope, because the database itself sees to it.
func testRowSecurity(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	owners, scopes := owned(t, s)
	_, err := s.ShopDocuments().Put(ctx, store.ShopScope(), record.ShopDocument{Kind: "profile", Body: []byte("{}"), CreatedAt: at(0)}, 0)
	must(t, err)

	const perOwner = 3
	rows := map[string]func(store.Scope) int64{
		"api_keys":                func(sc store.Scope) int64 { return perOwner * covered(sc, owners) },
		"configurations":          func(sc store.Scope) int64 { return perOwner * covered(sc, owners) },
		"configuration_documents": func(sc store.Scope) int64 { return perOwner * covered(sc, owners) },
		"configuration_parts":     func(sc store.Scope) int64 { return perOwner * covered(sc, owners) },
		"derivation_parts":        func(sc store.Scope) int64 { return covered(sc, owners) }, // the same one of each owner
		"idempotency_keys":        func(sc store.Scope) int64 { return covered(sc, owners) },
		"dealers":                 func(sc store.Scope) int64 { return covered(sc, owners[1:]) },
		"shop_documents":          func(store.Scope) int64 { return 1 }, // everybody's to read
	}
	for table, want := range rows {
		for _, scope := range scopes {
			got, err := h.Raw(ctx, s, scope, "select * from "+table)
			must(t, err)
			if got != want(scope) {
				t.Errorf("%v: select * from %s gives %d rows, want %d", scope, table, got, want(scope))
			}
		}
	}

	// Changes without a condition.
	for _, c := range []struct{ table, set string }{
		{"api_keys", "name = 'x'"}, {"idempotency_keys", "route = 'x'"},
	} {
		for _, scope := range scopes {
			got, err := h.Raw(ctx, s, scope, "update "+c.table+" set "+c.set)
			must(t, err)
			if got != rows[c.table](scope) {
				t.Errorf("%v: update %s changes %d rows, want %d", scope, c.table, got, rows[c.table](scope))
			}
		}
	}
	// Moving a row to another owner, or writing one under it, is refused.
	a, b := scopes[1], scopes[2]
	for _, statement := range []string{
		"update api_keys set dealer_id = '" + b.String() + "'",
		"update api_keys set dealer_id = null, role = 'storefront'",
		"update idempotency_keys set owner = '" + b.String() + "'",
		"insert into api_keys (id, dealer_id, role, name, hash, prefix, created_at) values (gen_random_uuid(), '" + b.String() + "', 'dealer', '', sha256('x'), '', now())",
		"insert into idempotency_keys select '" + b.String() + "', 'new', method, route, body_hash, token, state, status, header, body, created_at, locked_until, expires_at from idempotency_keys",
		"update dealers set name = 'x'",
		"insert into dealers (id, name, email, created_at) values (gen_random_uuid(), 'x', '', now())",
		"insert into shop_documents (kind, version, body, created_at, author) values ('profile', 2, '{}', now(), '')",
	} {
		_, err := h.Raw(ctx, s, a, statement)
		expect(t, statement, err, store.ErrOutOfScope)
	}
	got, err := h.Raw(ctx, s, a, "delete from shop_documents")
	must(t, err)
	if got != 0 {
		t.Errorf("a dealer deleted %d shop documents", got)
	}
	// Deleting everything in sight takes what is in scope and leaves the rest.
	for _, table := range []string{"idempotency_keys", "api_keys", "configuration_parts", "derivation_parts", "configuration_documents", "configurations"} {
		for _, scope := range []store.Scope{{}, scopes[5], a, scopes[0], b} {
			want := rows[table](scope)
			got, err := h.Raw(ctx, s, scope, "delete from "+table)
			must(t, err)
			if got != want {
				t.Errorf("%v: delete from %s takes %d rows, want %d", scope, table, got, want)
			}
		}
	}
}

func covered(scope store.Scope, owners []*uuid.UUID) (n int64) {
	for _, owner := range owners {
		if scope.Covers(owner) {
			n++
		}
	}
	return n
}
