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

// TestCornersAreNamed: nobody takes a corner of a section, a mold or a board by its
// number, neither from the front nor from the back, for there may be one more.
func TestCornersAreNamed(t *testing.T) {
	eachFile(t, "../../service", func(set *token.FileSet, f *ast.File) {
		if f.Name.Name == "profile" { // works on any path
			return
		}
		for _, at := range numbered(f) {
			t.Errorf("%s takes a corner, a mold or a board by number; ask for it by its mark, part or kind", set.Position(at))
		}
	})
}

// TestPatternsAreAskedInPart: outside the package that makes sections nobody asks which
// pattern a hatch is; what depends on it is asked of the section, or given by the pattern.
func TestPatternsAreAskedInPart(t *testing.T) {
	constants := patternConstants(t)
	for _, root := range []string{"../../service", "../../api"} {
		eachFile(t, root, func(set *token.FileSet, f *ast.File) {
			if f.Name.Name == "part" {
				return
			}
			for _, at := range patternsAsked(f, constants) {
				t.Errorf("%s asks which pattern a hatch is; ask its section for a leg, or let the pattern's file in service/part give what differs", set.Position(at))
			}
		})
	}
}

// eachFile reads every file of Go below a folder that is no test.
func eachFile(t *testing.T, root string, read func(*token.FileSet, *ast.File)) {
	t.Helper()
	files, set := 0, token.NewFileSet()
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(set, path, nil, 0)
		if err != nil {
			return err
		}
		files++
		read(set, f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 50 {
		t.Fatalf("%d files were read below %s, it has more", files, root)
	}
}

// patternConstants are the names of the patterns in package part.
func patternConstants(t *testing.T) map[string]bool {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), "../../service/part/pattern.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]bool{}
	ast.Inspect(f, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok {
			if id, ok := v.Type.(*ast.Ident); ok && id.Name == "Pattern" {
				for _, name := range v.Names {
					out[name.Name] = true
				}
			}
		}
		return true
	})
	if len(out) < 4 {
		t.Fatalf("patterns found: %v", out)
	}
	return out
}

// TestNumberedAndAskedAreFound tries both searches themselves.
func TestNumberedAndAskedAreFound(t *testing.T) {
	constants := patternConstants(t)
	for _, c := range []struct {
		name, body      string
		numbered, asked int
	}{
		{"straight from the section", "_ = p.Vertices()[4]", 1, 0},
		{"from a section that is drawn", "v := drawn(p, c, 0, 0); _ = v[4]", 1, 0},
		{"from a copy", "v := p.Vertices(); _ = v[2].At", 1, 0},
		{"from the back", "v := p.Vertices(); _ = v[len(v)-2]", 1, 0},
		{"a stretch", "v := p.Vertices(); _ = v[2:6]", 1, 0},
		{"a stretch from the back", "v := p.Vertices(); _ = v[:len(v)-2]", 1, 0},
		{"all but the end", "v := p.Vertices(); _ = v[:len(v)-1]", 0, 0},
		{"a mold by part", "_ = n.Molds[\"lid\"]", 0, 0},
		{"in a loop", "v := p.Vertices(); for i := range v { _ = v[i+1] }", 0, 0},
		{"of something else", "v := p.Sides(); _ = v[2]", 0, 0},
		{"a mold", "_ = r.Molds[1].FaceArea", 1, 0},
		{"a board", "m.Layers[1].Volume -= 3", 1, 0},
		{"a board from a copy", "l := m.Layers; _ = l[len(l)-1]", 1, 0},
		{"a comparison", `_ = c.Pattern == "x"`, 0, 1},
		{"a copy compared", "p := c.Pattern; _ = p != q", 0, 1},
		{"a switch", "switch c.Pattern { }", 0, 1},
		{"a constant", "f(part.BoltedPlate)", 0, 1},
		{"an index", "_ = names[c.Pattern]", 0, 1},
		{"as text", "w.text(string(c.Pattern))", 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := parser.ParseFile(token.NewFileSet(), "x.go", "package x\nfunc f() { "+c.body+" }", 0)
			if err != nil {
				t.Fatal(err)
			}
			if got := len(numbered(f)); got != c.numbered {
				t.Errorf("%d numbered, want %d", got, c.numbered)
			}
			if got := len(patternsAsked(f, constants)); got != c.asked {
				t.Errorf("%d asked, want %d", got, c.asked)
			}
		})
	}
}

// lists are what a section's corners, a hatch's molds and a mold's boards are had from.
var lists = map[string]bool{"Vertices": true, "drawn": true, "lidVertices": true, "Molds": true, "Layers": true}

// named is the last name of an expression, or of what it calls.
func named(e ast.Expr) string {
	switch x := e.(type) {
	case *ast.CallExpr:
		return named(x.Fun)
	case *ast.SelectorExpr:
		return x.Sel.Name
	case *ast.Ident:
		return x.Name
	}
	return ""
}

// copies are the variables of a declaration that hold what is had from one of the names.
func copies(d ast.Decl, of map[string]bool) map[string]bool {
	out := map[string]bool{}
	ast.Inspect(d, func(n ast.Node) bool {
		if x, ok := n.(*ast.AssignStmt); ok && len(x.Lhs) == len(x.Rhs) {
			for i := range x.Lhs {
				if id, ok := x.Lhs[i].(*ast.Ident); ok && of[named(x.Rhs[i])] {
					out[id.Name] = true
				}
			}
		}
		return true
	})
	return out
}

// numbered returns where a file takes one of lists by a number, or by its distance from
// the end.
func numbered(f *ast.File) []token.Pos {
	number := func(e ast.Expr) bool {
		switch i := e.(type) {
		case *ast.BasicLit:
			return i.Kind == token.INT
		case *ast.BinaryExpr: // len(v)-2; a neighbor, i+1, is no number
			_, ok := i.X.(*ast.CallExpr)
			return ok
		}
		return false
	}
	var out []token.Pos
	for _, d := range f.Decls {
		held := copies(d, lists)
		from := func(e ast.Expr) bool {
			id, ok := e.(*ast.Ident)
			return ok && held[id.Name] || !ok && lists[named(e)]
		}
		ast.Inspect(d, func(n ast.Node) bool {
			switch x := n.(type) {
			case *ast.IndexExpr:
				if from(x.X) && number(x.Index) {
					out = append(out, x.Pos())
				}
			case *ast.SliceExpr:
				if from(x.X) && (number(x.Low) || number(x.High) && !allButLast(x.High)) {
					out = append(out, x.Pos())
				}
			}
			return true
		})
	}
	return out
}

// allButLast reports whether a bound is len(v)-1: the end of a path is no number.
func allButLast(e ast.Expr) bool {
	b, ok := e.(*ast.BinaryExpr)
	if !ok || b.Op != token.SUB {
		return false
	}
	one, ok := b.Y.(*ast.BasicLit)
	return ok && one.Value == "1"
}

// patternsAsked returns where a file compares a pattern, switches on one, looks one up, or
// names one.
func patternsAsked(f *ast.File, constants map[string]bool) []token.Pos {
	var out []token.Pos
	for _, d := range f.Decls {
		held := copies(d, map[string]bool{"Pattern": true})
		pattern := func(e ast.Expr) bool {
			if s, ok := e.(*ast.SelectorExpr); ok {
				return s.Sel.Name == "Pattern"
			}
			id, ok := e.(*ast.Ident)
			return ok && held[id.Name]
		}
		ast.Inspect(d, func(n ast.Node) bool {
			asked := false
			switch x := n.(type) {
			case *ast.BinaryExpr:
				asked = (x.Op == token.EQL || x.Op == token.NEQ) && (pattern(x.X) || pattern(x.Y))
			case *ast.SwitchStmt:
				asked = x.Tag != nil && pattern(x.Tag)
			case *ast.IndexExpr:
				asked = pattern(x.Index)
			case *ast.SelectorExpr:
				id, ok := x.X.(*ast.Ident)
				asked = ok && id.Name == "part" && constants[x.Sel.Name]
			}
			if asked {
				out = append(out, n.Pos())
			}
			return true
		})
	}
	return out
}
