package part

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/format"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// lacking names what a pattern must give beside its methods and does not.
func lacking(p pattern) (out []string) {
	lack := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	uses := p.figures()
	known := func(place string, figures []string) {
		for _, f := range figures {
			if q := At(f); q == nil || q.Applies != nil && !slices.Contains(uses, f) {
				lack("%s: %s is no figure of it", place, f)
			}
		}
	}
	if p.name() == "" {
		lack("name")
	}
	if len(uses) == 0 {
		lack("figures")
	}
	known("figures", uses)
	c := &Configuration{Pattern: p.name(), Receiver: ReceiverFigures{RecessDepth: 20, LedgeWidth: 30, TrunkHeight: 40, FlangeWidth: 50, EdgeRadius: 1, RootRadius: 1, LipRadius: 1},
		Gutter: Gutter{Width: 30, Depth: 20, UpstandWidth: 30}, Coaming: Coaming{Height: 60, TopWidth: 30}, Plate: Plate{Overlap: 30}}
	v := drawn(p, c, 0, 0)
	if len(v) < 2 {
		lack("receiver: its section has no leg")
	}
	trunk := false
	for _, k := range v {
		trunk = trunk || k.Leg == Trunk
		if k.Corner == 0 {
			lack("receiver: a corner without a mark")
		}
		if k.Corner != FlangeEnd && LegName(k.Leg) == "" {
			lack("legs: no name of leg %d", k.Leg)
		}
		if _, told := filled[k.Corner]; k.Radius > 0 && !told {
			lack("filled: corner %d is neither filled nor rounded", k.Corner)
		}
		if k.Radius > 0 {
			known("receiver", []string{k.Name})
			known("makesRoom", p.makesRoom(k.Name))
			if len(p.makesRoom(k.Name)) == 0 {
				lack("makesRoom: nothing for %s", k.Name)
			}
		}
	}
	narrow, tooMuch := p.narrows()
	known("narrows", narrow)
	if len(narrow) == 0 || tooMuch == "" {
		lack("narrows")
	}
	if !trunk {
		return out
	}
	up, down := p.widens(Fit{})
	known("widens", append(up, down...))
	known("heightens", p.heightens())
	known("seatWidth", []string{p.seatWidth()})
	if message, _ := p.jams(Fit{}); strings.Count(message, "%v") != 3 {
		lack("jams: %q does not say what is left, where, and what is asked for", message)
	}
	for place, given := range map[string]bool{"widens": len(up) > 0, "heightens": len(p.heightens()) > 0, "trunkRise": p.trunkRise(c) > 0, "wall": p.wall(c) > 0, "depthBelow": p.depthBelow(c) > 0} {
		if !given {
			lack("%s", place)
		}
	}
	return out
}

// TestPatternsAreWhole: every pattern that is built gives all that is asked of one.
func TestPatternsAreWhole(t *testing.T) {
	var names []Pattern
	for _, p := range built {
		for _, place := range lacking(p) {
			t.Errorf("%s lacks %s", p.name(), place)
		}
		if slices.Contains(names, p.name()) {
			t.Errorf("%s is built twice", p.name())
		}
		names = append(names, p.name())
	}
	if !slices.Equal(At("/pattern").Words, words(names)) {
		t.Errorf("words of /pattern: %q, built are %q", At("/pattern").Words, names)
	}
}

// TestUnknownPatternIsRefused: neither the zero pattern nor an unknown one is taken for
// any that is built.
func TestUnknownPatternIsRefused(t *testing.T) {
	for _, name := range []Pattern{"", "fifth"} {
		c := Complete(Request{Configuration: Configuration{Pattern: name, Outline: Plan{Shape: Circle, Diameter: 500}}}, Shop{})
		g, list := Resolve(&c, Thicknesses{Receiver: 4, Skirt: 4, Panel: 20}, Sizes{})
		if g.Stage != StageNone {
			t.Errorf("%q: stage %d", name, g.Stage)
		}
		if len(list) != 1 || list[0].Code != "pattern.unknown" || len(list[0].Mends) != len(built) {
			t.Errorf("%q: findings %+v", name, list)
		}
		if c.HasTrunk() || At("/receiver/recess_depth").Used(&c) {
			t.Errorf("%q has a trunk or a recess", name)
		}
	}
}

// fifth is a pattern whose methods are there and say nothing.
type fifth struct{ boltedPlate }

func (fifth) name() Pattern               { return "fifth" }
func (fifth) figures() []string           { return nil }
func (fifth) narrows() ([]string, string) { return nil, "" }
func (fifth) receiver(_ *Configuration, s *section) {
	s.add(-20, 0, 2, "/receiver/shoulder_radius", 200, 60)
	s.add(0, 20, 0, "", Trunk, TrunkFoot)
}

// TestFifthPatternIsFound: the table names each place that a pattern says nothing in.
func TestFifthPatternIsFound(t *testing.T) {
	got := strings.Join(lacking(fifth{}), "\n")
	for _, place := range []string{"figures", "legs: no name of leg 200", "filled: corner 60", "receiver: /receiver/shoulder_radius", "makesRoom", "narrows", "widens", "heightens",
		"seatWidth", "jams", "trunkRise", "wall", "depthBelow"} {
		if !strings.Contains("\n"+got, "\n"+place) {
			t.Errorf("%s is not named in\n%s", place, got)
		}
	}
}

// TestFifthPatternDoesNotCompile: a fifth pattern, a copy of one that is built, is
// refused by the compiler while it lacks any one method, which the compiler names.
func TestFifthPatternDoesNotCompile(t *testing.T) {
	set := token.NewFileSet()
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	var files []*ast.File
	var methods []*ast.FuncDecl
	var asked []string
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		f, err := parser.ParseFile(set, e.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
		ast.Inspect(f, func(n ast.Node) bool {
			switch x := n.(type) {
			case *ast.TypeSpec:
				if list, ok := x.Type.(*ast.InterfaceType); ok && x.Name.Name == "pattern" {
					for _, m := range list.Methods.List {
						asked = append(asked, m.Names[0].Name)
					}
				}
			case *ast.FuncDecl:
				if x.Recv != nil {
					if id, ok := x.Recv.List[0].Type.(*ast.Ident); ok && id.Name == "boltedPlate" {
						methods = append(methods, x)
					}
				}
			}
			return true
		})
	}
	if len(asked) < 15 {
		t.Fatalf("%d methods are asked of a pattern: %q", len(asked), asked)
	}
	from := exported(t)
	compile := func(without string) []string {
		var b bytes.Buffer
		b.WriteString("package part\ntype fifth struct{}\nvar _ = append(built, fifth{})\n")
		for _, m := range methods {
			if m.Name.Name == without {
				continue
			}
			own := *m
			own.Recv = &ast.FieldList{List: []*ast.Field{{Names: m.Recv.List[0].Names, Type: ast.NewIdent("fifth")}}}
			if err := format.Node(&b, set, &own); err != nil {
				t.Fatal(err)
			}
			b.WriteString("\n")
		}
		src := b.String()
		head := "package part\nimport (\n\"hatchwright/service/finding\"\n)\nvar _ finding.Finding\n"
		f, err := parser.ParseFile(set, "fifth.go", strings.Replace(src, "package part\n", head, 1), 0)
		if err != nil {
			t.Fatal(err)
		}
		var faults []string
		check := types.Config{Importer: from, Error: func(err error) { faults = append(faults, err.Error()) }}
		_, _ = check.Check("hatchwright/service/part", set, append(slices.Clone(files), f), nil)
		return faults
	}
	if faults := compile(""); len(faults) > 0 {
		t.Fatalf("a whole copy does not compile: %q", faults)
	}
	for _, name := range asked {
		t.Run(name, func(t *testing.T) {
			if got := strings.Join(compile(name), "\n"); !strings.Contains(got, "fifth does not implement pattern (missing method "+name+")") {
				t.Errorf("without %s the compiler says %q", name, got)
			}
		})
	}
}

// exported imports what the build keeps of the packages that this one imports.
func exported(t *testing.T) types.Importer {
	t.Helper()
	out, err := exec.Command("go", "list", "-export", "-deps", "-f", "{{.ImportPath}} {{.Export}}", ".").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	kept := map[string]string{}
	for line := range strings.Lines(string(out)) {
		if path, file, ok := strings.Cut(strings.TrimSpace(line), " "); ok {
			kept[path] = file
		}
	}
	return importer.ForCompiler(token.NewFileSet(), "gc", func(path string) (io.ReadCloser, error) { return os.Open(kept[path]) })
}
