package main

import (
	"bufio"
	"bytes"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"hatchwright/store/postgres/postgrestest"
)

// visit is the program in a folder of its own, until it was asked to stop.
type visit struct {
	folder, out, errs string
}

// visited starts the program in a folder, lets use have its URL, stops it by SIGTERM and
// gives what it said.
func visited(t *testing.T, folder string, environment []string, use func(url string), args ...string) visit {
	t.Helper()
	p := exec.Command(os.Args[0], append([]string{"serve"}, args...)...)
	p.Dir = folder
	p.Env = append(os.Environ(), append([]string{asProgram + "=1", "HATCHWRIGHT_ADDRESS=127.0.0.1:0", "HATCHWRIGHT_DRAIN_DELAY=0"}, environment...)...)
	var errs bytes.Buffer
	p.Stderr = &errs
	pipe, err := p.StdoutPipe()
	if err == nil {
		err = p.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	lines := bufio.NewScanner(pipe)
	for lines.Scan() {
		out.WriteString(lines.Text() + "\n")
		if at, ok := strings.CutPrefix(lines.Text(), "hatchwright on "); ok {
			url, _, _ := strings.Cut(at, ",")
			for since := time.Now(); time.Since(since) < time.Minute; time.Sleep(10 * time.Millisecond) {
				if a, err := http.Get(url + "/readyz"); err == nil {
					a.Body.Close()
					if a.StatusCode == http.StatusOK {
						break
					}
				}
			}
			use(url)
			if err := p.Process.Signal(syscall.SIGTERM); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := p.Wait(); err != nil {
		t.Errorf("%v: %s", err, errs.String())
	}
	return visit{folder, out.String(), errs.String()}
}

// TestNothingIsLeftBehind: what the first command of the README leaves in the folder that
// it is run in is what .gitignore covers, and no more.
func TestNothingIsLeftBehind(t *testing.T) {
	ignored, err := os.ReadFile("../../.gitignore")
	if err != nil {
		t.Fatal(err)
	}
	visit := visited(t, t.TempDir(), nil, func(string) {}, "--demo")
	left, err := os.ReadDir(visit.folder)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range left {
		names = append(names, f.Name())
		covered := false
		for pattern := range strings.Lines(string(ignored)) {
			ok, err := filepath.Match(strings.TrimPrefix(strings.TrimSpace(pattern), "/"), f.Name())
			if err != nil {
				t.Fatal(err)
			}
			covered = covered || ok
		}
		if !covered {
			t.Errorf("%s is left, which .gitignore does not cover", f.Name())
		}
		if strings.HasSuffix(f.Name(), ".migrating") {
			t.Errorf("%s is left", f.Name())
		}
	}
	if len(names) == 0 {
		t.Error("there is no store either")
	}
	t.Logf("left: %v", names)
}

// secretKey is any key but those of the demo scenario, which everybody knows.
var secretKey = regexp.MustCompile(`hw_[A-Za-z0-9_-]{43}\b`)

// TestFirstKey: what the program says holds no key; the shop key of a first start is in a
// new file for its owner alone, opens, and is made once.
func TestFirstKey(t *testing.T) {
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			folder := t.TempDir()
			var environment []string
			name := "hatchwright.db.first-shop-key"
			if engine == "postgres" {
				environment = []string{"DATABASE_URL=" + postgrestest.Migrated(t)}
				name = "hatchwright.first-shop-key"
			}
			file := filepath.Join(folder, name)
			if err := os.WriteFile(file, []byte("of another store"), 0o644); err != nil {
				t.Fatal(err)
			}
			var made string
			first := visited(t, folder, environment, func(url string) {
				info, err := os.Stat(file + "-2")
				if err != nil {
					t.Fatal(err)
				}
				if info.Mode() != 0o600 {
					t.Errorf("the file of the key has mode %v, want 0600", info.Mode())
				}
				b, err := os.ReadFile(file + "-2")
				if err != nil {
					t.Fatal(err)
				}
				made = strings.TrimSpace(string(b))
				if status, body := get(t, url+"/v1/keys", made); status != http.StatusOK {
					t.Errorf("the key in the file: %d %s", status, body)
				}
			})
			if b, err := os.ReadFile(file); err != nil || string(b) != "of another store" {
				t.Errorf("the file that was there has %q, %v", b, err)
			}
			second := visited(t, folder, environment, func(url string) {
				if status, body := get(t, url+"/v1/keys", made); status != http.StatusOK {
					t.Errorf("the key after a restart: %d %s", status, body)
				}
			})
			for what, said := range map[string]string{"standard output": first.out, "the log": first.errs, "standard output of the second start": second.out, "the log of the second start": second.errs} {
				if key := secretKey.FindString(said); key != "" {
					t.Errorf("%s has a key", what)
				}
			}
			if !strings.Contains(first.errs, file+"-2") || !strings.Contains(first.out, file+"-2") {
				t.Errorf("it does not say where the key is: %s%s", first.out, first.errs)
			}
			if strings.Contains(second.errs+second.out, "first shop key") {
				t.Errorf("the second start speaks of a first key: %s%s", second.out, second.errs)
			}
			if _, err := os.Stat(file + "-3"); err == nil {
				t.Error("the second start made another key")
			}
		})
	}
}

// A first key that cannot be written is none: the start fails, says what to do, and the
// next one makes a key.
func TestFirstKeyWithoutAPlace(t *testing.T) {
	c := config(t)
	environment := map[string]string{"HATCHWRIGHT_DATA": c.DataFile, "HATCHWRIGHT_ADDRESS": "127.0.0.1:0", "HATCHWRIGHT_FIRST_KEY_FILE": filepath.Join(t.TempDir(), "no", "folder")}
	code, out, errs := command(environment, "serve")
	if code != exitFailure || !strings.Contains(errs, "HATCHWRIGHT_FIRST_KEY_FILE") || secretKey.MatchString(out+errs) {
		t.Errorf("exit %d, %s%s", code, out, errs)
	}
	p, _, stop := start(t, c)
	if p.ShopKey == "" {
		t.Error("the next start makes no key")
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}
