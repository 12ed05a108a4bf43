package main

import (
	"encoding/json"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// fileUse is what the files of a package name of one another: the names by the file
// that names and the file that declares.
type fileUse map[[2]string]map[string]bool

// TestFilesOfTheServiceFormNoCycle: in package service, and in the rooms beside it that it
// is made of, files name one another one way.
func TestFilesOfTheServiceFormNoCycle(t *testing.T) {
	for _, room := range []string{"service", "service/backlog", "service/access"} {
		t.Run(room, func(t *testing.T) {
			_, use := filesOf(t, room)
			if cycle := cycleIn(use); len(cycle) > 0 {
				for i, file := range cycle {
					next := cycle[(i+1)%len(cycle)]
					t.Errorf("%s names %v of %s", file, slices.Sorted(maps.Keys(use[[2]string{file, next}])), next)
				}
			}
		})
	}
}

// TestUseCasesKeepTheirHelpers: what a use case's file declares for itself is not used
// from another file. A helper that serves several has a file whose subject it is.
func TestUseCasesKeepTheirHelpers(t *testing.T) {
	useCases, use := filesOf(t, "service")
	if len(useCases) < 40 {
		t.Fatalf("%d files with use cases were found, there are more", len(useCases))
	}
	for pair, names := range use {
		for name := range names {
			if useCases[pair[1]] && !ast.IsExported(name) {
				t.Errorf("%s uses %s of the use case in %s: give it a file of its own", pair[0], name, pair[1])
			}
		}
	}
}

// TestCyclesAreFound tries the search itself.
func TestCyclesAreFound(t *testing.T) {
	for _, c := range []struct {
		name  string
		pairs string
		want  int
	}{
		{"one way", "ab bc ac", 0},
		{"two files", "ab ba", 2},
		{"three files behind another", "xa ab bc ca", 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			use := fileUse{}
			for _, p := range strings.Fields(c.pairs) {
				use[[2]string{p[:1], p[1:]}] = map[string]bool{"f": true}
			}
			if got := cycleIn(use); len(got) != c.want {
				t.Errorf("cycle of %d files %v, want %d", len(got), got, c.want)
			}
		})
	}
}

// filesOf type-checks a package of the module and tells which of its files hold use
// cases (exported methods of *Service) and what its files name of one another.
func filesOf(t *testing.T, room string) (useCases map[string]bool, use fileUse) {
	t.Helper()
	out, err := exec.Command("go", "list", "-export", "-deps", "-json=ImportPath,Dir,Export,GoFiles", "hatchwright/"+room).Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var p struct {
		ImportPath, Dir, Export string
		GoFiles                 []string
	}
	exports := map[string]string{}
	for d := json.NewDecoder(strings.NewReader(string(out))); d.More(); { // the package itself comes last
		p.GoFiles = nil
		if err := d.Decode(&p); err != nil {
			t.Fatal(err)
		}
		exports[p.ImportPath] = p.Export
	}
	set := token.NewFileSet()
	var files []*ast.File
	for _, name := range p.GoFiles {
		f, err := parser.ParseFile(set, filepath.Join(p.Dir, name), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	info := &types.Info{Uses: map[*ast.Ident]types.Object{}}
	read := importer.ForCompiler(set, "gc", func(path string) (io.ReadCloser, error) { return os.Open(exports[path]) })
	own, err := (&types.Config{Importer: read}).Check(p.ImportPath, set, files, info)
	if err != nil {
		t.Fatal(err)
	}
	file := func(at token.Pos) string { return filepath.Base(set.Position(at).Filename) }
	useCases, use = map[string]bool{}, fileUse{}
	for id, o := range info.Uses {
		_, isFunc := o.(*types.Func)
		if o.Pkg() != own || !isFunc && o.Parent() != own.Scope() {
			continue // of another package, a field or a local name
		}
		if from, to := file(id.Pos()), file(o.Pos()); from != to {
			pair := [2]string{from, to}
			if use[pair] == nil {
				use[pair] = map[string]bool{}
			}
			use[pair][o.Name()] = true
		}
	}
	for _, f := range files {
		for _, d := range f.Decls {
			if m, ok := d.(*ast.FuncDecl); ok && m.Recv != nil && m.Name.IsExported() && types.ExprString(m.Recv.List[0].Type) == "*Service" {
				useCases[file(m.Pos())] = true
			}
		}
	}
	return useCases, use
}

// cycleIn is a cycle of files that name one another, nil where there is none.
func cycleIn(use fileUse) []string {
	next := map[string][]string{}
	for pair := range use {
		next[pair[0]] = append(next[pair[0]], pair[1])
	}
	done := map[string]bool{}
	var path []string
	var visit func(string) []string
	visit = func(file string) []string {
		if i := slices.Index(path, file); i >= 0 {
			return slices.Clone(path[i:])
		}
		if done[file] {
			return nil
		}
		done[file] = true
		path = append(path, file)
		for _, to := range next[file] {
			if cycle := visit(to); cycle != nil {
				return cycle
			}
		}
		path = path[:len(path)-1]
		return nil
	}
	for _, file := range slices.Sorted(maps.Keys(next)) {
		if cycle := visit(file); cycle != nil {
			return cycle
		}
	}
	return nil
}
