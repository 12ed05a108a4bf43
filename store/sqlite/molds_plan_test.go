package sqlite

import (
	"context"
	"strings"
	"testing"

	"github.com/google/uuid"

	"hatchwright/store"
)

// Near molds are found through the index of sizes, whoever asks: by class, strip and
// the range of the short side, not by reading the register.
func TestNearMoldsUseTheIndex(t *testing.T) {
	s := migrated(t)
	for name, scope := range map[string]store.Scope{"shop": store.ShopScope(), "dealer": store.DealerScope(uuid.Max), "house": store.HouseScope()} {
		query, args := nearMolds(scope, store.MoldBounds{Class: "receiver/plug/flush-ledge", Strips: []int{10, 11}, ShortLeast: 375, ShortMost: 385, LongLeast: 515, LongMost: 525}, 100)
		rows, err := s.read.QueryContext(context.Background(), "explain query plan "+query, args...)
		if err != nil {
			t.Fatal(err)
		}
		var plan []string
		for rows.Next() {
			var id, parent, unused int
			var detail string
			if err := rows.Scan(&id, &parent, &unused, &detail); err != nil {
				t.Fatal(err)
			}
			plan = append(plan, detail)
		}
		if err := rows.Close(); err != nil {
			t.Fatal(err)
		}
		if all := strings.Join(plan, "; "); !strings.Contains(all, "SEARCH molds USING INDEX molds_by_size (class=? AND strip=? AND short_side>? AND short_side<?)") || strings.Contains(all, "SCAN") {
			t.Errorf("%s: %s", name, all)
		}
	}
}
