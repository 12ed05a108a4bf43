package sqlite

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hatchwright/store"
	"hatchwright/store/storetest"
	"hatchwright/store/table"
)

func open(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func migrated(t testing.TB) *Store {
	t.Helper()
	s := open(t, filepath.Join(t.TempDir(), "store.db"))
	if _, err := s.Migrate(context.Background()); err != nil {
		t.Fatal(err)
	}
	return s
}

func TestStore(t *testing.T) {
	storetest.Run(t, storetest.Harness{
		Migrated: func(t *testing.T) store.Store { return migrated(t) },
		Empty: func(t *testing.T) storetest.Upgradable {
			return open(t, filepath.Join(t.TempDir(), "store.db"))
		},
		Reopen: func(t *testing.T, s store.Store) store.Store {
			var path string
			switch s := s.(type) {
			case *Store:
				path = s.path
			default:
				t.Fatalf("a %T is no store of this engine", s)
			}
			return open(t, path)
		},
		Raw: func(ctx context.Context, s store.Store, _ store.Scope, statement string) (int64, error) {
			st := s.(*Store)
			if strings.HasPrefix(statement, "select") {
				rows, err := collect(ctx, st.reader, statement, nil, func(table.Row) (struct{}, error) { return struct{}{}, nil })
				return int64(len(rows)), st.fault(ctx, statement, err)
			}
			n, err := affected(st.writer.ExecContext(ctx, statement))
			return n, st.fault(ctx, statement, err)
		},
		Bytes: func(b []byte) string { return fmt.Sprintf("x'%x'", b) },
		Alone: true,
		Time:  func(t time.Time) string { return fmt.Sprint(millis(t)) },
	})
}
