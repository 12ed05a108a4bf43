package main

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store/sqlite"
)

var quiet = slog.New(slog.DiscardHandler)

// TestSealingKeyFile: the embedded store has a key file of its own, made once, for its
// owner alone, whoever starts first; keys that are configured seal before it.
func TestSealingKeyFile(t *testing.T) {
	c := config(t)
	path := c.DataFile + ".key"
	keys := make([][]byte, 8)
	var all sync.WaitGroup
	for n := range keys {
		all.Go(func() {
			o, err := withKeyFile(service.WebhookOptions{}, c, quiet)
			if err != nil || len(o.Keys) != 1 {
				t.Errorf("start %d: %d keys, %v", n, len(o.Keys), err)
				return
			}
			keys[n] = o.Keys[0]
		})
	}
	all.Wait()
	for n, k := range keys {
		if !bytes.Equal(k, keys[0]) {
			t.Errorf("start %d got another key", n)
		}
	}
	files, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
	if err != nil || len(files) != 1 {
		t.Errorf("the files are %v, %v", files, err)
	}
	mode := func() os.FileMode {
		t.Helper()
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		return info.Mode().Perm()
	}
	if m := mode(); m != 0o600 {
		t.Errorf("made with the mode %#o, want 0600", m)
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	log := new(lockedBuffer)
	if _, err := withKeyFile(service.WebhookOptions{}, c, slog.New(slog.NewTextHandler(log, nil))); err != nil || mode() != 0o600 || !strings.Contains(log.String(), "0644") {
		t.Errorf("found with the mode 0644: it has %#o, said %q, %v", mode(), log, err)
	}
	own := bytes.Repeat([]byte{7}, 32)
	if o, err := withKeyFile(service.WebhookOptions{Keys: [][]byte{own}}, c, quiet); err != nil || len(o.Keys) != 2 || !bytes.Equal(o.Keys[0], own) || !bytes.Equal(o.Keys[1], keys[0]) {
		t.Errorf("beside a key that is configured: %d keys, %v", len(o.Keys), err)
	}
	for _, k := range []struct{ name, text string }{{"empty", ""}, {"cut off", "AAAA\n"}, {"no base64", strings.Repeat("!", 44)}} {
		t.Run(k.name, func(t *testing.T) {
			if err := os.WriteFile(path, []byte(k.text), 0o600); err != nil {
				t.Fatal(err)
			}
			_, err := withKeyFile(service.WebhookOptions{}, c, quiet)
			if err == nil || !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "put the file back") {
				t.Errorf("%v", err)
			}
		})
	}
	// Nothing is made where it is not needed.
	for _, k := range []struct {
		name   string
		url    string
		keys   [][]byte
		wanted int
	}{{"PostgreSQL", "postgres://127.0.0.1/x", nil, 0}, {"a key is configured", "", [][]byte{own}, 1}} {
		t.Run(k.name, func(t *testing.T) {
			c := config(t)
			c.DatabaseURL = k.url
			o, err := withKeyFile(service.WebhookOptions{Keys: k.keys}, c, quiet)
			if err != nil || len(o.Keys) != k.wanted {
				t.Errorf("%d keys, want %d; %v", len(o.Keys), k.wanted, err)
			}
			if _, err := os.Stat(c.DataFile + ".key"); err == nil {
				t.Error("a file was made")
			}
		})
	}
}

// TestSecretsOfFormerDays: a file that an earlier version wrote has signing secrets in the
// clear. After a start they are nowhere in it, nor in its log, also in what is free.
func TestSecretsOfFormerDays(t *testing.T) {
	ctx := context.Background()
	c := config(t)
	s, err := sqlite.Open(ctx, c.DataFile)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Migrate(ctx); err != nil {
		t.Fatal(err)
	}
	keyless, err := service.New(service.Options{Store: s, Wire: api.Wire{}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := keyless.Bootstrap(ctx); err != nil {
		t.Fatal(err)
	}
	var secrets []string
	for range 20 {
		made, err := keyless.CreateWebhook(ctx, service.Caller{Role: record.RoleShop}, service.NewWebhook{URL: "https://brackwater.example/hook"}, nil)
		if err != nil {
			t.Fatal(err)
		}
		secrets = append(secrets, made.Record.Text)
	}
	found := func() (n int) {
		t.Helper()
		files, err := filepath.Glob(c.DataFile + "*")
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			b, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range secrets {
				n += bytes.Count(b, []byte(s))
			}
		}
		return n
	}
	if found() < len(secrets) {
		t.Fatalf("without a key only %d of %d secrets stand in the clear: this test looks in the wrong place", found(), len(secrets))
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	_, _, log, stop := startLogged(t, c)
	if n := found(); n != 0 {
		t.Errorf("while it runs: secrets stand in the clear %d times", n)
	}
	if !strings.Contains(log.String(), "secrets=20") {
		t.Errorf("the log says nothing of 20 secrets that were sealed: %s", log)
	}
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	if n := found(); n != 0 {
		t.Errorf("stopped: secrets stand in the clear %d times", n)
	}
	// The key file is lost: the start goes on, and says so.
	if err := os.Remove(c.DataFile + ".key"); err != nil {
		t.Fatal(err)
	}
	_, _, log, stop = startLogged(t, c)
	if !strings.Contains(log.String(), "no key at hand opens") || !strings.Contains(log.String(), "secrets=20") {
		t.Errorf("a lost key is not told of: %s", log)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}

// TestTellOfSecrets: how signing secrets stand is told at a start where it is not well.
func TestTellOfSecrets(t *testing.T) {
	postgres, embedded := Config{DatabaseURL: "postgres://x"}, Config{DataFile: "hatchwright.db"}
	one := service.WebhookOptions{Keys: [][]byte{make([]byte, 32)}}
	for _, k := range []struct {
		name  string
		c     Config
		hooks service.WebhookOptions
		at    service.SecretsAtRest
		says  []string
	}{
		{"PostgreSQL without a key", postgres, service.WebhookOptions{}, service.SecretsAtRest{Clear: 3}, []string{"level=WARN", "HATCHWRIGHT_WEBHOOK_KEYS is not set", "in the clear", "secrets=3", "openssl rand -base64 32"}},
		{"PostgreSQL with one", postgres, one, service.SecretsAtRest{}, nil},
		{"the key is lost", embedded, one, service.SecretsAtRest{Shut: 2}, []string{"level=ERROR", "hatchwright.db.key", "secrets=2"}},
		{"another key than before", postgres, one, service.SecretsAtRest{Shut: 2}, []string{"level=ERROR", "keys=HATCHWRIGHT_WEBHOOK_KEYS"}},
		{"sealed now", embedded, one, service.SecretsAtRest{Sealed: 4}, []string{"level=INFO", "secrets=4"}},
	} {
		t.Run(k.name, func(t *testing.T) {
			log := new(bytes.Buffer)
			tellOfSecrets(k.c, k.hooks, k.at, slog.New(slog.NewTextHandler(log, nil)))
			if len(k.says) == 0 && log.Len() > 0 {
				t.Errorf("it says %q", log)
			}
			for _, s := range k.says {
				if !strings.Contains(log.String(), s) {
					t.Errorf("it says %q, without %q", log, s)
				}
			}
		})
	}
}
