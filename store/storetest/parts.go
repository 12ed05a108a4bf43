package storetest

import (
	"fmt"
	"sync/atomic"
	"testing"

	"hatchwright/service/record"
	"hatchwright/store"
)

// A derivation is kept once for each owner, but for its lead time; what nobody has any
// more goes with the last that had it.
func testDerivationParts(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	shop := store.ShopScope()
	rows := func(what string, want int64) {
		t.Helper()
		n, err := h.Raw(ctx, s, shop, "select 1 from derivation_parts")
		must(t, err)
		same(t, what, n, want)
	}
	derivation := func(lead int) []byte {
		return []byte(fmt.Sprintf(`{"geometry":{"x":1},"lead_time":{"p50":"%d"},"cautions":[]}`, lead))
	}
	kept := map[int]record.Configuration{}
	keep := func(n, lead int, c record.Configuration) {
		t.Helper()
		c.Derivation = derivation(lead)
		must(t, s.Configurations().Insert(ctx, shop, c))
		kept[n] = c
	}
	keep(20, 1, configuration(20, a))
	rows("the first", 3)
	keep(21, 1, configuration(21, a))
	rows("the same again", 3)
	keep(22, 2, configuration(22, a))
	rows("with another lead time", 4)
	keep(23, 1, configuration(23, b))
	rows("another dealer's", 7)
	keep(24, 1, configuration(24, nil))
	rows("the shop's", 10)
	for n, want := range kept {
		got, err := s.Configurations().Get(ctx, shop, uid(n))
		must(t, err)
		same(t, "configuration", got, want)
	}
	if h.RowSecurity {
		n, err := h.Raw(ctx, s, store.DealerScope(*b), "select 1 from derivation_parts")
		must(t, err)
		same(t, "parts that another dealer sees", n, 3)
	}
	for _, c := range []struct{ removed, left int }{{1, 10}, {1, 10}, {1, 6}, {2, 0}} {
		n, err := s.Retention().RemoveConfigurations(ctx, shop, at(1000), c.removed)
		must(t, err)
		same(t, "removed", n, c.removed)
		if c.left == 10 && n == 1 { // 20 and 21 had the same; 22 has the rest of it
			continue
		}
		rows("after a removal", int64(c.left))
	}
	var failed atomic.Int32
	all(20, func(n int) { // at once with the removal of the last that has them
		c := configuration(100+n, a)
		c.Derivation = derivation(1)
		if err := s.Configurations().Insert(ctx, shop, c); err != nil {
			failed.Add(1)
			t.Errorf("keep %d: %v", n, err)
		}
		if _, err := s.Retention().RemoveConfigurations(ctx, shop, at(100+n), 1); err != nil {
			t.Errorf("remove beside %d: %v", n, err)
		}
	})
	same(t, "failed", int(failed.Load()), 0)
}
