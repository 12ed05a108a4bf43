package postgres_test

import (
	"testing"

	"hatchwright/store"
	"hatchwright/store/postgres"
	"hatchwright/store/postgres/postgrestest"
	"hatchwright/store/storetest"
)

func BenchmarkMoldsNear(b *testing.B) {
	storetest.BenchNear(b, func(t testing.TB) store.Store { return open(t, postgrestest.Migrated(t)) }, func(t testing.TB, s store.Store) {
		if _, err := s.(*postgres.Store).Pool().Exec(b.Context(), "analyze molds"); err != nil {
			t.Fatal(err)
		}
	})
}
