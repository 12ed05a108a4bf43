package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// numbersItsCorners are the packages that may take a section's corners by number:
// the one that makes sections and the one that works on any path.
var numbersItsCorners = map[string]bool{"part": true, "profile": true}

// TestCornersAreNamed: outside the packages that make sections nobody takes a
// corner by its number, neither from the front nor from the back, for a section may
// gain one.
func TestCornersAreNamed(t *testing.T) {
	files, set := 0, token.NewFileSet()
	err := filepath.WalkDir("../../service", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(set, path, nil, 0)
		if err != nil {
			return err
		}
		files++
		if !numbersItsCorners[f.Name.Name] {
			for _, at := range numberedCorners(f) {
				t.Errorf("%s takes a corner of a section by number; ask for it by its mark", set.Position(at))
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 100 {
		t.Fatalf("%d files were read, the service has more", files)
	}
}

// TestNumberedCornersAreFound tries the search itself.
func TestNumberedCornersAreFound(t *testing.T) {
	for _, c := range []struct {
		name, body string
		want       int
	}{
		{"straight from the section", "_ = p.Vertices()[4]", 1},
		{"from a copy", "v := p.Vertices(); _ = v[2].At", 1},
		{"from the back", "v := p.Vertices(); _ = v[len(v)-2]", 1},
		{"in a loop", "v := p.Vertices(); for i := range v { _ = v[i+1] }", 0},
		{"of something else", "v := p.Sides(); _ = v[2]", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := parser.ParseFile(token.NewFileSet(), "x.go", "package x\nfunc f() { "+c.body+" }", 0)
			if err != nil {
				t.Fatal(err)
			}
			if got := len(numberedCorners(f)); got != c.want {
				t.Errorf("%d found, want %d", got, c.want)
			}
		})
	}
}

// numberedCorners returns where a file takes one of a section's vertices by a number,
// or by its distance from the end.
func numberedCorners(f *ast.File) []token.Pos {
	vertices := func(e ast.Expr) bool {
		call, ok := e.(*ast.CallExpr)
		if !ok {
			return false
		}
		s, ok := call.Fun.(*ast.SelectorExpr)
		return ok && s.Sel.Name == "Vertices"
	}
	var out []token.Pos
	for _, d := range f.Decls {
		copies := map[string]bool{}
		ast.Inspect(d, func(n ast.Node) bool {
			switch x := n.(type) {
			case *ast.AssignStmt:
				if len(x.Lhs) == 1 && len(x.Rhs) == 1 && vertices(x.Rhs[0]) {
					if id, ok := x.Lhs[0].(*ast.Ident); ok {
						copies[id.Name] = true
					}
				}
			case *ast.IndexExpr:
				id, named := x.X.(*ast.Ident)
				if !vertices(x.X) && (!named || !copies[id.Name]) {
					return true
				}
				switch i := x.Index.(type) {
				case *ast.BasicLit:
					out = append(out, x.Pos())
				case *ast.BinaryExpr: // len(v)-2; a neighbor, i+1, is no number
					if _, ok := i.X.(*ast.CallExpr); ok {
						out = append(out, x.Pos())
					}
				}
			}
			return true
		})
	}
	return out
}
