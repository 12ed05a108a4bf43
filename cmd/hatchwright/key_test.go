package main

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/postgres/postgrestest"
)

// command runs a command of the program in this process.
func command(environment map[string]string, args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = run(context.Background(), streams{strings.NewReader(""), &o, &e, environment}, args)
	return code, o.String(), e.String()
}

// get asks with a key and gives status and body.
func get(t *testing.T, url, key string) (int, []byte) {
	t.Helper()
	r, err := http.NewRequest(http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+key)
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	var body bytes.Buffer
	if _, err := body.ReadFrom(a.Body); err != nil {
		t.Fatal(err)
	}
	return a.StatusCode, body.Bytes()
}

// TestKeyCommand: whoever may open the store makes, lists and revokes keys there while
// the service runs on it, and the audit list says that it was done on the machine.
func TestKeyCommand(t *testing.T) {
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			c := config(t)
			environment := map[string]string{"HATCHWRIGHT_DATA": c.DataFile}
			if engine == "postgres" {
				c.DatabaseURL = postgrestest.Migrated(t)
				environment = map[string]string{"DATABASE_URL": c.DatabaseURL}
			}
			c.Demo = true
			_, url, stop := start(t, c)
			defer func() {
				if err := stop(); err != nil {
					t.Error(err)
				}
			}()

			code, out, errs := command(environment, "key", "new", "-role", "shop", "-name", "at the bench")
			made := strings.TrimSuffix(out, "\n")
			if code != exitOK || !strings.HasPrefix(made, "hw_") || strings.ContainsAny(made, " \n") {
				t.Fatalf("exit %d, standard output %q, %s", code, out, errs)
			}
			if strings.Contains(errs, made) {
				t.Error("standard error repeats the key")
			}
			status, body := get(t, url+"/v1/audit?action=key.made&limit=1", made)
			if status != http.StatusOK {
				t.Fatalf("the new key: %d %s", status, body)
			}
			var audit struct {
				Items []struct {
					By    struct{ Issuer, Subject *string }
					Thing struct{ ID string }
				}
			}
			if err := json.Unmarshal(body, &audit); err != nil || len(audit.Items) != 1 {
				t.Fatalf("%v %s", err, body)
			}
			by := audit.Items[0].By
			if by.Issuer == nil || *by.Issuer != "machine" || by.Subject == nil || *by.Subject != account() {
				t.Errorf("the audit list does not say that the key was made on the machine: %s", body)
			}
			id := audit.Items[0].Thing.ID

			expires := time.Now().Add(time.Hour).UTC().Format(time.RFC3339)
			code, out, errs = command(environment, "key", "new", "-role", "dealer", "-name", "web", "-dealer", "brackwater marine", "-expires", expires)
			dealer := strings.TrimSpace(out)
			if code != exitOK {
				t.Fatalf("exit %d, %s", code, errs)
			}
			if status, body := get(t, url+"/v1/orders", dealer); status != http.StatusOK {
				t.Errorf("the dealer's key: %d %s", status, body)
			}

			code, out, errs = command(environment, "key", "list")
			if code != exitOK || !strings.Contains(out, id) || !strings.Contains(out, "at the bench") || !strings.Contains(out, "opens until "+expires) {
				t.Errorf("exit %d, %s %s", code, out, errs)
			}
			if strings.Contains(out, made) || strings.Contains(out, dealer) {
				t.Error("the list shows a key")
			}

			if code, _, errs := command(environment, "key", "revoke", id); code != exitOK {
				t.Errorf("exit %d, %s", code, errs)
			}
			if status, _ := get(t, url+"/v1/keys", made); status != http.StatusUnauthorized {
				t.Errorf("the revoked key: %d", status)
			}
			if code, out, _ := command(environment, "key", "list"); code != exitOK || !strings.Contains(out, "revoked 2") {
				t.Errorf("exit %d, %s", code, out)
			}
			if code, _, errs := command(environment, "key", "revoke", "01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55"); code != exitFailure || !strings.Contains(errs, "no such key") {
				t.Errorf("a key that is not there: exit %d, %s", code, errs)
			}

			// The last one stays, here as over HTTP.
			list, err := allKeys(t, c)
			if err != nil {
				t.Fatal(err)
			}
			refused := 0
			for _, k := range list {
				if k.Role != record.RoleShop || k.RevokedAt != nil {
					continue
				}
				code, _, errs := command(environment, "key", "revoke", k.ID.String())
				if code == exitFailure && strings.Contains(errs, "Make another one first") {
					refused++
				} else if code != exitOK {
					t.Errorf("exit %d, %s", code, errs)
				}
			}
			if refused != 1 {
				t.Errorf("%d shop keys stay, want the last one", refused)
			}
		})
	}
}

func allKeys(t *testing.T, c Config) ([]record.Key, error) {
	t.Helper()
	st, _, err := open(t.Context(), c)
	if err != nil {
		return nil, err
	}
	defer st.Close()
	l, err := st.Keys().List(t.Context(), store.ShopScope(), store.KeyFilter{}, store.Page{Limit: store.MaxLimit})
	return l.Items, err
}

// TestKeyCommandRefusals: what is wrong is said, all of it, with the exit code of a
// wrong use, and nothing is made.
func TestKeyCommandRefusals(t *testing.T) {
	there := config(t).DataFile
	if code, _, errs := command(map[string]string{"HATCHWRIGHT_DATA": there}, "migrate"); code != exitOK {
		t.Fatal(errs)
	}
	missing := filepath.Join(t.TempDir(), "none.db")
	for _, c := range []struct {
		name string
		data string
		args []string
		code int
		says string
	}{
		{"nothing", there, nil, exitUsage, "usage:"},
		{"help", there, []string{"help"}, exitOK, "usage:"},
		{"another word", there, []string{"make"}, exitUsage, "usage:"},
		{"no role", there, []string{"new", "-name", "x"}, exitUsage, "-role"},
		{"no name", there, []string{"new", "-role", "shop"}, exitUsage, "-name"},
		{"two faults", there, []string{"new", "-role", "boss", "-name", "a\nb"}, exitUsage, "one line"},
		{"a dealer key of nobody", there, []string{"new", "-role", "dealer", "-name", "x"}, exitUsage, "-dealer"},
		{"a shop key of a dealer", there, []string{"new", "-role", "shop", "-name", "x", "-dealer", "y"}, exitUsage, "-dealer"},
		{"no time", there, []string{"new", "-role", "shop", "-name", "x", "-expires", "tomorrow"}, exitUsage, "-expires"},
		{"a time that is past", there, []string{"new", "-role", "shop", "-name", "x", "-expires", "2020-01-01T00:00:00Z"}, exitFailure, "still to come"},
		{"a dealer who is not there", there, []string{"new", "-role", "dealer", "-name", "x", "-dealer", "Nobody"}, exitFailure, "Nobody"},
		{"a word too many", there, []string{"list", "all"}, exitUsage, "left over"},
		{"no id", there, []string{"revoke"}, exitUsage, "id"},
		{"nonsense for an id", there, []string{"revoke", "7"}, exitUsage, "id"},
		{"no store", missing, []string{"new", "-role", "shop", "-name", "x"}, exitFailure, "no store"},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, out, errs := command(map[string]string{"HATCHWRIGHT_DATA": c.data}, append([]string{"key"}, c.args...)...)
			if code != c.code {
				t.Errorf("exit %d, want %d", code, c.code)
			}
			if !strings.Contains(errs, c.says) {
				t.Errorf("it says %q, want %q in it", errs, c.says)
			}
			if out != "" {
				t.Errorf("standard output has %q", out)
			}
		})
	}
	if _, err := os.Stat(missing); err == nil {
		t.Error("a store was made where there was none")
	}
	c := config(t)
	c.DataFile = there
	if list, err := allKeys(t, c); err != nil || len(list) != 0 {
		t.Errorf("%d keys were made, %v", len(list), err)
	}
}
