package main

import (
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"hatchwright/store/postgres/postgrestest"
)

// A key that one process revokes, or a command on the machine, ends its stream with
// another process within a second, on both stores: here with two more for a machine that
// is busy; a sign of life, at which it was looked at before, comes after fifteen.
func TestStreamEndsInAnotherProcess(t *testing.T) {
	const limit = 3 * time.Second
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			c := config(t)
			settings := map[string]string{"HATCHWRIGHT_DATA": c.DataFile}
			if engine == "postgres" {
				c.DatabaseURL = postgrestest.Migrated(t)
				settings = map[string]string{"DATABASE_URL": c.DatabaseURL}
			}
			program, url, stop := start(t, c)
			defer func() {
				if err := stop(); err != nil {
					t.Error(err)
				}
			}()
			var environment []string
			for name, value := range settings {
				environment = append(environment, name+"="+value)
			}
			other := &replica{t: t, environment: environment}
			other.start()
			defer other.kill()
			if t.Failed() {
				return
			}
			for _, c := range []struct {
				name   string
				revoke func(id string)
			}{
				{"revoked over HTTP", func(id string) {
					r, err := http.NewRequest(http.MethodDelete, url+"/v1/keys/"+id, nil)
					if err != nil {
						t.Fatal(err)
					}
					r.Header.Set("Authorization", "Bearer "+program.ShopKey)
					a, err := http.DefaultClient.Do(r)
					if err != nil {
						t.Fatal(err)
					}
					a.Body.Close()
					if a.StatusCode != http.StatusNoContent {
						t.Fatalf("%d", a.StatusCode)
					}
				}},
				{"revoked by the command", func(id string) {
					if code, _, errs := command(settings, "key", "revoke", id); code != exitOK {
						t.Fatalf("exit %d, %s", code, errs)
					}
				}},
			} {
				t.Run(c.name, func(t *testing.T) {
					code, out, errs := command(settings, "key", "new", "-role", "shop", "-name", "screen")
					if code != exitOK {
						t.Fatalf("exit %d, %s", code, errs)
					}
					id := strings.Fields(strings.TrimPrefix(errs, "shop key "))[0]
					r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, other.at()+"/v1/events", nil)
					if err != nil {
						t.Fatal(err)
					}
					r.Header.Set("Authorization", "Bearer "+strings.TrimSpace(out))
					a, err := http.DefaultClient.Do(r)
					if err != nil {
						t.Fatal(err)
					}
					defer a.Body.Close()
					if a.StatusCode != http.StatusOK {
						t.Fatalf("%d", a.StatusCode)
					}
					c.revoke(strings.TrimSuffix(id, ","))
					since := time.Now()
					ended := make(chan error, 1)
					go func() { _, err := io.Copy(io.Discard, a.Body); ended <- err }()
					select {
					case err := <-ended:
						if err != nil {
							t.Errorf("the stream did not end whole: %v", err)
						}
						t.Logf("the stream ended after %v", time.Since(since).Round(time.Millisecond))
					case <-time.After(limit):
						t.Errorf("the stream goes on after %v", limit)
					}
				})
			}
		})
	}
}
