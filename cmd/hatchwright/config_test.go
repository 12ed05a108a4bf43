package main

import (
	"bytes"
	"encoding/base64"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

func load(t *testing.T, environment map[string]string, args ...string) (Config, error) {
	t.Helper()
	flags := flag.NewFlagSet("test", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	return LoadConfig(environment, flags, args)
}

func TestConfigOrder(t *testing.T) {
	c, err := load(t, nil)
	if err != nil || !reflect.DeepEqual(c, DefaultConfig()) {
		t.Errorf("nothing set: %+v, %v", c, err)
	}
	c, err = load(t, map[string]string{"HATCHWRIGHT_ADDRESS": "127.0.0.1:1", "HATCHWRIGHT_DATA": "a.db", "HATCHWRIGHT_ORIGINS": "https://a.example,https://b.example"}, "-address", "127.0.0.1:2")
	if err != nil || c.Address != "127.0.0.1:2" || c.DataFile != "a.db" || len(c.Origins) != 2 {
		t.Errorf("a flag wins over the environment: %+v, %v", c, err)
	}
}

func TestConfigSecretFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "url")
	if err := os.WriteFile(path, []byte("postgres://u:p@db/x\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := load(t, map[string]string{"DATABASE_URL_FILE": path})
	if err != nil || c.DatabaseURL != "postgres://u:p@db/x" {
		t.Errorf("%q, %v", c.DatabaseURL, err)
	}
	if _, err = load(t, map[string]string{"DATABASE_URL_FILE": path, "DATABASE_URL": "postgres://u:p@db/y"}); err == nil {
		t.Error("both forms of one secret are taken")
	}
}

func TestConfigRefusals(t *testing.T) {
	for name, value := range map[string]string{
		"DATABASE_URL": "mysql://u:hush@db/x", "HATCHWRIGHT_LOG_LEVEL": "loud", "HATCHWRIGHT_REQUEST_TIMEOUT": "0s", "HATCHWRIGHT_ORIGINS": "shop.example/path", "HATCHWRIGHT_WEBHOOK_KEYS": "hush",
		"HATCHWRIGHT_KEY_RATE": "-1", "HATCHWRIGHT_KEY_STREAMS": "-1", "HATCHWRIGHT_ADDRESS_RATE": "-1", "HATCHWRIGHT_SEARCHES": "-1", "HATCHWRIGHT_PROXIES": "10.1.0.0/16,proxy.example",
	} {
		_, err := load(t, map[string]string{name: value})
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s=%s: %v", name, value, err)
		}
		if err != nil && strings.Contains(err.Error(), "hush") {
			t.Errorf("the error repeats a password: %v", err)
		}
	}
}

// TestConfigTable holds README's table of settings against the code, both ways.
func TestConfigTable(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	inTable := map[string]bool{}
	for _, line := range strings.Split(string(readme), "\n") {
		if cells := strings.Split(line, "|"); len(cells) > 3 {
			name := strings.Trim(strings.TrimSpace(cells[1]), "`")
			if name == "DATABASE_URL" || strings.HasPrefix(name, "HATCHWRIGHT_") {
				inTable[name] = true
			}
		}
	}
	fields := reflect.TypeFor[Config]()
	for i := range fields.NumField() {
		name := fields.Field(i).Tag.Get("env")
		if !inTable[name] {
			t.Errorf("README's table of settings does not list %s", name)
		}
		delete(inTable, name)
	}
	for name := range inTable {
		t.Errorf("README lists %s, which the program does not read", name)
	}
}

// TestConfigWebhooks: keys come from a file too, several at once; without the
// permission no private address is called.
func TestConfigWebhooks(t *testing.T) {
	path := filepath.Join(t.TempDir(), "keys")
	first, second := bytes.Repeat([]byte{1}, 32), bytes.Repeat([]byte{2}, 32)
	text := base64.StdEncoding.EncodeToString(first) + "," + base64.StdEncoding.EncodeToString(second)
	if err := os.WriteFile(path, []byte(text+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := load(t, map[string]string{"HATCHWRIGHT_WEBHOOK_KEYS_FILE": path})
	if err != nil {
		t.Fatal(err)
	}
	o, err := c.webhookOptions()
	if err != nil || len(o.Keys) != 2 || !bytes.Equal(o.Keys[0], first) || !bytes.Equal(o.Keys[1], second) {
		t.Errorf("%+v %v", o, err)
	}
	const private = "http://10.1.2.3/hook"
	if o.Policy.CheckURL(private) == nil {
		t.Error("a private address is called without permission")
	}
	c.WebhookPrivate = true
	if o, err = c.webhookOptions(); err != nil || o.Policy.CheckURL(private) != nil {
		t.Errorf("%v", err)
	}
}

// TestConfigProxies: networks and single addresses are both proxies.
func TestConfigProxies(t *testing.T) {
	c, err := load(t, map[string]string{"HATCHWRIGHT_PROXIES": "10.1.0.0/16, fd00:7::1,192.0.2.1", "HATCHWRIGHT_KEY_RATE": "0"})
	if err != nil {
		t.Fatal(err)
	}
	r, err := c.rates()
	if want := "[10.1.0.0/16 fd00:7::1/128 192.0.2.1/32]"; err != nil || fmt.Sprint(r.Proxies) != want || r.Key != 0 || r.Address != DefaultConfig().AddressRate {
		t.Errorf("%+v %v", r, err)
	}
}
