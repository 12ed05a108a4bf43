package service

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"hatchwright/service/fault"
	"hatchwright/service/record"
)

// Storefronts leave one place to the others; who waits gets the next that is left,
// and after the wait is refused.
func TestGate(t *testing.T) {
	front, shop := Caller{Role: record.RoleStorefront}, Caller{Role: record.RoleShop}
	synctest.Test(t, func(t *testing.T) {
		g := newGate(3)
		ctx := context.Background()
		enter := func(c Caller) func() {
			t.Helper()
			leave, err := g.enter(ctx, c)
			if err != nil {
				t.Fatal(err)
			}
			return leave
		}
		one, two := enter(front), enter(front)
		start := time.Now()
		if _, err := g.enter(ctx, front); fault.KindOf(err) != fault.Busy || time.Since(start) != gateWait {
			t.Errorf("a third storefront: %v after %v", err, time.Since(start))
		}
		three := enter(shop) // the place that is left for it
		start = time.Now()
		if _, err := g.enter(ctx, shop); fault.KindOf(err) != fault.Busy || time.Since(start) != gateWait {
			t.Errorf("a fourth: %v after %v", err, time.Since(start))
		}
		// A turn that comes is taken at once.
		go func() { time.Sleep(gateWait / 2); one() }()
		start = time.Now()
		four := enter(shop)
		if time.Since(start) != gateWait/2 {
			t.Errorf("the turn came after %v", time.Since(start))
		}
		// A storefront that may and finds no place gives its turn back.
		if _, err := g.enter(ctx, front); fault.KindOf(err) != fault.Busy {
			t.Errorf("no place: %v", err)
		}
		ended, cancel := context.WithCancel(ctx)
		cancel()
		if _, err := g.enter(ended, front); fault.KindOf(err) != fault.Canceled {
			t.Errorf("nobody waits any more: %v", err)
		}
		two()
		three()
		four()
		if len(g.places) != 0 || len(g.fronts) != 0 {
			t.Errorf("%d and %d are still taken", len(g.places), len(g.fronts))
		}
		for range 10 {
			enter(front)()
		}
	})
	if leave, err := newGate(0).enter(context.Background(), front); err != nil {
		t.Error(err)
	} else {
		leave()
	}
}
