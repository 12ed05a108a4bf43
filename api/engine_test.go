package api

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"hatchwright/store"
	"hatchwright/store/postgres"
	"hatchwright/store/postgres/postgrestest"
	"hatchwright/store/sqlite"
)

// engine is the store that a run of these tests is on. The test command runs them
// on both.
var engine = flag.String("engine", "sqlite", "the store to run the tests on: sqlite or postgres")

func TestMain(m *testing.M) {
	flag.Parse()
	if *engine != "sqlite" && *engine != "postgres" {
		_, _ = os.Stderr.WriteString("-engine is sqlite or postgres\n")
		os.Exit(2)
	}
	os.Exit(postgrestest.Main(m))
}

// newStore is an empty store of the run's engine with the newest schema, gone when
// the test ends.
func newStore(tb testing.TB) store.Store {
	tb.Helper()
	ctx := context.Background()
	var s store.Store
	var err error
	if *engine == "postgres" {
		s, err = postgres.Open(ctx, postgrestest.Migrated(tb))
	} else {
		s, err = sqlite.Open(ctx, filepath.Join(tb.TempDir(), "test.db"))
	}
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { _ = s.Close() })
	if _, err := s.Migrate(ctx); err != nil {
		tb.Fatal(err)
	}
	return s
}

// ownFilters tells whether the store's statements name their owner themselves, or
// leave it to row-level security.
func ownFilters() bool { return *engine != "postgres" || postgres.OwnFilters }
