package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"

	"hatchwright/store/postgres/postgrestest"
)

// lockedBuffer is a log that several goroutines write.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// startLogged is start with a log to read, of everything there is to tell.
func startLogged(t *testing.T, c Config) (p *Program, url string, log *lockedBuffer, stop func() error) {
	t.Helper()
	log = new(lockedBuffer)
	ctx, cancel := context.WithCancel(context.Background())
	p, err := NewProgram(ctx, c, slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug})))
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx, l) }()
	stop = sync.OnceValue(func() error { cancel(); return <-done })
	t.Cleanup(func() { _ = stop() })
	return p, "http://" + l.Addr().String(), log, stop
}

// repeatable posts with an Idempotency-Key.
func repeatable(t *testing.T, url, key, name, body string) (int, http.Header, string) {
	t.Helper()
	r, err := http.NewRequest(http.MethodPost, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Authorization", "Bearer "+key)
	r.Header.Set("Idempotency-Key", name)
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	return a.StatusCode, a.Header, string(b)
}

// member is a text of an answer.
func member(t *testing.T, body, name string) string {
	t.Helper()
	var o map[string]any
	if err := json.Unmarshal([]byte(body), &o); err != nil {
		t.Fatalf("%v: %s", err, body)
	}
	s, _ := o[name].(string)
	if s == "" {
		t.Fatalf("no %s in %s", name, body)
	}
	return s
}

// TestSecretsAreNowhere makes keys and signing secrets by every route that shows one,
// with an Idempotency-Key each, and looks for them in everything that is kept: each file
// of the data folder while the program runs and after it, each text and byte column of
// PostgreSQL, and the log. A repeat gives the same bytes all the same, also after a
// start anew.
func TestSecretsAreNowhere(t *testing.T) {
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			c := config(t)
			if engine == "postgres" {
				c.DatabaseURL = postgrestest.Migrated(t)
				c.WebhookKeys = []string{strings.Repeat("A", 43) + "="}
			}
			p, url, log, stop := startLogged(t, c)
			shop := p.ShopKey
			status, _, dealer := repeatable(t, url+"/v1/dealers", shop, "d", `{"name":"Brackwater Marine"}`)
			if status != http.StatusCreated {
				t.Fatalf("%d %s", status, dealer)
			}
			secrets := map[string]string{"the first shop key": shop}
			type sent struct{ path, body, answer string }
			var all []sent
			make := func(what, path, body, name string) string {
				t.Helper()
				status, _, answer := repeatable(t, url+path, shop, what, body)
				if status != http.StatusCreated {
					t.Fatalf("%s: %d %s", what, status, answer)
				}
				secrets[what] = member(t, answer, name)
				all = append(all, sent{path, body, answer})
				return member(t, answer, "id")
			}
			id := make("a dealer's key", "/v1/dealers/"+member(t, dealer, "id")+"/keys", `{"role":"dealer","name":"office"}`, "key")
			make("a rotated key", "/v1/keys/"+id+"/rotation", `{}`, "key")
			make("a shop key", "/v1/keys", `{"role":"shop","name":"office"}`, "key")
			hook := make("a webhook's secret", "/v1/webhooks", `{"url":"https://brackwater.example/hook"}`, "secret")
			make("a webhook's next secret", "/v1/webhooks/"+hook+"/secret", "", "secret")
			what := []string{"a dealer's key", "a rotated key", "a shop key", "a webhook's secret", "a webhook's next secret"}

			look := func(when string) {
				t.Helper()
				places := map[string][]byte{"the log": []byte(log.String())}
				files, err := filepath.Glob(filepath.Join(filepath.Dir(c.DataFile), "*"))
				if err != nil {
					t.Fatal(err)
				}
				for _, f := range files {
					b, err := os.ReadFile(f)
					if err != nil {
						t.Fatal(err)
					}
					places[filepath.Base(f)] = b
				}
				if engine == "postgres" {
					everyColumn(t, c.DatabaseURL, places)
				} else if len(places) < 3 {
					t.Fatalf("%s: only %d places", when, len(places))
				}
				for place, b := range places {
					for name, s := range secrets {
						// Without its beginning, of which some is kept to tell keys apart.
						if n := bytes.Count(b, []byte(s[9:])); n > 0 {
							t.Errorf("%s: %s stands %d times in %s", when, name, n, place)
						}
					}
				}
			}
			look("while it runs")
			if err := stop(); err != nil {
				t.Fatal(err)
			}
			look("stopped")
			_, url, log, stop = startLogged(t, c)
			for i, s := range all {
				if status, _, again := repeatable(t, url+s.path, shop, what[i], s.body); status != http.StatusCreated || again != s.answer {
					t.Errorf("%s, sent again: %d %s, want %s", what[i], status, again, s.answer)
				}
			}
			look("sent again")
			if err := stop(); err != nil {
				t.Error(err)
			}
		})
	}
}

// everyColumn reads each column of text or bytes of each table, by its name.
func everyColumn(t *testing.T, url string, into map[string][]byte) {
	t.Helper()
	ctx := t.Context()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close(ctx) }()
	rows, err := conn.Query(ctx, `select table_name, column_name, data_type from information_schema.columns
		where table_schema = 'public' and data_type in ('text', 'bytea', 'json', 'jsonb', 'character varying')`)
	if err != nil {
		t.Fatal(err)
	}
	columns, err := pgx.CollectRows(rows, pgx.RowToStructByPos[struct{ Table, Column, Type string }])
	if err != nil || len(columns) < 40 {
		t.Fatalf("%d columns, %v", len(columns), err)
	}
	for _, k := range columns {
		value := "convert_to(" + k.Column + "::text, 'UTF8')"
		if k.Type == "bytea" {
			value = k.Column
		}
		var all []byte
		if err := conn.QueryRow(ctx, fmt.Sprintf("select coalesce(string_agg(%s, '\\x0a'::bytea), ''::bytea) from %s", value, k.Table)).Scan(&all); err != nil {
			t.Fatalf("%s.%s: %v", k.Table, k.Column, err)
		}
		into[k.Table+"."+k.Column] = all
	}
}
