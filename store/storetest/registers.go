package storetest

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

func testDealers(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	d := dealer(1)
	must(t, s.Dealers().Insert(ctx, shop, d))
	got, err := s.Dealers().Get(ctx, shop, d.ID)
	must(t, err)
	same(t, "dealer", got, d)

	sameID := dealer(2)
	sameID.ID = d.ID
	expect(t, "the same id", s.Dealers().Insert(ctx, shop, sameID), store.ErrConflict)
	sameName := dealer(3)
	sameName.Name = strings.ToUpper(d.Name)
	expect(t, "the same name in capitals", s.Dealers().Insert(ctx, shop, sameName), store.ErrConflict)
	for _, scope := range []store.Scope{{}, store.HouseScope(), store.DealerScope(uid(4))} {
		expect(t, "insert as "+scope.String(), s.Dealers().Insert(ctx, scope, dealer(4)), store.ErrOutOfScope)
	}
	_, err = s.Dealers().Get(ctx, shop, uid(99))
	expect(t, "an unknown dealer", err, store.ErrNotFound)

	plain := dealer(5)
	plain.Email, plain.Name = "", "Fennimore Yachts & Søn \u2693"
	must(t, s.Dealers().Insert(ctx, shop, plain))
	list, err := s.Dealers().List(ctx, shop, store.Page{})
	must(t, err)
	same(t, "dealers", list, store.Listing[record.Dealer]{Items: []record.Dealer{plain, d}})
}

func testKeys(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	a, b := withDealers(t, s)

	k := key(10, a)
	k.ExpiresAt = ptr(at(5000))
	must(t, s.Keys().Insert(ctx, store.DealerScope(*a), k))
	got, err := s.Keys().ByHash(ctx, k.Hash)
	must(t, err)
	same(t, "key", got, k)
	_, err = s.Keys().ByHash(ctx, record.KeyHash("another"))
	expect(t, "an unknown hash", err, store.ErrNotFound)
	_, err = s.Keys().ByHash(ctx, nil)
	expect(t, "no hash", err, store.ErrNotFound)

	again := key(11, a)
	again.Hash = k.Hash
	expect(t, "the same hash", s.Keys().Insert(ctx, shop, again), store.ErrConflict)
	again = key(10, a)
	again.Hash = record.KeyHash("fresh")
	expect(t, "the same id", s.Keys().Insert(ctx, shop, again), store.ErrConflict)
	expect(t, "no such dealer", s.Keys().Insert(ctx, shop, key(12, ptr(uid(77)))), store.ErrNotFound)
	expect(t, "another dealer's", s.Keys().Insert(ctx, store.DealerScope(*b), key(12, a)), store.ErrOutOfScope)
	expect(t, "a dealer for the shop", s.Keys().Insert(ctx, store.DealerScope(*b), key(12, nil)), store.ErrOutOfScope)

	// Use: the latest time stays.
	for _, use := range []struct{ at, want int }{{100, 100}, {50, 100}, {200, 200}} {
		must(t, s.Keys().TouchLastUsed(ctx, k.ID, at(use.at)))
		got, err := s.Keys().ByHash(ctx, k.Hash)
		must(t, err)
		k.LastUsedAt = ptr(at(use.want))
		same(t, "key after use", got, k)
	}
	expect(t, "use of an unknown key", s.Keys().TouchLastUsed(ctx, uid(99), at(1)), store.ErrNotFound)

	// Revocation: the first time stays.
	_, err = s.Keys().Revoke(ctx, store.DealerScope(*b), k.ID, at(300))
	expect(t, "revoke another dealer's", err, store.ErrNotFound)
	for _, when := range []int{300, 400, 200} {
		got, err := s.Keys().Revoke(ctx, store.DealerScope(*a), k.ID, at(when))
		must(t, err)
		k.RevokedAt = ptr(at(300))
		same(t, "revoked key", got, k)
	}
	_, err = s.Keys().Revoke(ctx, shop, uid(99), at(1))
	expect(t, "revoke an unknown key", err, store.ErrNotFound)
	got, err = s.Keys().ByHash(ctx, k.Hash)
	must(t, err)
	same(t, "revoked key by its hash", got, k)

	// Lists by filter.
	house, ofB := key(20, nil), key(21, b)
	must(t, s.Keys().Insert(ctx, store.HouseScope(), house))
	must(t, s.Keys().Insert(ctx, shop, ofB))
	for _, c := range []struct {
		filter store.KeyFilter
		want   []record.Key
	}{
		{store.KeyFilter{}, []record.Key{ofB, house, k}},
		{store.KeyFilter{DealerID: a}, []record.Key{k}},
		{store.KeyFilter{Role: record.RoleDealer}, []record.Key{ofB, k}},
		{store.KeyFilter{Role: record.RoleStorefront}, []record.Key{house}},
		{store.KeyFilter{Role: record.RoleStorefront, DealerID: b}, []record.Key{}},
	} {
		list, err := s.Keys().List(ctx, shop, c.filter, store.Page{})
		must(t, err)
		same(t, "keys "+show(c.filter), list.Items, c.want)
	}
}

// shopKey is the n-th key of the shop.
func shopKey(n int) record.Key {
	k := key(n, nil)
	k.Role = record.RoleShop
	return k
}

// Sixteen starts at once on an empty store make one shop key between them.
func testFirstKeyRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	must(t, s.Keys().Insert(ctx, store.ShopScope(), key(1, nil))) // a storefront key does not count
	other := h.Reopen(t, s)
	var inserted atomic.Int32
	all(16, func(n int) {
		through := s
		if n%2 == 1 {
			through = other
		}
		first, err := through.Keys().InsertFirst(ctx, shopKey(100+n))
		if err != nil {
			t.Errorf("start %d: %v", n, err)
		}
		if first {
			inserted.Add(1)
		}
	})
	list, err := s.Keys().List(ctx, store.ShopScope(), store.KeyFilter{Role: record.RoleShop}, store.Page{})
	must(t, err)
	if inserted.Load() != 1 || len(list.Items) != 1 {
		t.Fatalf("%d starts made a key, the store holds %d", inserted.Load(), len(list.Items))
	}
	_, err = s.Keys().Revoke(ctx, store.ShopScope(), list.Items[0].ID, at(1))
	must(t, err)
	first, err := s.Keys().InsertFirst(ctx, shopKey(200))
	must(t, err)
	if first {
		t.Error("a revoked shop key was not counted")
	}
	_, err = s.Keys().InsertFirst(ctx, key(201, nil))
	expect(t, "a first key that is no shop key", err, store.ErrInvalid)
}

// all runs fn n times at once and waits for all.
func all(n int, fn func(int)) {
	var wait sync.WaitGroup
	start := make(chan struct{})
	for i := range n {
		wait.Go(func() { <-start; fn(i) })
	}
	close(start)
	wait.Wait()
}

func testConfigurations(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, _ := withDealers(t, s)
	shop := store.ShopScope()
	for n, owner := range []*uuid.UUID{nil, a} {
		c := configuration(10+n, owner)
		must(t, s.Configurations().Insert(ctx, shop, c))
		got, err := s.Configurations().Get(ctx, shop, c.ID)
		must(t, err)
		same(t, "configuration", got, c)

		c.Name = "another"
		expect(t, "the same id", s.Configurations().Insert(ctx, shop, c), store.ErrConflict)
		c.ID = uid(20 + n)
		expect(t, "the same digest", s.Configurations().Insert(ctx, shop, c), nil)
	}
	none := configuration(30, a)
	none.Derivation, none.Name, none.Reference, none.Revision = nil, "", "", record.Revision{}
	must(t, s.Configurations().Insert(ctx, store.DealerScope(*a), none))
	got, err := s.Configurations().Get(ctx, store.DealerScope(*a), none.ID)
	must(t, err)
	same(t, "configuration with no derivation", got, none)

	_, err = s.Configurations().Get(ctx, shop, uid(99))
	expect(t, "an unknown configuration", err, store.ErrNotFound)
	expect(t, "no such dealer", s.Configurations().Insert(ctx, shop, configuration(40, ptr(uid(77)))), store.ErrNotFound)

	list, err := s.Configurations().List(ctx, shop, store.ConfigurationFilter{}, store.Page{Limit: 1})
	must(t, err)
	none.SchemaVersion, none.Requested, none.Completed = 0, nil, nil
	same(t, "listed without documents", list.Items, []record.Configuration{none})
}

// A configuration supersedes one of the same owner only.
func testSupersede(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	shop := store.ShopScope()
	owners := []*uuid.UUID{nil, a, b}
	for i, owner := range owners {
		must(t, s.Configurations().Insert(ctx, shop, configuration(10+i, owner)))
	}
	for i, owner := range owners {
		for j, other := range owners {
			c := configuration(100+10*i+j, owner)
			c.Supersedes = ptr(uid(10 + j))
			want := store.ErrNotFound
			if i == j {
				want = nil
			}
			expect(t, fmt.Sprintf("%d supersedes %d", i, j), s.Configurations().Insert(ctx, shop, c), want)
			if want == nil {
				got, err := s.Configurations().Get(ctx, shop, c.ID)
				must(t, err)
				same(t, "superseding configuration", got, c)
			}
			_ = other
		}
		c := configuration(200+i, owner)
		c.Supersedes = ptr(uid(99))
		expect(t, "supersedes an unknown one", s.Configurations().Insert(ctx, shop, c), store.ErrNotFound)
	}
}

// Every combination of filter fields gives what filtering in memory gives, read
// in pages of every size.
func testConfigurationFilters(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	random := rand.New(rand.NewPCG(1, 2))
	pick := func(of ...string) string { return of[random.IntN(len(of))] }
	var stored []record.Configuration
	for n := range 240 {
		c := configuration(1000+n, []*uuid.UUID{nil, a, b}[random.IntN(3)])
		c.Pattern = pick("flush-ledge", "flush-gutter")
		c.Verdict = pick("makeable", "not_makeable")
		c.Digest = pick("sha256:0", "sha256:1", "sha256:2")
		c.Reference = pick("", "CB-7", "cb-7")
		c.CreatedAt = at(random.IntN(40)) // many at the same millisecond
		must(t, s.Configurations().Insert(ctx, store.ShopScope(), c))
		c.SchemaVersion, c.Requested, c.Completed, c.Derivation = 0, nil, nil, nil
		stored = append(stored, c)
	}
	slices.SortFunc(stored, func(x, y record.Configuration) int {
		if c := y.CreatedAt.Compare(x.CreatedAt); c != 0 {
			return c
		}
		return strings.Compare(y.ID.String(), x.ID.String())
	})
	scopes := []store.Scope{store.ShopScope(), store.HouseScope(), store.DealerScope(*a), {}}
	for n := range 256 {
		var f store.ConfigurationFilter
		if n&1 != 0 {
			f.DealerID = a
		}
		if n&2 != 0 {
			f.Pattern = "flush-ledge"
		}
		if n&4 != 0 {
			f.Verdict = "makeable"
		}
		if n&8 != 0 {
			f.Digest = "sha256:1"
		}
		if n&16 != 0 {
			f.Reference = "CB-7"
		}
		if n&32 != 0 {
			f.CreatedFrom = at(10)
		}
		if n&64 != 0 {
			f.CreatedBefore = at(30)
		}
		scope := scopes[random.IntN(len(scopes))]
		if n&128 != 0 {
			scope = scopes[0]
		}
		want := []record.Configuration{}
		for _, c := range stored {
			if scope.Covers(c.DealerID) &&
				(f.DealerID == nil || c.DealerID != nil && *c.DealerID == *f.DealerID) &&
				(f.Pattern == "" || c.Pattern == f.Pattern) && (f.Verdict == "" || c.Verdict == f.Verdict) &&
				(f.Digest == "" || c.Digest == f.Digest) && (f.Reference == "" || c.Reference == f.Reference) &&
				(f.CreatedFrom.IsZero() || !c.CreatedAt.Before(f.CreatedFrom)) && (f.CreatedBefore.IsZero() || c.CreatedAt.Before(f.CreatedBefore)) {
				want = append(want, c)
			}
		}
		got := []record.Configuration{}
		page := store.Page{Limit: 7 + random.IntN(120)}
		for {
			list, err := s.Configurations().List(ctx, scope, f, page)
			must(t, err)
			got = append(got, list.Items...)
			if page.Cursor = list.NextCursor; page.Cursor == "" {
				break
			}
		}
		same(t, fmt.Sprintf("filter %s as %v", show(f), scope), got, want)
		if t.Failed() {
			return
		}
	}
}

// The page's bounds, and the last page that is just full.
func testPaging(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	for n := range 205 {
		must(t, s.Dealers().Insert(ctx, shop, dealer(n)))
		if n == 0 {
			break
		}
	}
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		for n := 1; n < 205; n++ {
			if err := tx.Dealers().Insert(ctx, shop, dealer(n)); err != nil {
				return err
			}
		}
		return nil
	}))
	for _, c := range []struct{ limit, pages, first, last int }{
		{0, 5, 50, 5}, {-1, 205, 1, 1}, {1, 205, 1, 1}, {41, 5, 41, 41}, {200, 2, 200, 5}, {205, 2, 200, 5}, {1 << 40, 2, 200, 5},
	} {
		var sizes []int
		page := store.Page{Limit: c.limit}
		next := 204
		for {
			list, err := s.Dealers().List(ctx, shop, page)
			must(t, err)
			sizes = append(sizes, len(list.Items))
			for _, d := range list.Items {
				if d.ID != uid(next) {
					t.Fatalf("limit %d: %v where %v was next", c.limit, d.ID, uid(next))
				}
				next--
			}
			if page.Cursor = list.NextCursor; page.Cursor == "" {
				break
			}
		}
		if next != -1 || len(sizes) != c.pages || sizes[0] != c.first || sizes[len(sizes)-1] != c.last {
			t.Errorf("limit %d: pages of %v, want %d of %d ending with %d; %d left", c.limit, sizes, c.pages, c.first, c.last, next+1)
		}
	}
}

// Records written between two pages, older and newer than the cursor, neither
// move nor repeat those that were there.
func testPagingUnderInserts(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	insert := func(n, ms int) {
		d := dealer(n)
		d.CreatedAt = at(ms)
		must(t, s.Dealers().Insert(ctx, shop, d))
	}
	for n := range 40 {
		insert(n, 1000+n/4) // four at each millisecond
	}
	seen := map[uuid.UUID]int{}
	page := store.Page{Limit: 3}
	for next := 100; ; next += 4 {
		list, err := s.Dealers().List(ctx, shop, page)
		must(t, err)
		for _, d := range list.Items {
			seen[d.ID]++
		}
		if page.Cursor = list.NextCursor; page.Cursor == "" {
			break
		}
		last := list.Items[len(list.Items)-1]
		insert(next, 2000+next)                                       // newer than all
		insert(next+1, int(last.CreatedAt.Sub(epoch).Milliseconds())) // at the cursor's time, with a higher id
		if next < 120 {
			insert(next+2, 500-next) // older than all
		}
	}
	for n := range 40 {
		if seen[uid(n)] != 1 {
			t.Errorf("the record %d came %d times", n, seen[uid(n)])
		}
	}
	for id, times := range seen {
		if times != 1 {
			t.Errorf("%v came %d times", id, times)
		}
	}
}

// A cursor is taken back by its own list, scope and filter alone.
func testCursors(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, _ := withDealers(t, s)
	shop := store.ShopScope()
	for n := range 3 {
		must(t, s.Keys().Insert(ctx, shop, key(10+n, a)))
		must(t, s.Configurations().Insert(ctx, shop, configuration(10+n, a)))
		_, err := s.ShopDocuments().Put(ctx, shop, record.ShopDocument{Kind: "profile", Body: []byte("{}"), CreatedAt: at(n)}, n)
		must(t, err)
	}
	one := store.Page{Limit: 1}
	lists := map[string]func(store.Page) (string, error){
		"dealers": func(p store.Page) (string, error) { l, err := s.Dealers().List(ctx, shop, p); return l.NextCursor, err },
		"keys": func(p store.Page) (string, error) {
			l, err := s.Keys().List(ctx, shop, store.KeyFilter{}, p)
			return l.NextCursor, err
		},
		"keys of a dealer": func(p store.Page) (string, error) {
			l, err := s.Keys().List(ctx, shop, store.KeyFilter{DealerID: a}, p)
			return l.NextCursor, err
		},
		"keys as a dealer": func(p store.Page) (string, error) {
			l, err := s.Keys().List(ctx, store.DealerScope(*a), store.KeyFilter{}, p)
			return l.NextCursor, err
		},
		"configurations": func(p store.Page) (string, error) {
			l, err := s.Configurations().List(ctx, shop, store.ConfigurationFilter{}, p)
			return l.NextCursor, err
		},
		"of a pattern": func(p store.Page) (string, error) {
			l, err := s.Configurations().List(ctx, shop, store.ConfigurationFilter{Pattern: "flush-ledge"}, p)
			return l.NextCursor, err
		},
		"versions": func(p store.Page) (string, error) {
			l, err := s.ShopDocuments().List(ctx, "profile", p)
			return l.NextCursor, err
		},
		"no such documents": func(p store.Page) (string, error) { _, err := s.ShopDocuments().List(ctx, "none", p); return "", err },
	}
	for from, list := range lists {
		cursor, err := list(one)
		must(t, err)
		if cursor == "" {
			continue
		}
		for to, other := range lists {
			want := store.ErrCursor
			if from == to {
				want = nil
			}
			_, err := other(store.Page{Limit: 1, Cursor: cursor})
			expect(t, from+" to "+to, err, want)
		}
		_, err = list(store.Page{Limit: 1, Cursor: cursor[:len(cursor)-1]})
		expect(t, "cut short", err, store.ErrCursor)
		_, err = list(store.Page{Limit: 1, Cursor: "' or 1=1 --"})
		expect(t, "made up", err, store.ErrCursor)
	}
}

func testShopDocuments(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	docs := s.ShopDocuments()
	_, err := docs.Latest(ctx, "profile")
	expect(t, "no document yet", err, store.ErrNotFound)

	var put []record.ShopDocument
	for n := range 5 {
		d := record.ShopDocument{Kind: "profile", Version: 99, Body: []byte(fmt.Sprintf(`{"n": %d}`, n)), CreatedAt: at(5 - n).Add(time.Microsecond), Author: "built-in"}
		for _, stale := range []int{n - 1, n + 1, -7, 1 << 40} {
			_, err := docs.Put(ctx, shop, d, stale)
			expect(t, fmt.Sprintf("based on version %d of %d", stale, n), err, store.ErrStaleVersion)
		}
		got, err := docs.Put(ctx, shop, d, n)
		must(t, err)
		d.Version, d.CreatedAt = n+1, at(5-n)
		same(t, "stored", got, d)
		put = append(put, d)

		latest, err := docs.Latest(ctx, "profile")
		must(t, err)
		same(t, "latest", latest, d)
	}
	for _, want := range put {
		got, err := docs.Get(ctx, "profile", want.Version)
		must(t, err)
		same(t, "version", got, want)
	}
	for _, version := range []int{0, -1, 6, 1 << 40} {
		_, err := docs.Get(ctx, "profile", version)
		expect(t, fmt.Sprint("version ", version), err, store.ErrNotFound)
	}
	_, err = docs.Latest(ctx, "materials")
	expect(t, "another kind", err, store.ErrNotFound)
	_, err = docs.Put(ctx, shop, record.ShopDocument{Kind: "materials", Body: []byte("{}"), CreatedAt: at(0)}, 0)
	expect(t, "the first of another kind", err, nil)
	for _, scope := range []store.Scope{{}, store.HouseScope(), store.DealerScope(uid(1))} {
		_, err = docs.Put(ctx, scope, put[0], 5)
		expect(t, "put as "+scope.String(), err, store.ErrOutOfScope)
	}

	var versions []int
	page := store.Page{Limit: 2}
	for {
		list, err := docs.List(ctx, "profile", page)
		must(t, err)
		for _, d := range list.Items {
			versions = append(versions, d.Version)
			if d.Body != nil || d.Author != "built-in" || d.Kind != "profile" {
				t.Errorf("listed %s", show(d))
			}
		}
		if page.Cursor = list.NextCursor; page.Cursor == "" {
			break
		}
	}
	same(t, "versions", versions, []int{5, 4, 3, 2, 1})
}

// Of many changes based on the same version one is kept, each time.
func testShopDocumentRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	other := h.Reopen(t, s)
	for version := range 5 {
		var kept, stale atomic.Int32
		all(16, func(n int) {
			through := s
			if n%2 == 1 {
				through = other
			}
			_, err := through.ShopDocuments().Put(ctx, store.ShopScope(), record.ShopDocument{Kind: "price_book", Body: []byte("{}"), CreatedAt: at(n)}, version)
			switch {
			case err == nil:
				kept.Add(1)
			default:
				stale.Add(1)
				expect(t, "a change that lost", err, store.ErrStaleVersion)
			}
		})
		if kept.Load() != 1 || stale.Load() != 15 {
			t.Errorf("after version %d: %d kept, %d stale", version, kept.Load(), stale.Load())
		}
	}
}
