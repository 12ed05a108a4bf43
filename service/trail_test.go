package service

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"reflect"
	"strings"
	"testing"

	"hatchwright/store"
)

// quiet are the methods of registers that change nothing which a person does: they
// read, take locks, or are the service's own bookkeeping.
var quiet = map[string]bool{
	"Dealers.Get": true, "Dealers.List": true,
	"Keys.ByHash": true, "Keys.List": true, "Keys.TouchLastUsed": true, "Keys.Spend": true, "Keys.HoldShop": true,
	"Configurations.Get": true, "Configurations.List": true,
	"ShopDocuments.Get": true, "ShopDocuments.List": true,
	"Idempotency.Begin": true, "Idempotency.Renew": true, "Idempotency.Finish": true, "Idempotency.Abandon": true, "Idempotency.Sweep": true,
	"Quotes.List": true,
	"Orders.List": true, "Orders.Operations": true, "Orders.Hold": true,
	"Events.After": true, "Events.Get": true, "Events.Last": true, "Events.List": true,
	"Webhooks.List": true, "Webhooks.NoteFailure": true, "Webhooks.NoteSuccess": true, "Webhooks.Disable": true, "Webhooks.Pause": true, "Webhooks.Enable": true,
	"Deliveries.Pending": true, "Deliveries.Insert": true, "Deliveries.Claim": true, "Deliveries.Finish": true, "Deliveries.Earliest": true, "Deliveries.List": true,
	"Molds.Exact": true, "Molds.Near": true, "Molds.OfSets": true, "Molds.Reservations": true, "Molds.Reserved": true, "Molds.List": true,
	"Stock.Hold": true, "Stock.HoldMaterials": true, "Stock.Lots": true, "Stock.Moves": true, "Stock.OnHand": true, "Stock.Kept": true, "Stock.Reservations": true,
	"Plans.Get": true, "Plans.Open": true, "Plans.Finish": true, "Plans.Outcomes": true, "Plans.Observe": true, "Plans.Observations": true,
	"Allowances.Hold": true, "Allowances.Count": true,
	"Audit.Append": true, "Audit.List": true,
	"Retention.RemoveDeliveries": true, "Retention.RemoveEvents": true, "Retention.RemoveAudit": true, "Retention.RemoveQuotes": true, "Retention.RemoveConfigurations": true, "Retention.EventsFrom": true,
}

// beside are the calls that write past writing, and why they may.
var beside = map[string]string{
	"spend.go Keys.Spend":                    "a count of use",
	"bootstrap.go ShopDocuments.Put":         "the example documents of a new store",
	"read_backlog.go Plans.Put":              "a plan that the service works out itself",
	"read_backlog.go Plans.Finish":           "likewise",
	"read_backlog.go InTx":                   "what the reports of the floor teach",
	"deliver_webhooks.go InTx":               "deliveries, which are told by events",
	"deliver_webhooks.go Deliveries.Claim":   "likewise",
	"deliver_webhooks.go Deliveries.Finish":  "likewise",
	"once.go Idempotency.Begin":              "claims are no change",
	"once.go Idempotency.Abandon":            "likewise",
	"once.go Idempotency.Renew":              "likewise",
	"seal_secrets.go Webhooks.Update":        "a secret that stands in the store in another form; nothing that is read of it changes",
	"keep.go Idempotency.Sweep":              "what is over its time",
	"keep.go Retention.RemoveDeliveries":     "likewise",
	"keep.go Retention.RemoveQuotes":         "likewise",
	"keep.go Retention.RemoveConfigurations": "likewise",
	"keep.go InTx":                           "likewise",
	"trail.go InTx":                          "writing itself",
}

// sources are the files of the package, by name.
func sources(t *testing.T) map[string]*ast.File {
	t.Helper()
	names, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	files, set := map[string]*ast.File{}, token.NewFileSet()
	for _, n := range names {
		if !strings.HasSuffix(n.Name(), ".go") || strings.HasSuffix(n.Name(), "_test.go") {
			continue
		}
		if files[n.Name()], err = parser.ParseFile(set, n.Name(), nil, 0); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

// TestEveryWriteLeavesATrail: each method of each register either leaves a trail or
// is known to change nothing that a person does.
func TestEveryWriteLeavesATrail(t *testing.T) {
	trails := map[string]bool{}
	for _, d := range sources(t)["trail.go"].Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok || f.Recv == nil {
			continue
		}
		if on, ok := f.Recv.List[0].Type.(*ast.Ident); ok {
			trails[strings.TrimPrefix(on.Name, "trailed")+"."+f.Name.Name] = true
		}
	}
	registers := reflect.TypeFor[store.Registers]()
	for i := range registers.NumMethod() {
		register := registers.Method(i)
		of := register.Type.Out(0)
		for j := range of.NumMethod() {
			name := register.Name + "." + of.Method(j).Name
			if trails[name] == quiet[name] && !(trails[name] && strings.HasSuffix(name, ".Get")) {
				t.Errorf("%s: let it leave a trail in trail.go, or say here that it changes nothing (trail %t, quiet %t)", name, trails[name], quiet[name])
			}
			if trails[name] && !trails["."+register.Name] {
				t.Errorf("%s leaves a trail that no transaction leads to", name)
			}
		}
	}
}

// TestNothingIsWrittenBesideTheTrail: a use case has no way to the store that leaves
// no trail.
func TestNothingIsWrittenBesideTheTrail(t *testing.T) {
	met := map[string]bool{}
	for name, file := range sources(t) {
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			method, ok := call.Fun.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			what := ""
			if isStore(method.X) && method.Sel.Name == "InTx" {
				what = "InTx"
			}
			if inner, ok := method.X.(*ast.CallExpr); ok {
				if register, ok := inner.Fun.(*ast.SelectorExpr); ok && isStore(register.X) {
					what = register.Sel.Name + "." + method.Sel.Name
				}
			}
			reads := strings.HasSuffix(what, ".Get") || strings.HasSuffix(what, ".Latest") || quiet[what]
			if why := beside[name+" "+what]; why != "" {
				met[name+" "+what] = true
			} else if what != "" && !reads {
				t.Errorf("%s calls %s outside of writing: it would leave no trail", name, what)
			}
			return true
		})
	}
	for k := range beside {
		if !met[k] {
			t.Errorf("%q is no longer there: take it off the list", k)
		}
	}
}

// isStore tells the expression s.store.
func isStore(x ast.Expr) bool {
	s, ok := x.(*ast.SelectorExpr)
	return ok && s.Sel.Name == "store"
}
