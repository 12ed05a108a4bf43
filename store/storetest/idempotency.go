package storetest

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"hatchwright/service/record"
	"hatchwright/store"
)

// The outcomes over the life of a key, step by step. Each step is an attempt with
// its own token, at its own time.
func testIdempotency(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	scope := store.HouseScope()
	idem := s.Idempotency()
	attempt := func(n, ms int, change func(*record.IdempotencyClaim)) record.IdempotencyClaim {
		c := claim(n)
		c.CreatedAt, c.LockedUntil, c.ExpiresAt = at(ms), at(ms+1000), at(ms+10_000)
		if change != nil {
			change(&c)
		}
		return c
	}
	begin := func(what string, c record.IdempotencyClaim, want store.Outcome) store.Begun {
		t.Helper()
		got, err := idem.Begin(ctx, scope, c)
		must(t, err)
		if got.Outcome != want {
			t.Errorf("%s: %v, want %v", what, got.Outcome, want)
		}
		return got
	}
	otherBody := func(c *record.IdempotencyClaim) { c.BodyHash = record.KeyHash("other") }
	running := func(c record.IdempotencyClaim) record.IdempotencyRecord {
		return record.IdempotencyRecord{IdempotencyClaim: c, State: record.IdempotencyRunning}
	}

	first := attempt(1, 0, nil)
	same(t, "a new key", begin("a new key", first, store.Fresh).Record, running(first))
	same(t, "the claim found", begin("while it runs", attempt(2, 999, nil), store.Running).Record, running(first))
	same(t, "the claim found", begin("another request while it runs", attempt(3, 500, otherBody), store.Other).Record, running(first))
	begin("another request past the lock", attempt(3, 5000, otherBody), store.Other)
	second := attempt(4, 1000, nil)
	same(t, "taken over", begin("past its lock", second, store.Fresh).Record, running(second))
	expect(t, "the first finishes after all", idem.Finish(ctx, scope, first, answer()), store.ErrLostClaim)
	expect(t, "the first abandons", idem.Abandon(ctx, scope, first), nil)
	begin("still held by the second", attempt(5, 1500, nil), store.Running)

	expect(t, "the second finishes", idem.Finish(ctx, scope, second, answer()), nil)
	expect(t, "the second finishes twice", idem.Finish(ctx, scope, second, answer()), store.ErrLostClaim)
	expect(t, "the second abandons", idem.Abandon(ctx, scope, second), nil)
	want := record.IdempotencyRecord{IdempotencyClaim: second, State: record.IdempotencyDone, Answer: answer()}
	for _, ms := range []int{1600, 10_999} { // also past the lock
		same(t, "the answer", begin("answered", attempt(6, ms, nil), store.Stored).Record, want)
	}
	begin("another request after the answer", attempt(7, 3000, otherBody), store.Other)

	third := attempt(8, 11_000, otherBody)
	same(t, "the key again", begin("expired", third, store.Fresh).Record, running(third))
	begin("the old request", attempt(9, 11_001, nil), store.Other)
	expect(t, "the third abandons", idem.Abandon(ctx, scope, third), nil)
	begin("abandoned", attempt(10, 11_002, nil), store.Fresh)

	other := attempt(11, 0, func(c *record.IdempotencyClaim) { c.Key = "another key" })
	begin("another key", other, store.Fresh)
	never := other
	never.Key = "no such key"
	expect(t, "a claim that never was", idem.Finish(ctx, scope, never, answer()), store.ErrLostClaim)
	expect(t, "an answer with nothing in it", idem.Finish(ctx, scope, other, record.Answer{Status: 204}), nil)
	got := begin("answered with nothing", attempt(12, 1, func(c *record.IdempotencyClaim) { c.Key = "another key" }), store.Stored)
	if a := got.Record.Answer; a.Status != 204 || len(a.Header) != 0 || len(a.Body) != 0 {
		t.Errorf("the answer is %s", show(a))
	}
}

// The same key of another caller, or for another method or route, is another key.
func testIdempotencyCallers(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	scope := store.HouseScope()
	claims := map[string]record.IdempotencyClaim{"the first": claim(1)}
	for n, k := range []struct {
		name   string
		change func(*record.IdempotencyClaim)
	}{
		{"another caller", func(c *record.IdempotencyClaim) { c.Caller = "key:" + uid(2).String() }},
		{"another method", func(c *record.IdempotencyClaim) { c.Method = "PUT" }},
		{"another route", func(c *record.IdempotencyClaim) { c.Route = "/v1/quotes" }},
	} {
		c := claim(10 + n)
		k.change(&c)
		c.BodyHash = record.KeyHash(k.name)
		claims[k.name] = c
	}
	for name, c := range claims {
		got, err := s.Idempotency().Begin(ctx, scope, c)
		must(t, err)
		if got.Outcome != store.Fresh {
			t.Errorf("%s: %v, want fresh", name, got.Outcome)
		}
	}
	for name, c := range claims {
		a := answer()
		a.Body = []byte(name)
		must(t, s.Idempotency().Finish(ctx, scope, c, a))
	}
	for name, c := range claims {
		got, err := s.Idempotency().Begin(ctx, scope, c)
		must(t, err)
		if got.Outcome != store.Stored || string(got.Record.Answer.Body) != name {
			t.Errorf("%s: %v with the answer %q, want stored with its own", name, got.Outcome, got.Record.Answer.Body)
		}
	}
}

// A claim lasts as long as it is renewed; one that was lost is not renewed. What is
// sealed comes back as it was.
func testIdempotencyRenewal(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	scope, idem := store.HouseScope(), s.Idempotency()
	at30 := func(n, ms int) record.IdempotencyClaim {
		c := claim(n)
		c.CreatedAt, c.LockedUntil = at(ms), at(ms+30_000)
		return c
	}
	begin := func(what string, c record.IdempotencyClaim, want store.Outcome) store.Begun {
		t.Helper()
		got, err := idem.Begin(ctx, scope, c)
		must(t, err)
		if got.Outcome != want {
			t.Errorf("%s: %v, want %v", what, got.Outcome, want)
		}
		return got
	}
	first := at30(1, 0)
	begin("new", first, store.Fresh)
	must(t, idem.Renew(ctx, scope, first, at(40_000)))
	found := begin("past the first lock, renewed", at30(2, 39_999), store.Running)
	same(t, "the lock that is told", found.Record.LockedUntil, at(40_000))
	second := at30(3, 40_000)
	begin("lapsed", second, store.Fresh)
	expect(t, "the first renews", idem.Renew(ctx, scope, first, at(99_000)), store.ErrLostClaim)
	expect(t, "the first finishes", idem.Finish(ctx, scope, first, answer()), store.ErrLostClaim)
	begin("the second's lock is its own", at30(4, 70_000), store.Fresh)
	expect(t, "the second renews", idem.Renew(ctx, scope, second, at(99_000)), store.ErrLostClaim)
	third := at30(4, 70_000)
	sealed := answer()
	sealed.Sealed = "sealed:AAAA"
	must(t, idem.Finish(ctx, scope, third, sealed))
	expect(t, "renewed when it is answered", idem.Renew(ctx, scope, third, at(99_000)), store.ErrLostClaim)
	same(t, "the answer", begin("answered", at30(5, 71_000), store.Stored).Record.Answer, sealed)
	// Nothing of it is left with the next claim of the key.
	next := at30(6, 86_500_000)
	next.ExpiresAt = at(99_000_000)
	begin("expired", next, store.Fresh)
	must(t, idem.Finish(ctx, scope, next, answer()))
	same(t, "the next answer", begin("answered", next, store.Stored).Record.Answer, answer())
}

// What a process left in hand, claims and deliveries, is freed by the next one that has
// the store for itself, once, and where the engine can tell; what is answered stays.
func testIdempotencyFree(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	scope := store.HouseScope()
	done := claim(2)
	done.Key = "answered"
	for _, c := range []record.IdempotencyClaim{claim(1), done} {
		_, err := s.Idempotency().Begin(ctx, scope, c)
		must(t, err)
	}
	must(t, s.Idempotency().Finish(ctx, scope, done, answer()))
	a, _ := withDealers(t, s)
	w, events := withEndpoint(t, s, a, 1)
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		return tx.Deliveries().Insert(ctx, store.ShopScope(), 1, delivery(200, w, events[0]))
	}))
	take := func(s store.Store) int {
		t.Helper()
		got, err := s.Deliveries().Claim(ctx, store.ShopScope(), store.DeliveryClaim{Token: uid(9), Now: at(1000), Until: at(60_000), Limit: 4, PerEndpoint: 4})
		must(t, err)
		return len(got)
	}
	if n := take(s); n != 1 {
		t.Fatalf("%d deliveries are taken in hand, want 1", n)
	}
	free := func(what string, s store.Store, want int) {
		t.Helper()
		got, err := s.Free(ctx)
		must(t, err)
		if got != want {
			t.Errorf("%s: %d were freed, want %d", what, got, want)
		}
	}
	beside := h.Reopen(t, s)
	free("another has it open", beside, 0)
	must(t, s.Close())
	free("a second time", beside, 0)
	must(t, beside.Close())
	next := h.Reopen(t, s)
	left := 0
	if h.Alone {
		left = 2
	}
	free("alone", next, left)
	if n := take(next); (n == 1) != h.Alone {
		t.Errorf("%d deliveries can be taken in hand; the engine knows when it is alone: %t", n, h.Alone)
	}
	begun, err := next.Idempotency().Begin(ctx, scope, claim(3))
	must(t, err)
	if (begun.Outcome == store.Fresh) != h.Alone {
		t.Errorf("the key is %v; the engine knows when it is alone: %t", begun.Outcome, h.Alone)
	}
	free("with a claim of its own", next, 0)
	begun, err = next.Idempotency().Begin(ctx, scope, done)
	must(t, err)
	if begun.Outcome != store.Stored {
		t.Errorf("what was answered is %v, want stored", begun.Outcome)
	}
}

// The same key under different scopes is different keys.
func testIdempotencyScopes(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	scopes := []store.Scope{store.ShopScope(), store.HouseScope(), store.DealerScope(*a), store.DealerScope(*b)}
	for i, scope := range scopes {
		got, err := s.Idempotency().Begin(ctx, scope, claim(100+i))
		must(t, err)
		if got.Outcome != store.Fresh {
			t.Errorf("%v: %v, want fresh", scope, got.Outcome)
		}
	}
	for i := range scopes {
		for j, scope := range scopes {
			if i != j {
				expect(t, fmt.Sprintf("%v finishes %v", scope, scopes[i]), s.Idempotency().Finish(ctx, scope, claim(100+i), answer()), store.ErrLostClaim)
				expect(t, fmt.Sprintf("%v abandons %v", scope, scopes[i]), s.Idempotency().Abandon(ctx, scope, claim(100+i)), nil)
			}
		}
	}
	for i, scope := range scopes {
		expect(t, "own claim", s.Idempotency().Finish(ctx, scope, claim(100+i), answer()), nil)
	}
	_, err := s.Idempotency().Begin(ctx, store.Scope{}, claim(200))
	expect(t, "claim as nobody", err, store.ErrOutOfScope)
}

// 64 attempts at once with the same key, through two openings of the store: one
// does the work, the others are told that it runs or get its answer. Round after
// round.
func testIdempotencyRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	stores := []store.Store{s, h.Reopen(t, s)}
	a, _ := withDealers(t, s)
	scope := store.DealerScope(*a)
	for round := range 5 {
		var fresh, stored, running atomic.Int32
		all(64, func(n int) {
			st := stores[n%2]
			c := claim(1000*round + 10 + n)
			c.Key = fmt.Sprint("round ", round)
			begun, err := st.Idempotency().Begin(ctx, scope, c)
			if err != nil {
				t.Errorf("attempt %d: %v", n, err)
				return
			}
			switch begun.Outcome {
			case store.Fresh:
				fresh.Add(1)
				err := st.InTx(ctx, func(tx store.Tx) error {
					if err := tx.Configurations().Insert(ctx, scope, configuration(1000*round+10+n, a)); err != nil {
						return err
					}
					return tx.Idempotency().Finish(ctx, scope, c, answer())
				})
				if err != nil {
					t.Errorf("attempt %d: the work: %v", n, err)
				}
			case store.Stored:
				stored.Add(1)
				same(t, "the answer", begun.Record.Answer, answer())
			case store.Running:
				running.Add(1)
			default:
				t.Errorf("attempt %d: %v", n, begun.Outcome)
			}
		})
		list, err := s.Configurations().List(ctx, scope, store.ConfigurationFilter{}, store.Page{})
		must(t, err)
		if fresh.Load() != 1 || len(list.Items) != round+1 {
			t.Errorf("round %d: %d did the work (%d stored, %d running), %d records", round, fresh.Load(), stored.Load(), running.Load(), len(list.Items))
		}
	}
}

// 64 attempts at once find the claim of a process that died: one takes it over.
func testIdempotencyTakeoverRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	stores := []store.Store{s, h.Reopen(t, s)}
	for round := range 5 {
		dead := claim(1)
		dead.Key = fmt.Sprint("round ", round)
		_, err := s.Idempotency().Begin(ctx, store.ShopScope(), dead)
		must(t, err)
		var fresh atomic.Int32
		all(64, func(n int) {
			c := claim(10 + n)
			c.Key = dead.Key
			c.CreatedAt, c.LockedUntil = dead.LockedUntil, dead.LockedUntil.Add(1)
			c.LockedUntil = at(120_000)
			begun, err := stores[n%2].Idempotency().Begin(ctx, store.ShopScope(), c)
			switch {
			case err != nil:
				t.Errorf("attempt %d: %v", n, err)
			case begun.Outcome == store.Fresh:
				fresh.Add(1)
			case begun.Outcome != store.Running:
				t.Errorf("attempt %d: %v", n, begun.Outcome)
			}
		})
		if fresh.Load() != 1 {
			t.Errorf("round %d: %d took the claim over", round, fresh.Load())
		}
	}
}

// A slow attempt whose claim was taken over while it worked keeps nothing: its
// work is undone with the transaction, even if it looks past the error.
func testLostClaim(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	scope := store.HouseScope()
	slow, quick := claim(1), claim(2)
	quick.CreatedAt = slow.LockedUntil
	_, err := s.Idempotency().Begin(ctx, scope, slow)
	must(t, err)
	taken, err := s.Idempotency().Begin(ctx, scope, quick)
	must(t, err)
	if taken.Outcome != store.Fresh {
		t.Fatalf("the claim was not taken over: %v", taken.Outcome)
	}
	work := func(n int, c record.IdempotencyClaim, swallow bool) error {
		return s.InTx(ctx, func(tx store.Tx) error {
			if err := tx.Configurations().Insert(ctx, scope, configuration(n, nil)); err != nil {
				return err
			}
			err := tx.Idempotency().Finish(ctx, scope, c, answer())
			if swallow {
				return nil
			}
			return err
		})
	}
	expect(t, "the slow attempt", work(10, slow, false), store.ErrLostClaim)
	expect(t, "the slow attempt, looking past it", work(11, slow, true), store.ErrLostClaim)
	expect(t, "the quick attempt", work(12, quick, false), nil)
	list, err := s.Configurations().List(ctx, scope, store.ConfigurationFilter{}, store.Page{})
	must(t, err)
	if len(list.Items) != 1 || list.Items[0].ID != uid(12) {
		t.Errorf("kept: %s", show(list.Items))
	}

	// The two at once: whoever gets to the row first decides for both.
	for round := range 10 {
		slow, quick := claim(100+2*round), claim(101+2*round)
		slow.Key = fmt.Sprint("round ", round)
		quick.Key, quick.CreatedAt = slow.Key, slow.LockedUntil
		_, err := s.Idempotency().Begin(ctx, scope, slow)
		must(t, err)
		var finished error
		var begun store.Begun
		var wait sync.WaitGroup
		wait.Go(func() { finished = work(1000+round, slow, false) })
		wait.Go(func() { begun, err = s.Idempotency().Begin(ctx, scope, quick) })
		wait.Wait()
		must(t, err)
		switch _, kept := s.Configurations().Get(ctx, scope, uid(1000+round)); begun.Outcome {
		case store.Fresh:
			expect(t, "finish after the takeover", finished, store.ErrLostClaim)
			expect(t, "its work", kept, store.ErrNotFound)
		case store.Stored:
			expect(t, "finish before the takeover", finished, nil)
			expect(t, "its work", kept, nil)
		default:
			t.Errorf("round %d: %v", round, begun.Outcome)
		}
	}
}

func testSweep(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, _ := withDealers(t, s)
	scopes := []store.Scope{store.ShopScope(), store.HouseScope(), store.DealerScope(*a)}
	for n := range 30 {
		c := claim(100 + n)
		c.Key, c.ExpiresAt = fmt.Sprint(n), at(1000+n)
		_, err := s.Idempotency().Begin(ctx, scopes[n%3], c)
		must(t, err)
		if n%2 == 0 {
			must(t, s.Idempotency().Finish(ctx, scopes[n%3], c, answer()))
		}
	}
	for _, step := range []struct{ now, limit, want int }{
		{999, 100, 0}, {1000, 100, 1}, {1009, 4, 4}, {1009, 0, 0}, {1009, -1, 0}, {1009, 100, 5}, {1009, 100, 0}, {1019, 100, 10}, {9999, 7, 7}, {9999, 7, 3},
	} {
		got, err := s.Idempotency().Sweep(ctx, at(step.now), step.limit)
		must(t, err)
		if got != step.want {
			t.Errorf("sweep at %d of %d: %d went, want %d", step.now, step.limit, got, step.want)
		}
	}
}
