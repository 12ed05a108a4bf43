package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "hatchwright/"

// allowed is the architecture as a table: each package, and the packages of this
// module that it may import. A package that is not listed fails the test, so a
// new one is placed by whoever makes it. Imports go one way: what a row names
// stands above it.
var allowed = map[string][]string{
	// what tests say
	"service/check": {},
	// level 0: units, dates, money, errors, records
	"service/civil":     {},
	"service/quantity":  {},
	"service/money":     {},
	"service/fault":     {},
	"service/record":    {"service/money", "service/stockroom"},
	"service/stockroom": {"service/civil"},
	// level 1: shapes, findings, materials, plates, calendars, sheets
	"service/finding":  {"service/quantity"},
	"service/outline":  {},
	"service/profile":  {"service/outline"},
	"service/plate":    {},
	"service/laminate": {"service/plate"},
	"service/schedule": {"service/civil"},
	"service/order":    {"service/money", "service/record"},
	"service/register": {"service/outline", "service/part", "service/profile", "service/tooling"},
	"service/nest":     {},
	"service/shop":     {"service/civil", "service/laminate", "service/schedule"},
	// level 2: the part, its tooling, its operations
	"service/part": {"service/finding", "service/outline", "service/profile", "service/quantity"},
	"service/tooling": {"service/finding", "service/nest", "service/outline", "service/part", "service/profile",
		"service/quantity", "service/shop"},
	"service/routing": {"service/civil", "service/schedule", "service/shop"},
	// level 3: what it costs
	"service/bill": {"service/money", "service/shop"},
	"service/backlog": {"service/bill", "service/civil", "service/derivation", "service/money", "service/record",
		"service/routing", "service/schedule", "service/shop", "service/stockroom", "service/tooling"},
	// level 4: one configuration, whole; pictures of it
	"service/derivation": {"service/bill", "service/civil", "service/finding", "service/laminate", "service/nest",
		"service/outline", "service/part", "service/profile", "service/quantity", "service/routing", "service/schedule",
		"service/shop", "service/tooling"},
	"service/drawing": {"service/civil", "service/derivation", "service/laminate", "service/model3d", "service/nest",
		"service/outline", "service/part", "service/profile", "service/quantity", "service/schedule", "service/tooling"},
	"service/model3d": {"service/derivation", "service/outline", "service/part", "service/profile", "service/tooling"},
	"service/packet": {"service/civil", "service/derivation", "service/drawing", "service/finding", "service/laminate",
		"service/outline", "service/part", "service/quantity", "service/routing", "service/schedule", "service/tooling"},
	// storage: interfaces, then engines
	"store":          {"service/money", "service/record", "service/stockroom"},
	"store/table":    {"service/record", "store"},
	"store/sqlite":   {"service/record", "service/register", "service/stockroom", "store", "store/table"},
	"store/postgres": {"service/record", "service/register", "service/stockroom", "store", "store/table"},
	"store/storetest": {"service/civil", "service/money", "service/record", "service/register", "service/stockroom",
		"store"},
	// webhooks: signing and sending, which needs the network
	"service/webhook": {},
	// tokens of an identity provider, whose keys come over the network
	"service/identity": {},
	// who is let in: keys in the store, people of a provider
	"service/access": {"service/fault", "service/identity", "service/order", "service/record", "store"},
	// use cases
	"service": {"service/access", "service/backlog", "service/bill", "service/civil", "service/derivation", "service/drawing",
		"service/fault", "service/finding", "service/identity", "service/model3d", "service/money", "service/order",
		"service/packet", "service/part", "service/quantity", "service/record", "service/register", "service/routing",
		"service/schedule", "service/shop", "service/stockroom", "service/webhook", "store"},
	// the wire
	"openapi": {},
	// for those who ask, and for those who are called
	"openapi/client":   {},
	"openapi/receiver": {"openapi/client"},
	"api": {"openapi", "service", "service/access", "service/backlog", "service/bill", "service/civil", "service/derivation",
		"service/drawing", "service/fault", "service/finding", "service/identity", "service/laminate", "service/money",
		"service/order", "service/outline", "service/part", "service/quantity", "service/record", "service/schedule",
		"service/stockroom", "service/tooling", "store"},
	// wiring
	"cmd/hatchwright": {"api", "openapi", "service", "service/backlog", "service/derivation", "service/fault",
		"service/identity", "service/record", "service/routing", "service/schedule", "service/shop", "service/webhook",
		"store", "store/postgres", "store/sqlite"},
}

// impure packages may use the clock, the environment, the network, logs and SQL;
// every other package under service/ may not.
// service/record only names the type of an HTTP header.
var impure = []string{"service", "service/fault", "service/record", "service/webhook", "service/identity", "service/access"}

// forbidden are packages that a pure package does not import.
var forbidden = []string{"os", "net", "net/http", "log", "log/slog", "database/sql", "math/rand", "crypto/rand", "os/exec", "syscall", "context"}

// clock and random are functions that a pure package does not name: what reads the
// clock or waits on it, and what draws from a source that the whole program shares.
var (
	clock  = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "NewTimer", "NewTicker", "Tick"}
	random = []string{"ExpFloat64", "Float32", "Float64", "Int", "Int32", "Int32N", "Int64", "Int64N", "IntN", "N", "NormFloat64", "Perm", "Shuffle",
		"Uint", "Uint32", "Uint32N", "Uint64", "Uint64N", "UintN"}
)

type listed struct {
	ImportPath, Dir  string
	Imports, GoFiles []string
}

// packages are those of this module, as go list finds them.
func packages(t *testing.T) []listed {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Dir,Imports,GoFiles", module+"...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	if len(all) < 10 {
		t.Fatalf("go list found %d packages: the test looked at the wrong place", len(all))
	}
	return all
}

func TestImportsFollowTheTable(t *testing.T) {
	used := map[string]map[string]bool{}
	for _, p := range packages(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		row := base(name)
		may, ok := allowed[row]
		if !ok {
			t.Errorf("%s has no row in the table: decide what it may import and add one", name)
			continue
		}
		if used[row] == nil {
			used[row] = map[string]bool{}
		}
		for _, i := range p.Imports {
			if own, ok := strings.CutPrefix(i, module); ok {
				used[row][own] = true
				if !slices.Contains(may, own) && base(own) != row {
					t.Errorf("%s imports %s, which its row does not allow", name, own)
				}
				continue
			}
			if pure(name) && slices.Contains(forbidden, i) {
				t.Errorf("%s is pure and imports %s", name, i)
			}
		}
	}
	for row, may := range allowed {
		if used[row] == nil {
			t.Errorf("there is no package %s: remove its row", row)
			continue
		}
		for i, own := range may {
			if slices.Contains(may[:i], own) {
				t.Errorf("the row of %s allows %s twice", row, own)
			}
			if !used[row][own] {
				t.Errorf("%s does not import %s: remove it from the row", row, own)
			}
		}
	}
}

// TestPurePackagesHaveNoClock looks for the clock and for shared random sources in the
// syntax trees of pure packages, whatever name the import has there.
func TestPurePackagesHaveNoClock(t *testing.T) {
	looked := 0
	for _, p := range packages(t) {
		if !pure(strings.TrimPrefix(p.ImportPath, module)) {
			continue
		}
		for _, name := range p.GoFiles {
			looked++
			for _, fault := range impurities(t, filepath.Join(p.Dir, name), nil) {
				t.Errorf("%s is pure: %s", p.ImportPath, fault)
			}
		}
	}
	if looked < 100 {
		t.Errorf("looked at %d files of pure packages, want 100 at least", looked)
	}
}

// TestImpuritiesAreFound holds the search itself to a file that has each kind.
func TestImpuritiesAreFound(t *testing.T) {
	for source, want := range map[string]string{
		`import "time"; var _ = time.Now`:                                                  "time.Now",
		`import t "time"; func f() { t.Sleep(1) }`:                                         "time.Sleep",
		`import . "time"; var _ = Hour`:                                                    "import of time into the file's own names",
		`import "math/rand/v2"; var _ = rand.IntN(3)`:                                      "math/rand/v2.IntN",
		`import "math/rand/v2"; var _ = rand.N[int]`:                                       "math/rand/v2.N",
		`import "time"; var _ = time.Hour`:                                                 "",
		`import "math/rand/v2"; var _ = rand.New(rand.NewPCG(1, 2)).IntN(3)`:               "",
		`import "time"; type c struct{}; func f(time c) { _ = time.Now }; var _ time.Time`: "time.Now",
	} {
		t.Run(source, func(t *testing.T) {
			got := strings.Join(impurities(t, "a.go", "package a\n"+source), "; ")
			if (want == "") != (got == "") || !strings.Contains(got, want) {
				t.Errorf("found %q, want %q", got, want)
			}
		})
	}
}

// impurities are the places of a file where clock or random are named. A variable
// that hides the import counts as the import: rename it. Source is nil for a file
// that is to be read.
func impurities(t *testing.T, path string, source any) []string {
	t.Helper()
	files := token.NewFileSet()
	f, err := parser.ParseFile(files, path, source, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	for _, i := range f.Imports {
		imported := strings.Trim(i.Path.Value, `"`)
		var name string
		var bad []string
		switch imported {
		case "time":
			name, bad = "time", clock
		case "math/rand/v2":
			name, bad = "rand", random
		default:
			continue
		}
		if i.Name != nil {
			name = i.Name.Name
		}
		if name == "." {
			found = append(found, fmt.Sprintf("%v: import of %s into the file's own names", files.Position(i.Pos()), imported))
			continue
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				if x, ok := s.X.(*ast.Ident); ok && x.Name == name && slices.Contains(bad, s.Sel.Name) {
					found = append(found, fmt.Sprintf("%v: %s.%s", files.Position(s.Pos()), imported, s.Sel.Name))
				}
			}
			return true
		})
	}
	return found
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
