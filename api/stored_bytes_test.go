package api

import (
	"database/sql"
	"fmt"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/sqlite"
)

// What a quote of one line takes on the disk, counted over forty of them an hour apart:
// the same hatch each time, which shares all but its lead time, and another one each time.
func TestBytesOfAQuote(t *testing.T) {
	if *engine != "sqlite" {
		t.Skip("counted in the pages of the embedded store's file")
	}
	for _, c := range []struct {
		name  string
		hatch func(n int) string
		most  int64
	}{
		{"the same hatch", func(int) string { return small }, 18_000},
		{"another hatch each time", func(n int) string {
			return fmt.Sprintf(`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":%d,"width":380,"corner_radius":60}}`, 500+n)
		}, 26_000},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "bytes.db")
			b := newBenchWith(t, options{wrap: func(store.Store) store.Store {
				s, err := sqlite.Open(t.Context(), path)
				if err != nil {
					t.Fatal(err)
				}
				t.Cleanup(func() { _ = s.Close() })
				if _, err := s.Migrate(t.Context()); err != nil {
					t.Fatal(err)
				}
				return s
			}})
			_, key := b.dealer("Brackwater Marine", record.RoleDealer)
			db, err := sql.Open("sqlite", path)
			if err != nil {
				t.Fatal(err)
			}
			defer db.Close()
			size := func() (n int64) {
				t.Helper()
				if err := db.QueryRowContext(t.Context(), "select page_count * page_size from pragma_page_count, pragma_page_size").Scan(&n); err != nil {
					t.Fatal(err)
				}
				return n
			}
			const quotes = 40
			var from int64
			for n := range quotes + 1 {
				if n == 1 {
					from = size()
				}
				b.clock.Add(time.Hour)
				if a := b.send(http.MethodPost, "/v1/quotes", key, `{"lines":[{"configuration":`+c.hatch(n)+`}]}`); a.status != http.StatusCreated {
					t.Fatalf("quote %d: %d %.200s", n, a.status, a.body)
				}
			}
			got := (size() - from) / quotes
			t.Logf("%d bytes a quote", got)
			if got > c.most {
				t.Errorf("%d bytes a quote, want %d or fewer", got, c.most)
			}
		})
	}
}
