package sqlite

import (
	"testing"

	"hatchwright/store"
	"hatchwright/store/storetest"
)

func BenchmarkMoldsNear(b *testing.B) {
	storetest.BenchNear(b, func(t testing.TB) store.Store { return migrated(t) }, func(testing.TB, store.Store) {})
}
