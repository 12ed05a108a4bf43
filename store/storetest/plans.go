package storetest

import (
	"errors"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/civil"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// day is the local day of the suite.
var day = civil.Date{Year: 2027, Month: time.March, Day: 1}

var errNobody = errors.New("reserved for nobody")

func isRefusal(err error) bool {
	var r *stockroom.Refusal
	return errors.As(err, &r)
}

func plan(order int) record.OrderPlan {
	return record.OrderPlan{OrderID: uid(order), SchemaVersion: 1, Body: []byte(`{"steps": [1.50]}`), PlannedAt: at(order), P50: ptr(at(1000)), P80: ptr(at(2000)), P95: ptr(at(3000))}
}

func observation(order, n int) record.Observation {
	return record.Observation{OrderID: uid(order), Operation: "1-lid-" + string(rune('a'+n)), Kind: "trim", Estimate: 1.25, Actual: 1.5, FinishedAt: at(n)}
}

func testPlans(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	expect(t, "no such order", s.Plans().Put(ctx, shop, plan(5)), store.ErrNotFound)
	bare := plan(6)
	bare.P50, bare.P80, bare.P95 = nil, nil, nil
	for n, p := range map[int]record.OrderPlan{5: plan(5), 6: bare, 7: plan(7)} {
		ordered(t, s, n)
		must(t, s.Plans().Put(ctx, shop, p))
		got, err := s.Plans().Get(ctx, shop, uid(n))
		must(t, err)
		same(t, "plan", got, p)
	}
	expect(t, "twice", s.Plans().Put(ctx, shop, plan(5)), store.ErrConflict)
	half := plan(5)
	half.P95 = nil
	expect(t, "half the percentiles", s.Plans().Put(ctx, shop, half), store.ErrInvalid)
	_, err := s.Plans().Get(ctx, shop, uid(99))
	expect(t, "an unknown plan", err, store.ErrNotFound)

	open, err := s.Plans().Open(ctx, shop)
	must(t, err)
	same(t, "open", open, []record.OrderPlan{plan(5), bare, plan(7)})
	for state, there := range map[record.OrderState]bool{record.OrderReady: true, record.OrderInWork: true, record.OrderCancelled: false, record.OrderShipped: true} {
		o, err := s.Orders().Get(ctx, shop, uid(5))
		must(t, err)
		before := o.Version
		o.State, o.Version = state, before+1
		must(t, s.Orders().Update(ctx, shop, o, before))
		open, err := s.Plans().Open(ctx, shop)
		must(t, err)
		same(t, "open when "+string(state), len(open) == 3, there)
	}

	// The first finish stays; outcomes are the last first, with their percentiles.
	for _, f := range []struct{ order, at int }{{5, 1500}, {5, 9000}, {6, 1600}, {7, 1700}} {
		must(t, s.Plans().Finish(ctx, shop, record.OrderPlan{OrderID: uid(f.order), FinishedAt: ptr(at(f.at))}))
	}
	expect(t, "finish of an unknown plan", s.Plans().Finish(ctx, shop, record.OrderPlan{OrderID: uid(99), FinishedAt: ptr(at(1))}), store.ErrNotFound)
	open, err = s.Plans().Open(ctx, shop)
	must(t, err)
	same(t, "open after the finishes", open, []record.OrderPlan{})
	first, last := plan(5), plan(7)
	first.FinishedAt, last.FinishedAt, first.Body, last.Body = ptr(at(1500)), ptr(at(1700)), nil, nil
	for limit, want := range map[int][]record.OrderPlan{0: {}, 1: {last}, 10: {last, first}} {
		out, err := s.Plans().Outcomes(ctx, shop, limit)
		must(t, err)
		same(t, "outcomes", out, want)
	}
}

func testObservations(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	_, err := s.Plans().Observe(ctx, shop, observation(5, 1))
	expect(t, "no such order", err, store.ErrNotFound)
	ordered(t, s, 5)
	for _, n := range []int{3, 1, 2} {
		fresh, err := s.Plans().Observe(ctx, shop, observation(5, n))
		must(t, err)
		same(t, "fresh", fresh, true)
	}
	again := observation(5, 2)
	again.Actual = 99
	fresh, err := s.Plans().Observe(ctx, shop, again)
	must(t, err)
	same(t, "fresh the second time", fresh, false)
	for what, change := range map[string]func(*record.Observation){
		"no kind": func(o *record.Observation) { o.Kind = "" }, "no hours": func(o *record.Observation) { o.Actual = 0 }, "no estimate": func(o *record.Observation) { o.Estimate = -1 },
	} {
		o := observation(5, 4)
		change(&o)
		_, err := s.Plans().Observe(ctx, shop, o)
		expect(t, what, err, store.ErrInvalid)
	}
	for limit, want := range map[int][]record.Observation{0: {}, 2: {observation(5, 2), observation(5, 3)}, 9: {observation(5, 1), observation(5, 2), observation(5, 3)}} {
		got, err := s.Plans().Observations(ctx, shop, limit)
		must(t, err)
		same(t, "observations", got, want)
	}
	a, _ := withDealers(t, s)
	for _, scope := range []store.Scope{{}, store.HouseScope(), store.DealerScope(*a)} {
		expect(t, "put", s.Plans().Put(ctx, scope, plan(5)), store.ErrOutOfScope)
		_, err := s.Plans().Observe(ctx, scope, observation(5, 8))
		expect(t, "observe", err, store.ErrOutOfScope)
		_, err = s.Plans().Get(ctx, scope, uid(5))
		expect(t, "get", err, store.ErrNotFound)
		expect(t, "finish", s.Plans().Finish(ctx, scope, record.OrderPlan{OrderID: uid(5), FinishedAt: ptr(at(1))}), store.ErrNotFound)
		open, err := s.Plans().Open(ctx, scope)
		must(t, err)
		out, err := s.Plans().Outcomes(ctx, scope, 9)
		must(t, err)
		seen, err := s.Plans().Observations(ctx, scope, 9)
		must(t, err)
		same(t, "seen by "+scope.String(), len(open)+len(out)+len(seen), 0)
	}
}

// The database itself keeps dealers from the stock, the plans and others' molds.
func testRowSecurityOfTheFloor(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	shop := store.ShopScope()
	o := ordered(t, s, 5)
	for n, owner := range []*uuid.UUID{nil, a, b} {
		must(t, s.Molds().Insert(ctx, shop, mold(10+n, owner)))
	}
	must(t, received(ctx, s, 10, 1000))
	must(t, s.Stock().Move(ctx, shop, moveOf(11, 10, 1, o)))
	must(t, s.Plans().Put(ctx, shop, plan(5)))
	must(t, s.Molds().Reserve(ctx, shop, record.MoldReservation{OrderID: *o, MoldID: uid(11), Pulls: 1}))
	_, err := s.Plans().Observe(ctx, shop, observation(5, 1))
	must(t, err)
	for _, c := range []struct {
		scope store.Scope
		molds int64
	}{{store.Scope{}, 0}, {store.HouseScope(), 1}, {store.DealerScope(*a), 2}, {shop, 3}} {
		n, err := h.Raw(ctx, s, c.scope, "select 1 from molds")
		must(t, err)
		same(t, "molds seen by "+c.scope.String(), n, c.molds)
		for _, table := range []string{"stock_lots", "stock_reservations", "order_plans", "observations", "mold_reservations"} {
			n, err := h.Raw(ctx, s, c.scope, "select 1 from "+table)
			must(t, err)
			if (n > 0) != c.scope.Whole() {
				t.Errorf("%s sees %d rows of %s", c.scope, n, table)
			}
		}
		if !c.scope.Whole() {
			for _, statement := range []string{"update molds set note = 'x'", "delete from molds", "update stock_lots set on_hand = 0", "update order_plans set finished_at = null",
				"update mold_reservations set pulls = 0"} {
				n, err := h.Raw(ctx, s, c.scope, statement)
				if err == nil && n > 0 {
					t.Errorf("%s: %s changed %d rows", c.scope, statement, n)
				}
			}
		}
	}
}
