package main

import (
	"database/sql"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"

	"hatchwright/store/postgres/postgrestest"
)

// TestKilledClaims kills the program in the midst of a request with an Idempotency-Key
// and sends the request again. The embedded store frees the claim at the next start,
// unless another process has the file open; elsewhere the claim lapses by itself, when
// Retry-After says and within half a minute. The work is done once.
func TestKilledClaims(t *testing.T) {
	request, err := os.ReadFile(filepath.Join(scenarios, "01-heron-24-anchor-locker.request.json"))
	if err != nil {
		t.Fatal(err)
	}
	body := `{"lines":[{"configuration":` + string(request) + `}]}`
	for _, k := range []struct {
		name    string
		engine  string
		another bool // another process goes on
		lapses  bool
	}{
		{"the embedded store alone", "sqlite", false, false},
		{"the embedded store beside another process", "sqlite", true, true},
		{"PostgreSQL", "postgres", false, true},
	} {
		t.Run(k.name, func(t *testing.T) {
			c := config(t)
			environment := []string{"HATCHWRIGHT_DATA=" + c.DataFile}
			driver, where := "sqlite", "file:"+c.DataFile
			if k.engine == "postgres" {
				c.DatabaseURL = postgrestest.Migrated(t)
				environment = []string{"DATABASE_URL=" + c.DatabaseURL}
				driver, where = "pgx", c.DatabaseURL
			}
			p, _, stop := start(t, c)
			if !k.another {
				if err := stop(); err != nil {
					t.Fatal(err)
				}
			} else {
				defer func() {
					if err := stop(); err != nil {
						t.Error(err)
					}
				}()
			}
			key := p.ShopKey
			db, err := sql.Open(driver, where)
			if err != nil {
				t.Fatal(err)
			}
			defer db.Close()
			count := func(query string) (n int) {
				t.Helper()
				if err := db.QueryRowContext(t.Context(), query).Scan(&n); err != nil && !strings.Contains(err.Error(), "locked") {
					t.Fatal(err)
				}
				return n
			}
			r := &replica{t: t, environment: environment}
			r.start()
			defer func() { r.kill() }()
			url := func() string { return r.address.Load().(string) + "/v1/quotes" }

			// Requests until one is cut off: its claim is there, its answer is not.
			name := ""
			for n := 0; name == "" && n < 50; n++ {
				try := fmt.Sprint("PO-", n)
				sent := make(chan error, 1)
				go func() {
					q, err := http.NewRequest(http.MethodPost, url(), strings.NewReader(body))
					if err == nil {
						q.Header.Set("Content-Type", "application/json")
						q.Header.Set("Authorization", "Bearer "+key)
						q.Header.Set("Idempotency-Key", try)
						_, err = (&http.Transport{DisableKeepAlives: true}).RoundTrip(q)
					}
					sent <- err
				}()
				for begun := time.Now(); time.Since(begun) < 5*time.Second; {
					if count("select count(*) from idempotency_keys where state = 'running'") > 0 {
						break
					}
				}
				r.kill()
				<-sent
				if count("select count(*) from idempotency_keys where state = 'running'") > 0 {
					name = try
				} else {
					r.start()
				}
			}
			if name == "" {
				t.Fatal("no request could be cut off in its midst")
			}
			before, killed := count("select count(*) from quotes"), time.Now()
			r.start()
			status, header, answer := repeatable(t, url(), key, name, body)
			if !k.lapses && status != http.StatusCreated {
				t.Fatalf("%.1f s after the kill the request sent again got %d, Retry-After %q: %s", time.Since(killed).Seconds(), status, header.Get("Retry-After"), answer)
			}
			if k.lapses {
				wait, err := strconv.Atoi(header.Get("Retry-After"))
				if status != http.StatusConflict || !strings.Contains(answer, "/problems/request-in-progress") || err != nil || wait < 2 || wait > 30 {
					t.Fatalf("%.1f s after the kill the request sent again got %d, Retry-After %q: want 409 and 2 to 30 s: %s", time.Since(killed).Seconds(), status, header.Get("Retry-After"), answer)
				}
				time.Sleep(time.Duration(wait) * time.Second)
				if status, header, answer = repeatable(t, url(), key, name, body); status != http.StatusCreated {
					t.Fatalf("when Retry-After said, after %d s: %d, Retry-After %q: %s", wait, status, header.Get("Retry-After"), answer)
				}
			}
			t.Logf("answered %.1f s after the kill", time.Since(killed).Seconds())
			if n := count("select count(*) from quotes"); n != before+1 {
				t.Errorf("%d quotes, want %d", n, before+1)
			}
			if _, _, again := repeatable(t, url(), key, name, body); again != answer {
				t.Errorf("once more: %s, want %s", again, answer)
			}
		})
	}
}
