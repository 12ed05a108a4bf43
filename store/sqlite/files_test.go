//go:build unix

package sqlite

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Every file of a store is its owner's alone from the moment that it is there, whatever
// the umask; files that others could read are narrowed and told of.
func TestFileModes(t *testing.T) {
	before := syscall.Umask(0)
	defer syscall.Umask(before)
	path := filepath.Join(t.TempDir(), "store.db")
	modes := func(what string) {
		t.Helper()
		files, err := filepath.Glob(path + "*")
		if err != nil || len(files) < 3 {
			t.Fatalf("%s: the files are %v, %v", what, files, err)
		}
		for _, f := range files {
			info, err := os.Stat(f)
			if err != nil {
				t.Fatal(err)
			}
			if got := info.Mode().Perm(); got != 0o600 {
				t.Errorf("%s: %s has the mode %#o, want 0600", what, filepath.Base(f), got)
			}
		}
	}
	s := open(t, path)
	if len(s.Notes()) != 0 {
		t.Errorf("a new store is told of: %v", s.Notes())
	}
	if _, err := s.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := s.Dealers().Insert(t.Context(), store.ShopScope(), record.Dealer{ID: [16]byte{1}, Name: "Corrow Boats", CreatedAt: time.UnixMilli(1_800_000_000_000)}); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path + "-wal"); err != nil {
		t.Fatal(err)
	}
	modes("open")
	for _, suffix := range []string{"", "-wal", "-shm", ".open"} {
		if err := os.Chmod(path+suffix, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	next := open(t, path)
	modes("opened once more")
	if said := strings.Join(next.Notes(), "\n"); len(next.Notes()) != 4 || !strings.Contains(said, "store.db-wal had the mode 0644") {
		t.Errorf("%d notes:\n%s", len(next.Notes()), said)
	}
	// SQLite gives a log that it makes anew the mode of the file.
	for _, st := range []*Store{next, s} {
		if err := st.Close(); err != nil {
			t.Fatal(err)
		}
	}
	last := open(t, path)
	if _, err := last.writer.ExecContext(t.Context(), "delete from dealers"); err != nil {
		t.Fatal(err)
	}
	modes("with a log anew")
}
