package storetest

import (
	"fmt"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// What nobody orders from goes after its time; what an order, a mold or a later
// configuration rests on stays, and so does what is named by a quote that stays.
func testUnordered(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, _ := withDealers(t, s)
	shop := store.ShopScope()
	for n := 20; n <= 28; n++ {
		c := configuration(n, a)
		if n == 25 {
			c.Supersedes = ptr(uid(24))
		}
		must(t, s.Configurations().Insert(ctx, shop, c))
	}
	m := mold(60, a)
	m.ConfigurationID = ptr(uid(26))
	must(t, s.Molds().Insert(ctx, shop, m))
	// Quotes of the configurations 20 to 23: ordered, withdrawn, over, still open.
	for n, q := range []record.Quote{quote(30, a), quote(31, a), quote(32, a), quote(33, a)} {
		q.Lines = append(q.Lines, q.Lines[0], q.Lines[0]) // one that is not there, and one twice
		q.Lines[1].ConfigurationID, q.Lines[2].ConfigurationID = uid(20+n), uid(20+n)
		q.ValidUntil = at(500)
		if n == 3 {
			q.ValidUntil = at(100_000)
		}
		must(t, s.Quotes().Insert(ctx, shop, q))
		switch n {
		case 0:
			must(t, s.Orders().Insert(ctx, shop, order(50, 30, a)))
			q.State, q.OrderID = record.QuoteOrdered, ptr(uid(50))
		case 1:
			q.State, q.UpdatedAt = record.QuoteWithdrawn, at(400)
		default:
			continue
		}
		q.Version = 2
		must(t, s.Quotes().Update(ctx, shop, q, 1))
	}
	removed := func(what string, got int, err error, want int) {
		t.Helper()
		must(t, err)
		same(t, what, got, want)
	}
	left := func() (quotes, configurations []int) {
		t.Helper()
		for n := 20; n < 40; n++ {
			if _, err := s.Quotes().Get(ctx, shop, uid(n)); err == nil {
				quotes = append(quotes, n)
			}
			if _, err := s.Configurations().Get(ctx, shop, uid(n)); err == nil {
				configurations = append(configurations, n)
			}
		}
		return quotes, configurations
	}
	wants := func(what string, quotes, configurations []int) {
		t.Helper()
		q, c := left()
		if !slices.Equal(q, quotes) {
			t.Errorf("%s: quotes %v are left, want %v", what, q, quotes)
		}
		if !slices.Equal(c, configurations) {
			t.Errorf("%s: configurations %v are left, want %v", what, c, configurations)
		}
	}
	n, err := s.Retention().RemoveQuotes(ctx, shop, at(400), 10)
	removed("none is over", n, err, 0)
	n, err = s.Retention().RemoveConfigurations(ctx, shop, at(20), 10)
	removed("none is old", n, err, 0)
	n, err = s.Retention().RemoveConfigurations(ctx, shop, at(1000), 1)
	removed("configurations, one at a time", n, err, 1)
	wants("at first", []int{30, 31, 32, 33}, []int{20, 21, 22, 23, 24, 26, 27, 28})
	n, err = s.Retention().RemoveConfigurations(ctx, shop, at(1000), 10)
	removed("configurations that nothing names", n, err, 3) // 24 was superseded by one that is gone
	wants("while quotes are there", []int{30, 31, 32, 33}, []int{20, 21, 22, 23, 26})
	n, err = s.Retention().RemoveQuotes(ctx, shop, at(1000), 1)
	removed("quotes, one at a time", n, err, 1)
	n, err = s.Retention().RemoveQuotes(ctx, shop, at(1000), 10)
	removed("quotes that are over", n, err, 1)
	n, err = s.Retention().RemoveConfigurations(ctx, shop, at(1000), 10)
	removed("configurations of quotes that are gone", n, err, 2)
	wants("in the end", []int{30, 33}, []int{20, 23, 26})
	for what, remove := range map[string]func() (int, error){
		"quotes": func() (int, error) { return s.Retention().RemoveQuotes(ctx, store.DealerScope(*a), at(1000), 10) },
		"configurations": func() (int, error) {
			return s.Retention().RemoveConfigurations(ctx, store.DealerScope(*a), at(1000), 10)
		},
	} {
		_, err := remove()
		expect(t, "a dealer removes "+what, err, store.ErrOutOfScope)
	}
}

// Counts are of one dealer's, since a time.
func testAllowances(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	shop := store.ShopScope()
	for n := 20; n < 24; n++ {
		must(t, s.Configurations().Insert(ctx, shop, configuration(n, a)))
		must(t, s.Quotes().Insert(ctx, shop, quote(n, a)))
		_, err := s.Webhooks().Insert(ctx, shop, webhook(n, a))
		must(t, err)
	}
	for n := 20; n < 22; n++ {
		must(t, s.Orders().Insert(ctx, shop, order(n, n, a)))
	}
	must(t, s.Configurations().Insert(ctx, shop, configuration(30, b)))
	must(t, s.Configurations().Insert(ctx, shop, configuration(31, nil)))
	for n := 40; n < 44; n++ {
		e := event(n, a)
		e.Actor = record.Actor{KeyID: ptr(uid(5)), Role: record.RoleDealer}
		if n == 43 {
			e.Actor.Role = record.RoleShop
		}
		_, err := s.Events().Append(ctx, shop, e)
		must(t, err)
	}
	for n := 50; n < 53; n++ {
		c := claim(n)
		c.Key = fmt.Sprint(n)
		_, err := s.Idempotency().Begin(ctx, store.DealerScope(*a), c)
		must(t, err)
		if n < 52 {
			must(t, s.Idempotency().Finish(ctx, store.DealerScope(*a), c, answer()))
		}
	}
	for _, c := range []struct {
		what     string
		scope    store.Scope
		dealer   uuid.UUID
		count    store.Counted
		since    time.Time
		want     int
		earliest time.Time
	}{
		{"configurations", store.DealerScope(*a), *a, store.CountConfigurations, at(0), 4, at(20)},
		{"configurations of late", store.DealerScope(*a), *a, store.CountConfigurations, at(22), 2, at(22)},
		{"configurations, for the shop", shop, *a, store.CountConfigurations, at(0), 4, at(20)},
		{"another's", store.DealerScope(*b), *b, store.CountConfigurations, at(0), 1, at(30)},
		{"another's none", store.DealerScope(*b), *b, store.CountQuotes, at(0), 0, time.Time{}},
		{"quotes", store.DealerScope(*a), *a, store.CountQuotes, at(21), 3, at(21)},
		{"orders", store.DealerScope(*a), *a, store.CountOrders, at(0), 2, at(20)},
		{"endpoints", store.DealerScope(*a), *a, store.CountWebhooks, at(1000), 4, time.Time{}},
		{"changes", store.DealerScope(*a), *a, store.CountChanges, at(41), 2, at(41)},
		{"answers", store.DealerScope(*a), *a, store.CountAnswers, at(0), 2, at(0)},
	} {
		t.Run(c.what, func(t *testing.T) {
			n, earliest, err := s.Allowances().Count(ctx, c.scope, c.dealer, c.count, c.since)
			must(t, err)
			same(t, "count", n, c.want)
			same(t, "earliest", earliest, c.earliest)
		})
	}
	_, _, err := s.Allowances().Count(ctx, store.DealerScope(*b), *a, store.CountQuotes, at(0))
	expect(t, "counts another's", err, store.ErrOutOfScope)
	expect(t, "holds another", s.InTx(ctx, func(tx store.Tx) error { return tx.Allowances().Hold(ctx, store.DealerScope(*b), *a) }), store.ErrOutOfScope)
}

// Of fifty transactions at once that hold, count and then write, just as many write as
// there are places, through several openings of the store.
func testAllowanceRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, _ := withDealers(t, s)
	mine := store.DealerScope(*a)
	stores := []store.Store{s, h.Reopen(t, s)}
	const places = 7
	var kept, refused atomic.Int32
	all(50, func(n int) {
		err := stores[n%len(stores)].InTx(ctx, func(tx store.Tx) error {
			if err := tx.Allowances().Hold(ctx, mine, *a); err != nil {
				return err
			}
			got, _, err := tx.Allowances().Count(ctx, mine, *a, store.CountConfigurations, at(0))
			if err != nil {
				return err
			}
			if got >= places {
				refused.Add(1)
				return nil
			}
			kept.Add(1)
			return tx.Configurations().Insert(ctx, mine, configuration(100+n, a))
		})
		if err != nil {
			t.Errorf("transaction %d: %v", n, err)
		}
	})
	same(t, "kept", int(kept.Load()), places)
	same(t, "refused", int(refused.Load()), 50-places)
}
