package api

import (
	"context"
	"fmt"
	"net/http"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// faulty is the real store, but for one method that fails while it is told to.
type faulty struct {
	store.Store
	method string
	down   *atomic.Bool
}

func (f faulty) fails(method string) error {
	if f.down.Load() && (f.method == method || f.method == "all") {
		return fmt.Errorf("%s: connection refused: %w", method, store.ErrUnavailable)
	}
	return nil
}

func (f faulty) Ping(ctx context.Context) error {
	if err := f.fails("ping"); err != nil {
		return err
	}
	return f.Store.Ping(ctx)
}

func (f faulty) Keys() store.Keys { return faultyKeys{f.Store.Keys(), f} }

type faultyKeys struct {
	store.Keys
	f faulty
}

func (k faultyKeys) ByHash(ctx context.Context, hash []byte) (record.Key, error) {
	if err := k.f.fails("by hash"); err != nil {
		return record.Key{}, err
	}
	return k.Keys.ByHash(ctx, hash)
}

func (k faultyKeys) TouchLastUsed(ctx context.Context, id uuid.UUID, at time.Time) error {
	if err := k.f.fails("touch"); err != nil {
		return err
	}
	return k.Keys.TouchLastUsed(ctx, id, at)
}

func (f faulty) Idempotency() store.Idempotency { return faultyIdempotency{f.Store.Idempotency(), f} }

type faultyIdempotency struct {
	store.Idempotency
	f faulty
}

func (i faultyIdempotency) Begin(ctx context.Context, s store.Scope, c record.IdempotencyClaim) (store.Begun, error) {
	if err := i.f.fails("begin"); err != nil {
		return store.Begun{}, err
	}
	return i.Idempotency.Begin(ctx, s, c)
}

func (i faultyIdempotency) Finish(ctx context.Context, s store.Scope, c record.IdempotencyClaim, a record.Answer) error {
	if err := i.f.fails("finish"); err != nil {
		return err
	}
	return i.Idempotency.Finish(ctx, s, c, a)
}

// InTx hands out a transaction with the same fault.
func (f faulty) InTx(ctx context.Context, fn func(store.Tx) error) error {
	if err := f.fails("transaction"); err != nil {
		return err
	}
	return f.Store.InTx(ctx, func(tx store.Tx) error {
		if err := fn(faultyTx{tx, f}); err != nil {
			return err
		}
		return f.fails("commit") // the real transaction is undone
	})
}

type faultyTx struct {
	store.Tx
	f faulty
}

func (t faultyTx) Idempotency() store.Idempotency { return faultyIdempotency{t.Tx.Idempotency(), t.f} }

func (t faultyTx) Configurations() store.Configurations {
	return faultyConfigurations{t.Tx.Configurations(), t.f}
}

type faultyConfigurations struct {
	store.Configurations
	f faulty
}

func (c faultyConfigurations) Insert(ctx context.Context, s store.Scope, k record.Configuration) error {
	if err := c.f.fails("insert"); err != nil {
		return err
	}
	return c.Configurations.Insert(ctx, s, k)
}

// TestStoreAway takes the store away at each step of keeping a configuration:
// 503 with Retry-After, nothing half written, and the same key and body work once
// the store is back.
func TestStoreAway(t *testing.T) {
	for _, method := range []string{"by hash", "begin", "transaction", "insert", "finish", "commit", "all"} {
		t.Run(method, func(t *testing.T) {
			var down atomic.Bool
			b := newBenchWith(t, options{wrap: func(s store.Store) store.Store { return faulty{s, method, &down} }})
			body := `{"reference":"BM-1","configuration":` + small + `}`
			down.Store(true)
			for range 2 {
				a := b.keep(b.shop, body, "Idempotency-Key", "once")
				if p := a.problem(t); a.status != http.StatusServiceUnavailable || p.Type != "/problems/unavailable" || a.header.Get("Retry-After") == "" {
					t.Fatalf("%d %s", a.status, a.body)
				}
			}
			if a := b.keep(b.shop, body); a.status != http.StatusServiceUnavailable && method != "begin" && method != "finish" {
				t.Errorf("without a key: %d %s", a.status, a.body)
			}
			down.Store(false)
			n := kept(t, b, b.shop)
			if want := map[string]int{"begin": 1, "finish": 1}[method]; n != want {
				t.Errorf("%d kept while the store was away, want %d", n, want)
			}
			a := b.keep(b.shop, body, "Idempotency-Key", "once")
			again := b.keep(b.shop, body, "Idempotency-Key", "once")
			if a.status != http.StatusCreated || string(again.body) != string(a.body) {
				t.Errorf("once it is back: %d %s", a.status, a.body)
			}
			if got := kept(t, b, b.shop); got != n+1 {
				t.Errorf("%d kept, want %d", got, n+1)
			}
		})
	}
}

// TestNoteOfUseIsNotNeeded goes on serving when the last use of a key cannot be
// noted.
func TestNoteOfUseIsNotNeeded(t *testing.T) {
	var down atomic.Bool
	b := newBenchWith(t, options{wrap: func(s store.Store) store.Store { return faulty{s, "touch", &down} }})
	down.Store(true)
	if a := b.send(http.MethodPost, "/v1/check", b.shop, small); a.status != http.StatusOK {
		t.Errorf("%d %s", a.status, a.body)
	}
}

func TestReadiness(t *testing.T) {
	var down atomic.Bool
	b := newBenchWith(t, options{wrap: func(s store.Store) store.Store { return faulty{s, "ping", &down} }})
	if a := b.send(http.MethodGet, "/readyz", "", ""); a.status != http.StatusOK {
		t.Errorf("%d %s", a.status, a.body)
	}
	down.Store(true)
	if a := b.send(http.MethodGet, "/readyz", "", ""); a.status != http.StatusServiceUnavailable || a.header.Get("Retry-After") == "" {
		t.Errorf("store away: %d %s", a.status, a.body)
	}
	if a := b.send(http.MethodGet, "/healthz", "", ""); a.status != http.StatusOK {
		t.Errorf("alive: %d %s", a.status, a.body)
	}
	down.Store(false)
	b.api.Drain()
	if a := b.send(http.MethodGet, "/readyz", "", ""); a.status != http.StatusServiceUnavailable {
		t.Errorf("draining: %d %s", a.status, a.body)
	}
	if a := b.send(http.MethodPost, "/v1/check", b.shop, small); a.status != http.StatusOK {
		t.Errorf("requests while draining: %d", a.status)
	}
}

// TestClosedStore closes the real store under the running service.
func TestClosedStore(t *testing.T) {
	b := newBench(t)
	if err := b.store.Close(); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/v1/check", "/v1/derive"} {
		if a := b.send(http.MethodPost, path, b.shop, small); a.status != http.StatusServiceUnavailable || a.header.Get("Retry-After") == "" {
			t.Errorf("%s: %d %s", path, a.status, a.body)
		}
	}
}
