package storetest

import (
	"sync/atomic"
	"testing"

	"hatchwright/service/record"
	"hatchwright/store"
)

// A key gets one successor, whoever tries; both tell of each other, and the older one
// ends, never later than it would have.
func testKeyRotation(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	a, b := withDealers(t, s)
	first := key(10, a)
	first.Quota = 500
	must(t, s.Keys().Insert(ctx, shop, first))
	got, err := s.Keys().Get(ctx, store.DealerScope(*a), first.ID)
	must(t, err)
	same(t, "key with a quota", got, first)
	for _, scope := range []store.Scope{store.DealerScope(*b), store.HouseScope(), {}} {
		_, err := s.Keys().Get(ctx, scope, first.ID)
		expect(t, "get as "+scope.String(), err, store.ErrNotFound)
		_, err = s.Keys().Expire(ctx, scope, first.ID, at(1))
		expect(t, "end as "+scope.String(), err, store.ErrNotFound)
	}
	_, err = s.Keys().Get(ctx, shop, uid(99))
	expect(t, "an unknown key", err, store.ErrNotFound)
	_, err = s.Keys().Expire(ctx, shop, uid(99), at(1))
	expect(t, "the end of an unknown key", err, store.ErrNotFound)

	for _, c := range []struct{ at, want int }{{5000, 5000}, {9000, 5000}, {4000, 4000}} {
		got, err := s.Keys().Expire(ctx, store.DealerScope(*a), first.ID, at(c.at))
		must(t, err)
		first.ExpiresAt = ptr(at(c.want))
		same(t, "key that ends", got, first)
	}

	other := h.Reopen(t, s)
	var made atomic.Int32
	all(4, func(n int) {
		through := s
		if n%2 == 1 {
			through = other
		}
		k := key(20+n, a)
		k.Quota, k.RotatedFrom, k.Root = 500, &first.ID, &first.ID
		switch err := through.Keys().Insert(ctx, shop, k); {
		case err == nil:
			made.Add(1)
		default:
			expect(t, "another successor", err, store.ErrConflict)
		}
	})
	if made.Load() != 1 {
		t.Fatalf("%d successors", made.Load())
	}
	got, err = s.Keys().Get(ctx, shop, first.ID)
	must(t, err)
	if got.RotatedTo == nil {
		t.Fatal("the older key does not tell of its successor")
	}
	second, err := s.Keys().Get(ctx, shop, *got.RotatedTo)
	must(t, err)
	if second.RotatedFrom == nil || *second.RotatedFrom != first.ID || second.Account() != first.ID || second.RotatedTo != nil {
		t.Errorf("the successor is %+v", second)
	}
	third := key(40, a)
	third.RotatedFrom, third.Root = &second.ID, &first.ID
	must(t, s.Keys().Insert(ctx, store.DealerScope(*a), third))
	list, err := s.Keys().List(ctx, store.DealerScope(*a), store.KeyFilter{}, store.Page{})
	must(t, err)
	if len(list.Items) != 3 || *list.Items[1].RotatedTo != third.ID || *list.Items[0].RotatedFrom != second.ID || *list.Items[2].RotatedTo != second.ID {
		t.Errorf("the list is %+v", list.Items)
	}
}

// What is spent of a day: up to the quota and not a unit more, by a key and its
// successors together, anew on the next day.
func testQuotas(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, _ := withDealers(t, s)
	old, next, free := key(10, a), key(11, a), key(12, nil)
	old.Quota, next.Quota = 10, 12
	next.RotatedFrom, next.Root = &old.ID, &old.ID
	for _, k := range []record.Key{old, next, free} {
		must(t, s.Keys().Insert(ctx, store.ShopScope(), k))
	}
	for i, c := range []struct {
		key   record.Key
		day   string
		units int
		spent int
		taken bool
	}{
		{old, "2027-03-01", 4, 4, true},
		{next, "2027-03-01", 5, 9, true},
		{old, "2027-03-01", 2, 9, false},
		{old, "2027-03-01", 1, 10, true},
		{old, "2027-03-01", 1, 10, false},
		{next, "2027-03-01", 2, 12, true},
		{next, "2027-03-01", 1, 12, false},
		{old, "2027-03-02", 11, 0, false}, // more than the quota at once
		{old, "2027-03-01", 1, 12, false}, // and it took nothing
		{old, "2027-03-02", 10, 10, true},
		{next, "2027-03-01", 1, 11, true}, // a clock that is behind counts to the later day
		{old, "2027-03-02", 1, 11, false},
		{next, "2027-03-03", 3, 3, true},
		{free, "2027-03-01", 1_000_000, 1_000_000, true},
		{free, "2027-03-01", 1, 1_000_001, true},
	} {
		spent, taken, err := s.Keys().Spend(ctx, c.key.ID, c.day, c.units)
		must(t, err)
		if spent != c.spent || taken != c.taken {
			t.Errorf("%d: %d units of %s on %s: spent %d, taken %v", i, c.units, c.key.Name, c.day, spent, taken)
		}
	}
	for _, k := range []record.Key{old, next} {
		got, err := s.Keys().ByHash(ctx, k.Hash)
		must(t, err)
		if got.Spent != 3 || got.SpentOn != "2027-03-03" || got.Quota != k.Quota {
			t.Errorf("%s: %+v", k.Name, got)
		}
	}
	_, _, err := s.Keys().Spend(ctx, uid(99), "2027-03-01", 1)
	expect(t, "an unknown key", err, store.ErrNotFound)
}

// Many processes spend of one quota at once: together they get exactly the quota.
func testQuotaRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	k := key(10, nil)
	k.Quota = 100
	must(t, s.Keys().Insert(ctx, store.ShopScope(), k))
	other := h.Reopen(t, s)
	var got, seen [101]atomic.Int32
	all(6, func(n int) {
		through := s
		if n%2 == 1 {
			through = other
		}
		for range 25 {
			spent, taken, err := through.Keys().Spend(ctx, k.ID, "2027-03-01", 1)
			if err != nil || spent < 0 || spent > 100 {
				t.Errorf("%d %v", spent, err)
				return
			}
			if taken {
				got[spent].Add(1)
			} else {
				seen[spent].Add(1)
			}
		}
	})
	for spent := 1; spent <= 100; spent++ {
		if n := got[spent].Load(); n != 1 {
			t.Errorf("%d were told that they spent unit %d", n, spent)
		}
	}
	if n := seen[100].Load(); n != 50 {
		t.Errorf("%d were told that the quota is spent, want 50", n)
	}
}

// The shop keys that are held are those that are not revoked, and who holds them is
// alone; a line of rotations is what still opens of it, within the scope.
func testKeysHeld(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	a, b := withDealers(t, s)
	one, two, window := shopKey(10), shopKey(11), key(12, nil)
	two.ExpiresAt = ptr(at(1))
	for _, k := range []record.Key{one, two, window, key(13, a)} {
		must(t, s.Keys().Insert(ctx, shop, k))
	}
	held, err := s.Keys().HoldShop(ctx)
	must(t, err)
	same(t, "shop keys held", held, []record.Key{one, two})

	first, second, third := key(20, a), key(21, a), key(22, a)
	second.RotatedFrom, second.Root = &first.ID, &first.ID
	third.RotatedFrom, third.Root = &second.ID, &first.ID
	first.ExpiresAt, second.ExpiresAt = ptr(at(100)), ptr(at(50))
	for _, k := range []record.Key{first, second, third} {
		must(t, s.Keys().Insert(ctx, shop, k))
	}
	for _, c := range []struct {
		name  string
		scope store.Scope
		at    int
		want  []record.Key
	}{
		{"all", shop, 49, []record.Key{first, second, third}},
		{"at the end of one", store.DealerScope(*a), 50, []record.Key{first, third}},
		{"later", shop, 100, []record.Key{third}},
		{"another dealer's", store.DealerScope(*b), 0, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			list, err := s.Keys().Line(ctx, c.scope, first.ID, at(c.at))
			must(t, err)
			if len(list) != len(c.want) {
				t.Fatalf("%d keys, want %d", len(list), len(c.want))
			}
			for i, k := range list {
				if k.ID != c.want[i].ID {
					t.Errorf("key %d is %v, want %v", i, k.ID, c.want[i].ID)
				}
			}
		})
	}

	// Of many that revoke a key each, if another one is left, all but one do.
	for n := 30; n < 37; n++ {
		must(t, s.Keys().Insert(ctx, shop, shopKey(n)))
	}
	_, err = s.Keys().Revoke(ctx, shop, one.ID, at(2))
	must(t, err)
	_, err = s.Keys().Revoke(ctx, shop, two.ID, at(2))
	must(t, err)
	other := h.Reopen(t, s)
	var revoked atomic.Int32
	all(7, func(n int) {
		through := s
		if n%2 == 1 {
			through = other
		}
		must(t, through.InTx(ctx, func(tx store.Tx) error {
			held, err := tx.Keys().HoldShop(ctx)
			if err != nil || len(held) < 2 {
				return err
			}
			_, err = tx.Keys().Revoke(ctx, shop, uid(30+n), at(3))
			revoked.Add(1)
			return err
		}))
	})
	held, err = s.Keys().HoldShop(ctx)
	must(t, err)
	if len(held) != 1 || revoked.Load() != 6 {
		t.Errorf("%d shop keys are left after %d were revoked, want 1 after 6", len(held), revoked.Load())
	}
}
