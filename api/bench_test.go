package api

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"hatchwright/openapi"
	"hatchwright/service"
	"hatchwright/store/sqlite"
)

// benchService is a whole service on a real SQLite file, called without a
// network.
func benchService(b *testing.B) (*API, string) {
	b.Helper()
	ctx := context.Background()
	s, err := sqlite.Open(ctx, filepath.Join(b.TempDir(), "bench.db"))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = s.Close() })
	if _, err := s.Migrate(ctx); err != nil {
		b.Fatal(err)
	}
	svc, err := service.New(service.Options{Store: s, Wire: Wire{}})
	if err != nil {
		b.Fatal(err)
	}
	made, err := svc.Bootstrap(ctx)
	if err != nil {
		b.Fatal(err)
	}
	a, err := New(Options{Service: svc})
	if err != nil {
		b.Fatal(err)
	}
	return a, made.ShopKey
}

func BenchmarkRequest(b *testing.B) {
	a, key := benchService(b)
	for _, c := range []struct{ name, path, body string }{
		{"check", "/v1/check", small},
		{"derive", "/v1/derive", small},
		{"derive polygon", "/v1/derive", scenarios["polygon"]},
		{"refused", "/v1/check", `{"units":"mm"}`},
		{"limits", "/v1/limits", small},
		{"limits, automatic schedule", "/v1/limits", scenarios["auto"]},
		{"limits, gutter", "/v1/limits", scenarios["gutter"]},
		{"batch of 200", "/v1/derive/batch", batch(slices.Repeat([]string{small}, 200)...)},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			size := 0
			for b.Loop() {
				r := httptest.NewRequest(http.MethodPost, c.path, strings.NewReader(c.body))
				r.Header.Set("Authorization", "Bearer "+key)
				r.Header.Set("Content-Type", "application/json")
				w := httptest.NewRecorder()
				a.ServeHTTP(w, r)
				size = w.Body.Len()
			}
			b.ReportMetric(float64(size), "answer-bytes")
		})
	}
}

func BenchmarkCrossing(b *testing.B) {
	body := []byte(scenarios["equipped"])
	doc, err := openapi.Document()
	if err != nil {
		b.Fatal(err)
	}
	schema := doc.Components.Schemas["Configuration"].Value
	b.Run("read", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := decodeStrict(body); err != nil {
				b.Fatal(err)
			}
		}
	})
	tree, err := decodeStrict(body)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("validate", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if fields := checkSchema(schema, tree); len(fields) > 0 {
				b.Fatal(fields)
			}
		}
	})
	b.Run("cross", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, fields := crossConfiguration(tree.(map[string]any), ""); len(fields) > 0 {
				b.Fatal(fields)
			}
		}
	})
	r, err := DecodeConfiguration(body)
	if err != nil {
		b.Fatal(err)
	}
	result, err := service.DeriveOffline(r, monday, service.LeadTimeOptions{})
	if err != nil {
		b.Fatal(err)
	}
	b.Run("write", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			w := newWriter(result.Configuration.Units)
			w.derivation("", result, nil)
			_, _ = io.Discard.Write(w.buf)
			w.free()
		}
	})
}
