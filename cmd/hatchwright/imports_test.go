package main

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// allowed is the architecture as a table: each package, and the packages of this
// module that it may import. A package that is not listed fails the test, so a
// new one is placed by whoever makes it. Imports go one way: what a row names
// stands above it.
var allowed = map[string][]string{
	// level 0: units, money, errors, records
	"service/quantity":  {},
	"service/money":     {},
	"service/fault":     {"service/finding", "service/quantity"},
	"service/record":    {"service/money", "service/stockroom"},
	"service/stockroom": {"service/schedule"},
	// level 1: shapes, findings, materials, plates, calendars, sheets
	"service/finding":  {"service/quantity"},
	"service/outline":  {},
	"service/profile":  {"service/outline"},
	"service/plate":    {},
	"service/laminate": {"service/plate"},
	"service/schedule": {},
	"service/order":    {"service/money", "service/record"},
	"service/register": {"service/outline", "service/part", "service/profile", "service/quantity", "service/tooling"},
	"service/nest":     {},
	"service/shop":     {"service/laminate", "service/schedule"},
	// level 2: the part, its tooling, its operations
	"service/part":    {"service/finding", "service/outline", "service/profile", "service/quantity"},
	"service/tooling": {"service/finding", "service/nest", "service/outline", "service/part", "service/profile", "service/quantity", "service/shop"},
	"service/routing": {"service/schedule", "service/shop"},
	// level 3: what it costs
	"service/bill":    {"service/money", "service/shop"},
	"service/backlog": {"service/derivation", "service/record", "service/routing", "service/schedule", "service/shop", "service/stockroom"},
	// level 4: one configuration, whole; pictures of it
	"service/derivation": {"service/bill", "service/finding", "service/laminate", "service/money", "service/nest", "service/outline", "service/part", "service/plate",
		"service/profile", "service/quantity", "service/routing", "service/schedule", "service/shop", "service/tooling"},
	"service/drawing": {"service/bill", "service/derivation", "service/finding", "service/laminate", "service/model3d", "service/nest", "service/outline", "service/part", "service/profile",
		"service/quantity", "service/routing", "service/schedule", "service/shop", "service/tooling"},
	"service/model3d": {"service/derivation", "service/outline", "service/part", "service/profile", "service/quantity", "service/tooling"},
	"service/packet": {"service/bill", "service/derivation", "service/drawing", "service/finding", "service/laminate", "service/money", "service/nest", "service/outline", "service/part",
		"service/profile", "service/quantity", "service/routing", "service/schedule", "service/shop", "service/tooling"},
	// storage: interfaces, then engines
	"store":           {"service/money", "service/record", "service/stockroom"},
	"store/sqlite":    {"service/money", "service/record", "service/register", "service/stockroom", "store"},
	"store/postgres":  {"service/money", "service/record", "service/register", "service/stockroom", "store"},
	"store/storetest": {"service/money", "service/record", "service/register", "service/schedule", "service/stockroom", "store", "store/postgres", "store/sqlite"},
	// webhooks: signing and sending, which needs the network
	"service/webhook": {"service/record"},
	// tokens of an identity provider, whose keys come over the network
	"service/identity": {},
	// use cases
	"service": {"service/backlog", "service/identity", "service/order", "service/register", "service/stockroom", "service/webhook", "service/bill", "service/derivation", "service/drawing", "service/fault", "service/finding", "service/laminate", "service/model3d", "service/money", "service/packet",
		"service/part", "service/quantity", "service/record", "service/routing", "service/schedule", "service/shop", "service/tooling", "store"},
	// the wire
	"openapi": {},
	// for those who ask, and for those who are called
	"openapi/client":   {},
	"openapi/receiver": {"openapi/client"},
	"api": {"openapi", "service", "service/identity", "service/order", "service/record", "service/stockroom", "service/register", "service/backlog", "service/webhook", "service/bill", "service/derivation", "service/drawing", "service/fault", "service/finding", "service/laminate", "service/model3d", "service/money",
		"service/nest", "service/order", "service/outline", "service/part", "service/profile", "service/quantity", "service/record", "service/routing", "service/schedule", "service/shop", "service/tooling", "store"},
	// wiring
	"cmd/hatchwright": {"api", "service/identity", "openapi", "openapi/receiver", "service", "service/backlog", "service/derivation", "service/fault", "service/part", "service/quantity", "service/record", "service/routing", "service/schedule", "service/shop", "service/webhook", "store", "store/postgres", "store/sqlite"},
}

// impure packages may use the clock, the environment, the network, logs and SQL;
// every other package under service/ may not.
// service/record only names the type of an HTTP header.
var impure = []string{"service", "service/fault", "service/record", "service/webhook", "service/identity"}

// forbidden in pure packages, with the one exception beside it.
var forbidden = map[string]string{
	"os": "", "net": "", "net/http": "", "log": "", "log/slog": "", "database/sql": "", "math/rand": "", "os/exec": "", "syscall": "", "context": "",
}

type listed struct {
	ImportPath string
	Imports    []string
}

func TestImportsFollowTheTable(t *testing.T) {
	const module = "hatchwright/"
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports", module+"...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	d := json.NewDecoder(strings.NewReader(string(out)))
	seen := 0
	for {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		seen++
		name := strings.TrimPrefix(p.ImportPath, module)
		may, ok := allowed[base(name)]
		if !ok {
			t.Errorf("%s has no row in the table: decide what it may import and add one", name)
			continue
		}
		for _, i := range p.Imports {
			if own, ok := strings.CutPrefix(i, module); ok {
				if !slices.Contains(may, own) && base(own) != base(name) {
					t.Errorf("%s imports %s, which its row does not allow", name, own)
				}
				continue
			}
			if _, bad := forbidden[i]; bad && pure(name) {
				t.Errorf("%s is pure and imports %s", name, i)
			}
		}
	}
	if seen < 10 {
		t.Fatalf("go list found %d packages: the test looked at the wrong place", seen)
	}
}

// base names the row of a package: packages below a row's folder share it unless
// they have their own.
func base(name string) string {
	for name != "" {
		if _, ok := allowed[name]; ok {
			return name
		}
		cut := strings.LastIndex(name, "/")
		if cut < 0 || name[:cut] == "service" || name[:cut] == "store" {
			return name
		}
		name = name[:cut]
	}
	return name
}

func pure(name string) bool {
	return strings.HasPrefix(name, "service/") && !slices.Contains(impure, name)
}
