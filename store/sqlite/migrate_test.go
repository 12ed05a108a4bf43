package sqlite

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"hatchwright/store"
)

// While one process migrates another waits, and gives up with its context.
func TestMigrateWaits(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	one, two := open(t, path), open(t, path)
	unlock, err := one.lockMigrations(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	// Ample for the migrations if they did not wait.
	short, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
	defer cancel()
	if applied, err := two.Migrate(short); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("applied %v while another migrates: %v", applied, err)
	}
	if current, _, err := two.Version(t.Context()); err != nil || current != 0 {
		t.Errorf("version %d, %v", current, err)
	}
	if err := unlock(); err != nil {
		t.Fatal(err)
	}
	if applied, err := two.Migrate(t.Context()); err != nil || len(applied) == 0 {
		t.Errorf("afterwards applied %v, %v", applied, err)
	}
}

// Down undoes every migration, and up brings it back.
func TestMigrateDown(t *testing.T) {
	s := migrated(t)
	provider, err := s.migrations()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := provider.DownTo(t.Context(), 0); err != nil {
		t.Fatal(err)
	}
	var left int
	err = s.reader.QueryRowContext(t.Context(), "select count(*) from sqlite_schema where name not like 'goose%' and name not like 'sqlite%'").Scan(&left)
	if err != nil || left != 0 {
		t.Errorf("%d objects are left, %v", left, err)
	}
	if applied, err := s.Migrate(t.Context()); err != nil || len(applied) == 0 {
		t.Errorf("applied %v, %v", applied, err)
	}
}

// What SQLite is told on every connection is in force.
func TestPragmas(t *testing.T) {
	s := migrated(t)
	for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "busy_timeout": "10000"} {
		for name, db := range map[string]conn{"writer": s.writer, "reader": s.reader} {
			var got string
			if err := db.QueryRowContext(t.Context(), "pragma "+pragma).Scan(&got); err != nil || got != want {
				t.Errorf("%s: %s is %q, want %q (%v)", name, pragma, got, want, err)
			}
		}
	}
	if _, err := s.reader.ExecContext(t.Context(), "delete from dealers"); err == nil {
		t.Error("a reading connection can write")
	}
}

// Paths with characters that mean something in a URL, and paths that cannot be.
func TestOpenPaths(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"plain.db", "a b.db", "what?mode=memory", "50%25.db", "x#y&z=1.db", "ä⚓.db"} {
		s := open(t, filepath.Join(dir, name))
		if _, err := s.Migrate(t.Context()); err != nil {
			t.Errorf("%q: %v", name, err)
		}
		if found, err := filepath.Glob(filepath.Join(dir, "*")); err != nil || len(found) == 0 {
			t.Errorf("%q: no file, %v", name, err)
		}
		var file string
		if err := s.reader.QueryRowContext(t.Context(), "select file from pragma_database_list where name = 'main'").Scan(&file); err != nil || file != filepath.Join(dir, name) {
			t.Errorf("%q: the file is %q, %v", name, file, err)
		}
	}
	if _, err := Open(t.Context(), filepath.Join(dir, "no such folder", "store.db")); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("no such folder: %v", err)
	}
	if _, err := Open(t.Context(), dir); err == nil {
		t.Error("a folder passes for a file")
	}
	if _, err := Open(t.Context(), ""); err == nil {
		t.Error("no path passes for a file")
	}
}
