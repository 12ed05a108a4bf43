package storetest

import (
	"context"
	"testing"

	"hatchwright/service/record"
	"hatchwright/store"
)

// calls is every method of a store.
func calls(s store.Store) map[string]func(context.Context) error {
	shop := store.ShopScope()
	second := func(_ any, err error) error { return err }
	return map[string]func(context.Context) error{
		"Ping":                  func(c context.Context) error { return s.Ping(c) },
		"Version":               func(c context.Context) error { _, _, err := s.Version(c); return err },
		"Migrate":               func(c context.Context) error { return second(s.Migrate(c)) },
		"InTx":                  func(c context.Context) error { return s.InTx(c, func(store.Tx) error { return nil }) },
		"Dealers.Insert":        func(c context.Context) error { return s.Dealers().Insert(c, shop, dealer(1)) },
		"Dealers.Get":           func(c context.Context) error { return second(s.Dealers().Get(c, shop, uid(1))) },
		"Dealers.List":          func(c context.Context) error { return second(s.Dealers().List(c, shop, store.Page{})) },
		"Keys.Insert":           func(c context.Context) error { return s.Keys().Insert(c, shop, key(1, nil)) },
		"Keys.InsertFirst":      func(c context.Context) error { return second(s.Keys().InsertFirst(c, shopKey(1))) },
		"Keys.ByHash":           func(c context.Context) error { return second(s.Keys().ByHash(c, record.KeyHash("x"))) },
		"Keys.List":             func(c context.Context) error { return second(s.Keys().List(c, shop, store.KeyFilter{}, store.Page{})) },
		"Keys.Revoke":           func(c context.Context) error { return second(s.Keys().Revoke(c, shop, uid(1), at(0))) },
		"Keys.Get":              func(c context.Context) error { return second(s.Keys().Get(c, shop, uid(1))) },
		"Keys.HoldShop":         func(c context.Context) error { return second(s.Keys().HoldShop(c)) },
		"Keys.Line":             func(c context.Context) error { return second(s.Keys().Line(c, shop, uid(1), at(0))) },
		"Keys.Expire":           func(c context.Context) error { return second(s.Keys().Expire(c, shop, uid(1), at(0))) },
		"Keys.Spend":            func(c context.Context) error { _, _, err := s.Keys().Spend(c, uid(1), "2027-03-01", 1); return err },
		"Keys.TouchLastUsed":    func(c context.Context) error { return s.Keys().TouchLastUsed(c, uid(1), at(0)) },
		"Configurations.Insert": func(c context.Context) error { return s.Configurations().Insert(c, shop, configuration(1, nil)) },
		"Configurations.Get":    func(c context.Context) error { return second(s.Configurations().Get(c, shop, uid(1))) },
		"Configurations.List": func(c context.Context) error {
			return second(s.Configurations().List(c, shop, store.ConfigurationFilter{}, store.Page{}))
		},
		"ShopDocuments.Put": func(c context.Context) error {
			return second(s.ShopDocuments().Put(c, shop, record.ShopDocument{Kind: "kind 1", Body: []byte("{}"), CreatedAt: at(0)}, 0))
		},
		"ShopDocuments.Latest": func(c context.Context) error { return second(s.ShopDocuments().Latest(c, "kind 1")) },
		"ShopDocuments.Get":    func(c context.Context) error { return second(s.ShopDocuments().Get(c, "kind 1", 1)) },
		"ShopDocuments.List":   func(c context.Context) error { return second(s.ShopDocuments().List(c, "kind 1", store.Page{})) },
		"Idempotency.Begin":    func(c context.Context) error { return second(s.Idempotency().Begin(c, shop, claim(1))) },
		"Idempotency.Finish":   func(c context.Context) error { return s.Idempotency().Finish(c, shop, claim(1), answer()) },
		"Idempotency.Abandon":  func(c context.Context) error { return s.Idempotency().Abandon(c, shop, claim(1)) },
		"Idempotency.Renew":    func(c context.Context) error { return s.Idempotency().Renew(c, shop, claim(1), at(9)) },
		"Free":                 func(c context.Context) error { return second(s.Free(c)) },
		"Idempotency.Sweep":    func(c context.Context) error { return second(s.Idempotency().Sweep(c, at(0), 1)) },
		"Orders.Hold":          func(c context.Context) error { return second(s.Orders().Hold(c, shop, uid(1))) },
		"Molds.Insert":         func(c context.Context) error { return s.Molds().Insert(c, shop, mold(1, nil)) },
		"Molds.Get":            func(c context.Context) error { return second(s.Molds().Get(c, shop, uid(1))) },
		"Molds.Update":         func(c context.Context) error { return s.Molds().Update(c, shop, mold(1, nil), 1) },
		"Molds.Exact":          func(c context.Context) error { return second(s.Molds().Exact(c, shop, []string{"x"})) },
		"Molds.Near":           func(c context.Context) error { return second(s.Molds().Near(c, shop, around(1, 5), 1)) },
		"Molds.OfSets":         func(c context.Context) error { return second(s.Molds().OfSets(c, shop, []string{"x"})) },
		"Molds.List": func(c context.Context) error {
			return second(s.Molds().List(c, shop, store.MoldFilter{}, store.Page{}))
		},
		"Stock.InsertLot": func(c context.Context) error { return s.Stock().InsertLot(c, shop, lot(1)) },
		"Stock.Hold":      func(c context.Context) error { _, _, err := s.Stock().Hold(c, shop, uid(1), nil); return err },
		"Stock.Move":      func(c context.Context) error { return s.Stock().Move(c, shop, moveOf(1, 1, 5, nil)) },
		"Stock.Lots":      func(c context.Context) error { return second(s.Stock().Lots(c, shop, store.LotFilter{}, store.Page{})) },
		"Stock.Moves": func(c context.Context) error {
			return second(s.Stock().Moves(c, shop, store.MoveFilter{}, store.Page{}))
		},
		"Stock.OnHand":       func(c context.Context) error { return second(s.Stock().OnHand(c, shop)) },
		"Stock.Kept":         func(c context.Context) error { return second(s.Stock().Kept(c, shop)) },
		"Stock.Reservations": func(c context.Context) error { return second(s.Stock().Reservations(c, shop, nil)) },
		"Plans.Put":          func(c context.Context) error { return s.Plans().Put(c, shop, plan(1)) },
		"Plans.Get":          func(c context.Context) error { return second(s.Plans().Get(c, shop, uid(1))) },
		"Plans.Open":         func(c context.Context) error { return second(s.Plans().Open(c, shop)) },
		"Plans.Finish":       func(c context.Context) error { return s.Plans().Finish(c, shop, plan(1)) },
		"Plans.Outcomes":     func(c context.Context) error { return second(s.Plans().Outcomes(c, shop, 1)) },
		"Plans.Observe":      func(c context.Context) error { return second(s.Plans().Observe(c, shop, observation(1, 1))) },
		"Plans.Observations": func(c context.Context) error { return second(s.Plans().Observations(c, shop, 1)) },
	}
}

// A context that has ended ends every call, with its own error, and nothing is
// written.
func testContexts(t *testing.T, h Harness) {
	s := h.Migrated(t)
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	late, cancel := context.WithDeadline(t.Context(), epoch.AddDate(-20, 0, 0))
	defer cancel()
	for name, call := range calls(s) {
		expect(t, name, call(ended), context.Canceled)
		expect(t, name, call(late), context.DeadlineExceeded)
	}
	if n := written(t, s, 1); n != 0 {
		t.Errorf("%d records were written all the same", n)
	}
	must(t, writes(t.Context(), s, 1))
}

// A closed store says that it is unavailable, to every call.
func testClosed(t *testing.T, h Harness) {
	s := h.Migrated(t)
	must(t, s.Ping(t.Context()))
	must(t, s.Close())
	for name, call := range calls(s) {
		expect(t, name, call(t.Context()), store.ErrUnavailable)
	}
	must(t, s.Close())
}
