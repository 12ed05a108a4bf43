package sqlite

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"os"
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

// What an earlier version kept with a secret in the clear, and what it has removed since,
// is in no file of the store once it is migrated, nor what is removed from then on.
func TestMigrateLeavesNoSecrets(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s := open(t, path)
	if _, err := s.MigrateTo(t.Context(), 27); err != nil {
		t.Fatal(err)
	}
	former, err := sql.Open("sqlite", fileURL(path)) // as it was: what is removed is left where it stood
	if err != nil {
		t.Fatal(err)
	}
	const secret = "hw_Vd3kQnO0F1mJcQy7bX2sT5uWzA8rLpEeHgKiNoPqRs4"
	add := func(db *sql.DB, columns, values string) {
		t.Helper()
		if _, err := db.ExecContext(t.Context(), `with recursive n(value) as (select 1 union all select value + 1 from n where value < 300) insert into idempotency_keys (owner, method, route, body_hash, token, state, status, header, created_at, locked_until, expires_at, key, body`+columns+`)
			select 'shop', 'POST', '/v1/keys', x'00', 't', 'done', 201, 'null', 1, 1, 1, 'k' || value, cast('{"key":"`+secret+`","id":"' || value || '"}' as blob)`+values+` from n`); err != nil {
			t.Fatal(err)
		}
	}
	found := func() (n int) {
		t.Helper()
		files, err := filepath.Glob(path + "*")
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			b, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			n += bytes.Count(b, []byte(secret))
		}
		return n
	}
	add(former, "", "")
	if _, err := former.ExecContext(t.Context(), "delete from idempotency_keys where key > 'k2'"); err != nil {
		t.Fatal(err)
	}
	if err := former.Close(); err != nil {
		t.Fatal(err)
	}
	if found() == 0 {
		t.Fatal("the secret is in no file: this test looks in the wrong place")
	}
	if _, err := s.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := found(); n != 0 {
		t.Errorf("migrated: the secret is there %d times", n)
	}
	add(s.writer, ", caller", ", 'key:1'")
	if _, err := s.writer.ExecContext(t.Context(), "delete from idempotency_keys where caller = 'key:1'"); err != nil {
		t.Fatal(err)
	}
	if err := s.Scrub(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := found(); n != 0 {
		t.Errorf("removed since: the secret is there %d times", n)
	}
}
