package api

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"hatchwright/openapi"
	"hatchwright/service/quantity"
)

// records are the schemas of the document that are answered as structs.
var records = map[string]any{
	"AuditEntry":           wireAuditEntry{},
	"AuditList":            listPage[wireAuditEntry]{},
	"ConfigurationList":    listPage[wireConfigurationSummary]{},
	"ConfigurationSummary": wireConfigurationSummary{},
	"Dealer":               wireDealer{},
	"DealerList":           listPage[wireDealer]{},
	"Delivery":             wireDelivery{},
	"DeliveryList":         listPage[wireDelivery]{},
	"DrawingList":          wireDrawings{},
	"KeyList":              listPage[wireKey]{},
	"Lot":                  wireLot{},
	"LotList":              listPage[wireLot]{},
	"MoldInUse":            wireMoldInUse{},
	"MoldRegister":         listPage[wireRegisteredMold]{},
	"NearMold":             wireNearMold{},
	"Order":                wireOrder{},
	"OrderHistory":         listPage[wireOrderEvent]{},
	"OrderList":            listPage[wireOrderSummary]{},
	"OrderSummary":         wireOrderSummary{},
	"Quote":                wireQuote{},
	"QuoteList":            listPage[wireQuoteSummary]{},
	"QuoteSummary":         wireQuoteSummary{},
	"RegisteredMold":       wireRegisteredMold{},
	"ShopCalibration":      wireCalibration{},
	"ShopDocumentVersion":  wireDocumentVersion{},
	"ShopDocumentVersions": listPage[wireDocumentVersion]{},
	"ShopLoad":             wireShopLoad{},
	"ShopSchedule":         wireShopSchedule{},
	"Shortages":            wireShortages{},
	"Stock":                wireStock{},
	"StockMoveList":        listPage[wireStockMove]{},
	"StockMoved":           wireStockMoved{},
	"StoredConfiguration":  wireStoredConfiguration{},
	"WebhookList":          listPage[wireWebhook]{},
}

// TestRecordsAreTheDocuments holds the structs against the document, both ways: the
// same members at every depth, of the same type, null where they may be.
func TestRecordsAreTheDocuments(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	for name, v := range records {
		t.Run(name, func(t *testing.T) {
			holdRecord(t, name, reflect.TypeOf(v), doc.Components.Schemas[name].Value)
		})
	}
	// One struct for two schemas: with the secret, and with why it is not there.
	for name, v := range map[string]any{"IssuedKey": wireIssuedKey{}, "WithheldKey": wireIssuedKey{}, "IssuedWebhook": wireIssuedWebhook{}, "WithheldWebhook": wireIssuedWebhook{}} {
		t.Run(name, func(t *testing.T) {
			leftOut := []string{"withheld"}
			if strings.HasPrefix(name, "Withheld") {
				leftOut = []string{"key", "secret"}
			}
			holdRecord(t, name, reflect.TypeOf(v), doc.Components.Schemas[name].Value, leftOut...)
		})
	}
}

var (
	recordTypes = map[reflect.Type]string{
		reflect.TypeFor[text](): "string", reflect.TypeFor[optional](): "string", reflect.TypeFor[uuid.UUID](): "string",
		reflect.TypeFor[moment](): "string", reflect.TypeFor[instant](): "string",
		reflect.TypeFor[hours](): "number", reflect.TypeFor[ratio](): "number", reflect.TypeFor[length](): "number", reflect.TypeFor[amount](): "number",
		reflect.TypeFor[int](): "integer", reflect.TypeFor[bool](): "boolean", reflect.TypeFor[json.RawMessage](): "object",
	}
)

// holdRecord holds a type against a schema. leftOut are members of the struct that the
// schema has not, because they are left out there.
func holdRecord(t *testing.T, at string, r reflect.Type, s *openapi3.Schema, leftOut ...string) {
	null := r == reflect.TypeFor[optional]()
	if r.Kind() == reflect.Pointer {
		null, r = true, r.Elem()
	}
	if null != s.Nullable {
		t.Errorf("%s: null %v in the struct, %v in the document", at, null, s.Nullable)
	}
	if len(s.AllOf) == 1 { // of a reference that may be null
		s = s.AllOf[0].Value
	}
	want := recordTypes[r]
	switch {
	case want != "":
	case r.Kind() == reflect.Slice:
		want = "array"
	case r.Kind() == reflect.Struct:
		want = "object"
	default:
		t.Fatalf("%s is a %v, which no record is made of", at, r)
	}
	if !s.Type.Is(want) {
		t.Fatalf("%s is a %v: %s, the document says %v", at, r, want, s.Type)
	}
	if recordTypes[r] != "" {
		return
	}
	if want == "array" {
		holdRecord(t, at+"/0", r.Elem(), s.Items.Value)
		return
	}
	members := map[string]bool{}
	for _, f := range reflect.VisibleFields(r) {
		if f.Anonymous {
			continue
		}
		name, rest, _ := strings.Cut(f.Tag.Get("json"), ",")
		if slices.Contains(leftOut, name) && rest == "omitempty" {
			continue
		}
		p := s.Properties[name]
		if p == nil {
			t.Errorf("%s/%s is in the struct and not in the document", at, name)
			continue
		}
		members[name] = true
		holdRecord(t, at+"/"+name, f.Type, p.Value)
	}
	for name := range s.Properties {
		if !members[name] {
			t.Errorf("%s/%s is in the document and not in the struct", at, name)
		}
	}
}

// TestRecordsAreWrittenAsDerivations holds the types of records against the writer:
// the same bytes.
func TestRecordsAreWrittenAsDerivations(t *testing.T) {
	same := func(t reporter, v any, write func(w *writer)) {
		t.Helper()
		w := newWriter(quantity.Inch)
		defer w.free()
		write(w)
		got, err := encode(v)
		if err != nil || string(got) != string(w.buf) {
			t.Errorf("%v is written %s (%v), the writer writes %s", v, got, err, w.buf)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		s, x := rapid.String().Draw(t, "s"), rapid.Float64Range(-1e9, 1e9).Draw(t, "x")
		same(t, text(s), func(w *writer) { w.text("", s) })
		same(t, optional(s), func(w *writer) { w.optional("", s) })
		same(t, hours(x), func(w *writer) { w.hours("", x) })
		same(t, ratio(x), func(w *writer) { w.ratio("", x) })
		same(t, length{x, quantity.Inch}, func(w *writer) { w.length("", x) })
		at := time.Unix(rapid.Int64Range(0, 1e10).Draw(t, "at"), 0).In(time.FixedZone("", -5*60*60))
		same(t, instant(at), func(w *writer) { w.instant("", at) })
	})
	for _, s := range []string{"<a href=\"x\">&</a>", "a\nb\tc\u2028d\x00\x7f", "\xff"} {
		same(t, text(s), func(w *writer) { w.text("", s) })
	}
	at := time.Date(2026, 11, 30, 8, 0, 0, 120e6, time.FixedZone("", -5*60*60))
	if got, err := encode(moment(at)); err != nil || string(got) != `"2026-11-30T13:00:00.120Z"` {
		t.Errorf("a moment is written %s, %v", got, err)
	}
	for _, v := range []any{hours(math.NaN()), length{mm: math.Inf(1)}} {
		if got, err := encode(v); err == nil {
			t.Errorf("%v is written %s", v, got)
		}
	}
}
