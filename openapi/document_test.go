package openapi

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
)

// TestGeneratedCodeIsFresh generates the models and the client again and compares.
func TestGeneratedCodeIsFresh(t *testing.T) {
	fresh := filepath.Join(t.TempDir(), "client.gen.go")
	// The configuration names the output, so the tool is given one that names
	// another.
	config, err := os.ReadFile("oapi-codegen.yaml")
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "config.yaml")
	if err := os.WriteFile(other, bytes.Replace(config, []byte("output: ../client/client.gen.go"), []byte("output: "+fresh), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("go", "-C", "tools", "tool", "oapi-codegen", "-config", other, "../openapi.yaml").CombinedOutput(); err != nil {
		t.Fatalf("oapi-codegen: %v\n%s", err, out)
	}
	want, err := os.ReadFile(fresh)
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile("client/client.gen.go")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Fatal("client/client.gen.go is not what openapi.yaml gives: run go generate ./openapi")
	}
}

// TestDocumentSecondOpinion has another library, with a loader and a validator of
// its own, read the document (pb33f/libopenapi).
func TestDocumentSecondOpinion(t *testing.T) {
	doc, err := libopenapi.NewDocument(Source())
	if err != nil {
		t.Fatal(err)
	}
	if got := doc.GetVersion(); got != "3.0.3" {
		t.Errorf("version %q", got)
	}
	v, errs := validator.NewValidator(doc)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	if ok, faults := v.ValidateDocument(); !ok {
		for _, f := range faults {
			t.Errorf("%s: %s", f.Message, f.Reason)
			for _, s := range f.SchemaValidationErrors {
				t.Errorf("  %s %s", s.KeywordLocation, s.Reason)
			}
		}
	}
}

// TestDocumentIsDescribed walks every schema: each object is closed, each field
// has a description and, when it is a plain value, an example or words; answers
// have every key required.
func TestDocumentIsDescribed(t *testing.T) {
	doc, err := Document()
	if err != nil {
		t.Fatal(err)
	}
	// What arrives may leave fields out; a problem carries a ruling only sometimes,
	// of a path piece only the arcs have a center, a batch's result is one of two, and an
	// event says only what applies.
	partial := map[string]bool{
		"Configuration": true, "PlanShape": true, "PlanCorner": true, "ReceiverFigures": true, "LidFigures": true, "SealFigures": true, "DeckFigures": true,
		"DutyFigures": true, "GutterFigures": true, "CoamingFigures": true, "PlateFigures": true, "LaminateFigures": true, "GelcoatFigures": true, "NewConfiguration": true, "NewDealer": true, "NewDealerKey": true, "NewShopKey": true, "KeyRotation": true,
		"NewQuote": true, "NewQuoteLine": true, "NewOrder": true, "NewShipment": true, "OperationRecord": true, "NewWebhook": true, "EventData": true,
		"NewMold": true, "ShopProfile": true, "ShopTooling": true, "ShopSheet": true, "ShopBit": true, "ShopOpenLid": true, "ShopFit": true, "ShopStrength": true, "ShopUncertainty": true, "ShopRate": true, "ShopMaterials": true, "ShopReinforcement": true, "ShopFitting": true, "ShopPurchase": true, "MoldChange": true, "NewLot": true, "NewStockMove": true,
		"Problem": true, "ProblemError": true, "PathPiece": true, "BatchResult": true,
	}
	walked := 0
	for name, ref := range doc.Components.Schemas {
		s := ref.Value
		if s.Description == "" {
			t.Errorf("%s has no description", name)
		}
		if !s.Type.Is("object") {
			continue
		}
		if has := s.AdditionalProperties.Has; has == nil || *has {
			t.Errorf("%s takes fields that it does not know", name)
		}
		var keys []string
		for key, p := range s.Properties {
			walked++
			keys = append(keys, key)
			described(t, name+"."+key, p)
		}
		if _, parted := s.Extensions["x-roles"]; parted {
			keys = told(t, name, s) // what the others get is not there for everybody
		}
		sort.Strings(keys)
		required := append([]string(nil), s.Required...)
		sort.Strings(required)
		if !partial[name] && strings.Join(keys, " ") != strings.Join(required, " ") {
			t.Errorf("%s: keys %v, required %v", name, keys, required)
		}
	}
	if walked < 200 {
		t.Errorf("only %d fields were looked at", walked)
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			if op.Summary == "" || op.Description == "" || op.OperationID == "" {
				t.Errorf("%s %s lacks a summary, a description or an operation id", method, path)
			}
		}
	}
}

// told are the members of an object that whoever gets it at all is told: those of the
// least role in its x-roles.
func told(t *testing.T, name string, s *openapi3.Schema) []string {
	t.Helper()
	roles, ok := s.Extensions["x-roles"].(map[string]any)
	if !ok {
		t.Fatalf("%s: x-roles is no object", name)
	}
	least, ok := roles["storefront"].([]any)
	if !ok {
		least, ok = roles["dealer"].([]any)
	}
	if !ok {
		t.Fatalf("%s: x-roles names neither storefront nor dealer", name)
	}
	var keys []string
	for _, k := range least {
		keys = append(keys, fmt.Sprint(k))
	}
	return keys
}

func described(t *testing.T, at string, ref *openapi3.SchemaRef) {
	t.Helper()
	s := ref.Value
	if ref.Ref != "" {
		return // described where it is defined
	}
	if s.Description == "" {
		t.Errorf("%s has no description", at)
	}
	if s.Type.Is("number") && s.Format != "double" {
		t.Errorf("%s: a number without format double is a float32 in generated code", at)
	}
	switch {
	case s.Type.Is("array"):
		described(t, at+"[]", s.Items)
	case len(s.AllOf) > 0 || s.Type.Is("object"):
	case s.Example == nil:
		t.Errorf("%s has no example", at)
	}
}

func TestJSONIsTheSameDocument(t *testing.T) {
	b, err := JSON()
	if err != nil {
		t.Fatal(err)
	}
	if !json.Valid(b) {
		t.Fatal("not JSON")
	}
	again, err := openapi3.NewLoader().LoadFromData(b)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := Document()
	if err != nil {
		t.Fatal(err)
	}
	if again.Paths.Len() != doc.Paths.Len() || len(again.Components.Schemas) != len(doc.Components.Schemas) {
		t.Error("openapi.json lost something")
	}
}

func TestEmailFormat(t *testing.T) {
	for text, want := range map[string]bool{
		"orders@brackwater.example": true, "a.b+c@d.example": true,
		"": false, "orders": false, "@d.example": false, "a@b": false, "a b@c.example": false, "a@b@c.example": false, "a@b.example\n": false, "<a@b.example>": false,
	} {
		if emailPattern.MatchString(text) != want {
			t.Errorf("%q: %v", text, !want)
		}
	}
}

func ExampleDocument() {
	doc, err := Document()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(doc.OpenAPI, doc.Paths.Value("/v1/check").Post.OperationID)
	// Output: 3.0.3 checkConfiguration
}
