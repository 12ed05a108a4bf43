package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"testing"
	"time"

	"hatchwright/openapi"
	"hatchwright/service"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// FuzzDecodeConfiguration sends any bytes through decoding. What is refused is
// refused as malformed or invalid, with at least one field that says why. What is
// taken completes to a document that is taken again, unchanged, with the same
// digest.
func FuzzDecodeConfiguration(f *testing.F) {
	for _, c := range badInput {
		if len(c.body) < 5000 {
			f.Add([]byte(c.body))
		}
	}
	for _, s := range scenarios {
		f.Add([]byte(s))
	}
	engine, err := derivation.New(shop.Example())
	if err != nil {
		f.Fatal(err)
	}
	complete := func(t *testing.T, body []byte) ([]byte, string, error) {
		r, err := DecodeConfiguration(body)
		if err != nil {
			return nil, "", err
		}
		c := engine.Complete(r)
		if len(part.Missing(r, &c)) > 0 {
			return nil, "", errMissing // the use case refuses it
		}
		w := newWriter(c.Units)
		defer w.free()
		w.configuration("", &c)
		out, err := w.copy()
		if err != nil {
			t.Fatalf("%s: %v", body, err)
		}
		return out, c.Digest(), nil
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		first, digest, err := complete(t, body)
		if errors.Is(err, errMissing) {
			return
		}
		if err != nil {
			var refused *fault.Error
			if !errors.As(err, &refused) || refused.Kind != fault.Malformed && refused.Kind != fault.Invalid || len(refused.Fields) == 0 {
				t.Fatalf("%q: %v", body, err)
			}
			return
		}
		// Figures that do not apply are refused later, by the use case; the completed
		// document leaves them out.
		second, again, err := complete(t, first)
		if err != nil {
			t.Fatalf("%s completes to %s, which is refused: %v", body, first, err)
		}
		if again != digest || !bytes.Equal(first, second) {
			t.Fatalf("%s completes to %s (%s), and that to %s (%s)", body, first, digest, second, again)
		}
	})
}

var errMissing = errors.New("a figure that only the customer can give is missing")

// FuzzDecodeStrict holds the strict reader against encoding/json: whatever it
// takes, the library takes too, and reads the same.
func FuzzDecodeStrict(f *testing.F) {
	for _, c := range badInput {
		if len(c.body) < 5000 {
			f.Add([]byte(c.body))
		}
	}
	f.Add([]byte(`{"a":[1,-2.5e-3,"\u00e9\ud83d\ude00\\\"",true,false,null,{},[]], "b" : {"c":0} }`))
	f.Fuzz(func(t *testing.T, body []byte) {
		got, err := decodeStrict(body)
		var want any
		lenient := json.Unmarshal(body, &want)
		if err != nil {
			var refused *fault.Error
			if !errors.As(err, &refused) || refused.Kind != fault.Malformed {
				t.Fatalf("%q: %v", body, err)
			}
			return
		}
		if lenient != nil {
			t.Fatalf("%q is taken; encoding/json says %v", body, lenient)
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("%q reads %#v, encoding/json reads %#v", body, got, want)
		}
	})
}

// FuzzDerive sends documents all the way: whatever decodes is ruled on and, when
// it can be made, answered with a document of finite figures that keeps to the
// contract.
func FuzzDerive(f *testing.F) {
	for _, c := range badInput {
		if len(c.body) < 5000 {
			f.Add([]byte(c.body))
		}
	}
	for _, s := range scenarios {
		f.Add([]byte(s))
	}
	doc, err := openapi.Document()
	if err != nil {
		f.Fatal(err)
	}
	schema := doc.Components.Schemas["Derivation"].Value
	problem := doc.Components.Schemas["Problem"].Value
	start := time.Date(2026, 11, 30, 13, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, body []byte) {
		r, err := DecodeConfiguration(body)
		if err != nil || r.Quantity > 3 {
			return // many pieces only take long
		}
		var answer []byte
		against := schema
		result, err := service.DeriveOffline(r, start, service.LeadTimeOptions{})
		if err == nil {
			answer, err = Derivation(result)
		} else {
			var not *service.NotMakeableError
			var refused *fault.Error
			switch {
			case errors.As(err, &not):
				if not.Ruling.Verdict != finding.NotMakeable || len(not.Ruling.Findings) == 0 {
					t.Fatalf("%s: %v", body, not.Ruling)
				}
			case errors.As(err, &refused) && refused.Kind == fault.Invalid:
			default:
				t.Fatalf("%s: %v", body, err)
			}
			against = problem
			answer, err = Problem(err)
		}
		if err != nil {
			t.Fatalf("%s: %v", body, err)
		}
		var tree any
		if err := json.Unmarshal(answer, &tree); err != nil {
			t.Fatalf("%s: %v", body, err)
		}
		if fields := checkSchema(against, tree); len(fields) > 0 {
			t.Fatalf("%s: the answer breaks the document: %+v", body, fields)
		}
		finite(t, tree)
	})
}

func finite(t *testing.T, v any) {
	switch v := v.(type) {
	case map[string]any:
		for _, x := range v {
			finite(t, x)
		}
	case []any:
		for _, x := range v {
			finite(t, x)
		}
	case float64:
		if math.IsInf(v, 0) || math.Abs(v) > 1e15 {
			t.Errorf("a figure of %v", v)
		}
	}
}
