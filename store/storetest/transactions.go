package storetest

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"hatchwright/service/record"
	"hatchwright/store"
)

// writes does one of everything that can be written, under n.
func writes(ctx context.Context, r store.Registers, n int) error {
	shop := store.ShopScope()
	d := dealer(n)
	k := key(n, &d.ID)
	c := claim(n)
	c.Key = fmt.Sprint("writes ", n)
	begin := func() error { _, err := r.Idempotency().Begin(ctx, store.DealerScope(d.ID), c); return err }
	revoke := func() error { _, err := r.Keys().Revoke(ctx, shop, k.ID, at(1)); return err }
	put := func() error {
		_, err := r.ShopDocuments().Put(ctx, shop, record.ShopDocument{Kind: fmt.Sprint("kind ", n), Body: []byte("{}"), CreatedAt: at(0)}, 0)
		return err
	}
	for _, write := range []func() error{
		func() error { return r.Dealers().Insert(ctx, shop, d) },
		func() error { return r.Keys().Insert(ctx, shop, k) },
		func() error { return r.Keys().TouchLastUsed(ctx, k.ID, at(2)) },
		revoke,
		func() error { return r.Configurations().Insert(ctx, store.DealerScope(d.ID), configuration(n, &d.ID)) },
		put, begin,
		func() error { return r.Idempotency().Finish(ctx, store.DealerScope(d.ID), c, answer()) },
	} {
		if err := write(); err != nil {
			return err
		}
	}
	return nil
}

// written tells how many of the things of writes are there.
func written(t *testing.T, r store.Registers, n int) int {
	t.Helper()
	ctx, shop := t.Context(), store.ShopScope()
	count := 0
	note := func(err error) {
		t.Helper()
		if err == nil {
			count++
		} else {
			expect(t, "read back", err, store.ErrNotFound)
		}
	}
	_, err := r.Dealers().Get(ctx, shop, uid(n))
	note(err)
	_, err = r.Keys().ByHash(ctx, key(n, nil).Hash)
	note(err)
	_, err = r.Configurations().Get(ctx, shop, uid(n))
	note(err)
	_, err = r.ShopDocuments().Latest(ctx, fmt.Sprint("kind ", n))
	note(err)
	return count
}

// A transaction keeps everything or nothing: on an error, on a panic, on a context
// that ends, and it sees its own writes.
func testTransactions(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		if err := writes(ctx, tx, 1); err != nil {
			return err
		}
		if n := written(t, tx, 1); n != 4 {
			t.Errorf("within the transaction %d of 4 are there", n)
		}
		return nil
	}))
	if n := written(t, s, 1); n != 4 {
		t.Errorf("after the commit %d of 4 are there", n)
	}

	mine := errors.New("changed my mind")
	err := s.InTx(ctx, func(tx store.Tx) error {
		must(t, writes(ctx, tx, 2))
		return mine
	})
	if err != mine { //nolint:errorlint // the very error is promised
		t.Errorf("InTx returned %v, not the function's own error", err)
	}

	func() {
		defer func() {
			if p := recover(); p != "stop" {
				t.Errorf("the panic came out as %v", p)
			}
		}()
		_ = s.InTx(ctx, func(tx store.Tx) error {
			must(t, writes(ctx, tx, 3))
			panic("stop")
		})
	}()

	ending, cancel := context.WithCancel(ctx)
	err = s.InTx(ending, func(tx store.Tx) error {
		must(t, writes(ending, tx, 4))
		cancel()
		return nil
	})
	expect(t, "the context ends before the commit", err, context.Canceled)

	for n := 2; n <= 4; n++ {
		if got := written(t, s, n); got != 0 {
			t.Errorf("transaction %d was undone, and left %d of 4", n, got)
		}
		// Nothing holds a lock: the same writes go through.
		must(t, writes(ctx, s, n))
	}
}

// After a sentinel that leaves a transaction usable the rest is kept; after any
// other error nothing is, though the function says that all is well.
func testTransactionsAfterErrors(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	must(t, s.Dealers().Insert(ctx, shop, dealer(1)))
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		expect(t, "conflict", tx.Dealers().Insert(ctx, shop, dealer(1)), store.ErrConflict)
		expect(t, "key of nobody", tx.Keys().Insert(ctx, shop, key(5, ptr(uid(99)))), store.ErrNotFound)
		expect(t, "configuration of nobody", tx.Configurations().Insert(ctx, shop, configuration(5, ptr(uid(99)))), store.ErrNotFound)
		_, err := tx.Configurations().Get(ctx, shop, uid(99))
		expect(t, "no configuration", err, store.ErrNotFound)
		_, err = tx.ShopDocuments().Put(ctx, shop, record.ShopDocument{Kind: "profile", Body: []byte("{}"), CreatedAt: at(0)}, 7)
		expect(t, "stale", err, store.ErrStaleVersion)
		expect(t, "invalid", tx.Dealers().Insert(ctx, shop, record.Dealer{}), store.ErrInvalid)
		expect(t, "out of scope", tx.Keys().Insert(ctx, store.HouseScope(), key(5, ptr(uid(1)))), store.ErrOutOfScope)
		_, err = tx.Dealers().List(ctx, shop, store.Page{Cursor: "x"})
		expect(t, "cursor", err, store.ErrCursor)
		return tx.Dealers().Insert(ctx, shop, dealer(2))
	}))
	_, err := s.Dealers().Get(ctx, shop, uid(2))
	expect(t, "written after the errors", err, nil)

	ended, cancel := context.WithCancel(ctx)
	cancel()
	err = s.InTx(ctx, func(tx store.Tx) error {
		must(t, tx.Dealers().Insert(ctx, shop, dealer(3)))
		_, err := tx.Dealers().Get(ended, shop, uid(1))
		expect(t, "a call with an ended context", err, context.Canceled)
		return nil
	})
	expect(t, "a transaction with a failed call", err, context.Canceled)
	_, err = s.Dealers().Get(ctx, shop, uid(3))
	expect(t, "written before the failure", err, store.ErrNotFound)
}

// What a transaction writes is not seen outside before it commits.
func testTransactionsIsolated(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		must(t, writes(ctx, tx, 1))
		if n := written(t, s, 1); n != 0 {
			t.Errorf("%d of 4 are seen before the commit", n)
		}
		return nil
	}))
	if n := written(t, s, 1); n != 4 {
		t.Errorf("%d of 4 are seen after the commit", n)
	}

	// 32 transactions at once, each of several statements: all are kept.
	all(32, func(n int) {
		err := s.InTx(ctx, func(tx store.Tx) error { return writes(ctx, tx, 100+n) })
		if err != nil {
			t.Errorf("transaction %d: %v", n, err)
		}
	})
	for n := range 32 {
		if got := written(t, s, 100+n); got != 4 {
			t.Errorf("of transaction %d there are %d of 4", n, got)
		}
	}
}

// Transactions that read before they write, through two openings at once: none
// fails for having begun as a reader.
func testTransactionsReadThenWrite(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	stores := []store.Store{s, h.Reopen(t, s)}
	shop := store.ShopScope()
	all(8, func(n int) {
		for round := range 10 {
			err := stores[n%2].InTx(ctx, func(tx store.Tx) error {
				if _, err := tx.Dealers().List(ctx, shop, store.Page{}); err != nil {
					return err
				}
				return tx.Dealers().Insert(ctx, shop, dealer(100*n+round))
			})
			if err != nil {
				t.Errorf("writer %d, round %d: %v", n, round, err)
			}
		}
	})
	list, err := s.Dealers().List(ctx, shop, store.Page{Limit: 200})
	must(t, err)
	same(t, "dealers", len(list.Items), 80)
}
