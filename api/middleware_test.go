package api

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.uber.org/goleak"

	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/sqlite"
)

func TestRequestID(t *testing.T) {
	b := newBench(t)
	for sent, echoed := range map[string]bool{"order-17:retry.2_x": true, "": false, "two words": false, strings.Repeat("x", 129): false, "<script>": false} {
		a := b.send(http.MethodGet, "/healthz", "", "", requestIDHeader, sent)
		got := a.header.Get(requestIDHeader)
		if (got == sent) != echoed || got == "" {
			t.Errorf("%q came back as %q", sent, got)
		}
	}
	if !strings.Contains(b.log.String(), "request_id=order-17:retry.2_x") {
		t.Error("the log does not have the request id")
	}
}

func TestNoSuchThing(t *testing.T) {
	b := newBench(t)
	for _, c := range []struct {
		method, path string
		status       int
		kind         string
	}{
		{http.MethodGet, "/", 404, "not-found"},
		{http.MethodGet, "/v1", 404, "not-found"},
		{http.MethodGet, "/v1/check/", 404, "not-found"},
		{http.MethodGet, "/v2/check", 404, "not-found"},
		{http.MethodGet, "/v1/check", 405, "method-not-allowed"},
		{http.MethodPut, "/v1/configurations", 405, "method-not-allowed"},
		{"BREW", "/v1/check", 405, "method-not-allowed"},
		{http.MethodGet, "/docs/nothing.js", 404, ""},
	} {
		a := b.send(c.method, c.path, "", "")
		if a.status != c.status {
			t.Errorf("%s %s: %d %s", c.method, c.path, a.status, a.body)
			continue
		}
		if c.kind != "" && a.problem(t).Type != "/problems/"+c.kind {
			t.Errorf("%s %s: %s", c.method, c.path, a.body)
		}
		if c.status == 405 && a.header.Get("Allow") == "" {
			t.Errorf("%s %s: no Allow", c.method, c.path)
		}
	}
}

// What answers GET answers HEAD, with the same status and headers and nothing else, and
// counts the same; a stream does not.
func TestHead(t *testing.T) {
	b := newBenchWith(t, options{rates: Rates{Key: 20}})
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	at := memberText(t, b.keep(key, `{"configuration":`+small+`}`).body, "id")
	for path, status := range map[string]int{
		"/healthz": 200, "/openapi.json": 200, "/v1/configurations": 200, "/v1/configurations/" + at: 200, "/v1/orders/" + at: 404, "/v1/configurations?limit=0": 400, "/v1/dealers": 403,
	} {
		b.clock.Add(rateWindow)
		get, head := b.send(http.MethodGet, path, key, "", requestIDHeader, "same"), b.send(http.MethodHead, path, key, "", requestIDHeader, "same")
		if get.status != status || head.status != status || len(head.body) != 0 || len(get.body) == 0 {
			t.Errorf("%s: %d and %d, %d bytes, want %d", path, get.status, head.status, len(head.body), status)
		}
		if r := get.rated(t, "default")[2]; r >= 0 && head.rated(t, "default")[2] != r-1 {
			t.Errorf("%s: %v, then %v", path, get.header, head.header)
		}
		for _, name := range []string{"Content-Type", "ETag", "Cache-Control", policyHeader} {
			if get.header.Get(name) != head.header.Get(name) {
				t.Errorf("%s: %s is %q, and %q by HEAD", path, name, get.header.Get(name), head.header.Get(name))
			}
		}
	}
	b.send(http.MethodGet, "/v1/check", key, "").wants(t, 405, "method-not-allowed")
	if a := b.send(http.MethodHead, "/v1/events", key, ""); a.status != http.StatusMethodNotAllowed {
		t.Errorf("a stream by HEAD: %d", a.status)
	}
}

// panicking panics when a key is looked up.
type panicking struct{ store.Store }

func (p panicking) Keys() store.Keys { return panickingKeys{p.Store.Keys()} }

type panickingKeys struct{ store.Keys }

func (panickingKeys) ByHash(context.Context, []byte) (record.Key, error) {
	panic("secret of the house")
}

func TestPanic(t *testing.T) {
	b := newBenchWith(t, options{wrap: func(s store.Store) store.Store { return panicking{s} }})
	a := b.send(http.MethodPost, "/v1/check", b.shop, small)
	p := a.problem(t)
	if a.status != http.StatusInternalServerError || p.Type != "/problems/internal" || strings.Contains(string(a.body), "secret") || strings.Contains(string(a.body), ".go") {
		t.Errorf("%d %s", a.status, a.body)
	}
	log := b.log.String()
	if !strings.Contains(log, "secret of the house") || !strings.Contains(log, "middleware_test.go") || !strings.Contains(log, p.RequestId) {
		t.Errorf("the log does not tell: %s", log)
	}
	if a := b.send(http.MethodGet, "/healthz", "", ""); a.status != http.StatusOK {
		t.Errorf("after it: %d", a.status)
	}
}

// slow waits until the request's own time is over.
type slow struct{ store.Store }

func (s slow) Keys() store.Keys { return slowKeys{s.Store.Keys()} }

type slowKeys struct{ store.Keys }

func (slowKeys) ByHash(ctx context.Context, _ []byte) (record.Key, error) {
	<-ctx.Done()
	return record.Key{}, ctx.Err()
}

func TestTimeout(t *testing.T) {
	b := newBenchWith(t, options{timeout: time.Millisecond, wrap: func(s store.Store) store.Store { return slow{s} }})
	a := b.send(http.MethodPost, "/v1/check", b.shop, small)
	if p := a.problem(t); a.status != http.StatusServiceUnavailable || p.Type != "/problems/timeout" || a.header.Get("Retry-After") == "" {
		t.Errorf("%d %s", a.status, a.body)
	}
}

func TestGzip(t *testing.T) {
	b := newBench(t)
	plain := b.send(http.MethodPost, "/v1/derive", b.shop, small)
	packed := b.send(http.MethodPost, "/v1/derive", b.shop, small, "Accept-Encoding", "identity")
	if !bytes.Equal(plain.body, packed.body) || packed.header.Get("Content-Encoding") != "" {
		t.Error("identity is not identity")
	}
	r, err := http.NewRequest(http.MethodPost, b.server.URL+"/v1/derive", strings.NewReader(small))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+b.shop)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Accept-Encoding", "gzip")
	response, err := b.check.next.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	if response.Header.Get("Content-Encoding") != "gzip" || len(body) > len(plain.body)/3 {
		t.Fatalf("%d bytes, %v", len(body), response.Header)
	}
	unpack, err := gzip.NewReader(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if got, err := io.ReadAll(unpack); err != nil || !bytes.Equal(got, plain.body) {
		t.Errorf("%v", err)
	}
}

func TestCORS(t *testing.T) {
	const ours = "https://shop.brackwater.example"
	b := newBenchWith(t, options{origins: []string{ours}, rates: Rates{Key: 5, Address: 3}})
	preflight := func(origin, method, path string) answer {
		return b.send(http.MethodOptions, path, "", "", "Origin", origin, "Access-Control-Request-Method", method, "Access-Control-Request-Headers", "authorization,content-type,idempotency-key")
	}
	// Far more preflights than requests may come from an address: none of them counts.
	for range 20 {
		a := preflight(ours, "POST", "/v1/check")
		h := a.header
		if a.status != http.StatusNoContent || h.Get("Access-Control-Allow-Origin") != ours || h.Get(rateHeader) != "" || !strings.Contains(strings.Join(h.Values("Vary"), ","), "Origin") {
			t.Fatalf("%d %v", a.status, h)
		}
		for _, want := range []string{"Authorization", "Content-Type", "Idempotency-Key", "If-Match", "If-None-Match", "Last-Event-ID"} {
			if !strings.Contains(h.Get("Access-Control-Allow-Headers"), want) {
				t.Errorf("%s may not be sent: %v", want, h)
			}
		}
		for _, want := range []string{"GET", "POST", "PUT", "PATCH", "DELETE"} {
			if !strings.Contains(h.Get("Access-Control-Allow-Methods"), want) {
				t.Errorf("%s may not be used: %v", want, h)
			}
		}
	}
	for _, origin := range []string{"https://elsewhere.example", "http://shop.brackwater.example", ours + ".evil.example", "null", "*"} {
		if h := preflight(origin, "POST", "/v1/check").header; h.Get("Access-Control-Allow-Origin") != "" || h.Get("Access-Control-Allow-Methods") != "" {
			t.Errorf("%s: %v", origin, h)
		}
		if a := b.send(http.MethodGet, "/healthz", "", "", "Origin", origin); a.status != http.StatusOK || a.header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: %v", origin, a.header)
		}
	}
	// Real requests, let through, refused and beyond the limit: the page sees what
	// they say in every case.
	for i, want := range []int{200, 200, 200, 200, 200, 429} {
		a := b.send(http.MethodPost, "/v1/check", b.shop, small, "Origin", ours)
		if a.status != want || a.header.Get("Access-Control-Allow-Origin") != ours || a.header.Get("Access-Control-Allow-Credentials") != "" {
			t.Fatalf("request %d: %d %v", i, a.status, a.header)
		}
		if a.rated(t, "default")[2] != max(0, 4-i) || (want == 429) != (a.header.Get("Retry-After") != "") {
			t.Errorf("request %d: %v", i, a.header)
		}
		shown := strings.Split(a.header.Get("Access-Control-Expose-Headers"), ",")
		for _, name := range []string{"RateLimit", "RateLimit-Policy", "Retry-After", "ETag", "Link", "Location", "X-Request-Id", "Content-Disposition", "WWW-Authenticate"} {
			if !slices.Contains(shown, name) {
				t.Errorf("%s is hidden: %v", name, shown)
			}
		}
	}
	if a := b.send(http.MethodPost, "/v1/check", "", small, "Origin", ours); a.status != http.StatusUnauthorized || a.header.Get("Access-Control-Allow-Origin") != ours || a.rated(t, "address")[2] != 2 {
		t.Errorf("%d %v", a.status, a.header)
	}
	none := newBench(t)
	if h := none.send(http.MethodPost, "/v1/check", none.shop, small, "Origin", ours).header; h.Get("Access-Control-Allow-Origin") != "" {
		t.Errorf("no origin is configured: %v", h)
	}
}

func TestSecurityHeaders(t *testing.T) {
	b := newBench(t)
	for _, path := range []string{"/healthz", "/nothing", "/docs", "/problems/not-found", "/openapi.json"} {
		h := b.send(http.MethodGet, path, "", "").header
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("X-Frame-Options") != "DENY" || !strings.Contains(h.Get("Content-Security-Policy"), "frame-ancestors 'none'") {
			t.Errorf("%s: %v", path, h)
		}
	}
	if h := b.send(http.MethodPost, "/v1/check", b.shop, small).header; h.Get("Cache-Control") != "no-store" {
		t.Errorf("%v", h)
	}
}

// TestDocsPage loads the reference page and everything that it names, from the
// service itself, and finds each inline script allowed by its hash and nothing
// from elsewhere.
func TestDocsPage(t *testing.T) {
	b := newBench(t)
	a := b.send(http.MethodGet, "/docs", "", "")
	page, policy := string(a.body), a.header.Get("Content-Security-Policy")
	if a.status != http.StatusOK || !strings.Contains(page, "Hatchwright") {
		t.Fatalf("%d", a.status)
	}
	if strings.Contains(policy, "script-src 'self' 'unsafe-inline'") || strings.Count(policy, "'sha256-") != strings.Count(page, "<script>") || strings.Count(page, "<script>") == 0 {
		t.Errorf("policy %q", policy)
	}
	for _, m := range regexp.MustCompile(`(?:src|href)="([^"]+)"`).FindAllStringSubmatch(page, -1) {
		if !strings.HasPrefix(m[1], "/docs/") {
			t.Errorf("the page loads %s", m[1])
			continue
		}
		if asset := b.send(http.MethodGet, m[1], "", ""); asset.status != http.StatusOK || len(asset.body) == 0 {
			t.Errorf("%s: %d", m[1], asset.status)
		}
	}
	if !strings.Contains(page, `/openapi.json`) {
		t.Error("the page does not read the document")
	}
	document := b.send(http.MethodGet, "/openapi.json", "", "")
	if _, err := openapi3.NewLoader().LoadFromData(document.body); err != nil || !json.Valid(document.body) {
		t.Errorf("%v", err)
	}
}

func TestMetrics(t *testing.T) {
	b := newBench(t)
	b.send(http.MethodPost, "/v1/check", b.shop, small)
	b.send(http.MethodPost, "/v1/check", b.shop, `{}`)
	b.send("BREW", "/v1/check", "", "")
	b.send(http.MethodPost, "/v1/derive", b.shop, strings.Replace(small, "520", "52000", 1))
	got := string(b.send(http.MethodGet, "/metrics", b.shop, "").body)
	for _, want := range []string{
		`hatchwright_http_requests_total{method="POST",route="/v1/check",status="200"} 1`,
		`hatchwright_http_requests_total{method="POST",route="/v1/check",status="400"} 1`,
		`hatchwright_http_requests_total{method="other",`,
		`hatchwright_verdicts_total{verdict="makeable_with_cautions"} 1`,
		`hatchwright_verdicts_total{verdict="not_makeable"} 1`,
		`hatchwright_http_request_seconds_count{method="POST",route="/v1/check"} 2`,
		"hatchwright_http_requests_in_flight 1",
		"go_goroutines",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s", want)
		}
	}
	if strings.Contains(got, "BREW") {
		t.Error("a client's word became a label")
	}
}

// TestTraces finds a request's span within the caller's trace.
func TestTraces(t *testing.T) {
	b := newBench(t)
	spans := tracetest.NewSpanRecorder()
	traced, err := New(Options{Service: b.service, Tracer: trace.NewTracerProvider(trace.WithSpanProcessor(spans))})
	if err != nil {
		t.Fatal(err)
	}
	const parent = "4bf92f3577b34da6a3ce929d0e0e4736" // the example of the W3C Trace Context recommendation
	r := httptest.NewRequest(http.MethodPost, "/v1/check", strings.NewReader(small))
	r.Header.Set("Traceparent", "00-"+parent+"-00f067aa0ba902b7-01")
	r.Header.Set("Authorization", "Bearer "+b.shop)
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	traced.ServeHTTP(w, r)
	ended := spans.Ended()
	if w.Code != http.StatusOK || len(ended) != 1 || ended[0].Name() != "POST /v1/check" || ended[0].Parent().TraceID().String() != parent || ended[0].SpanContext().TraceID().String() != parent {
		t.Fatalf("%d %v", w.Code, ended)
	}
	// Without a tracer the trace id is in the log all the same.
	b.send(http.MethodGet, "/healthz", "", "", "Traceparent", "00-"+parent+"-00f067aa0ba902b7-01")
	if !strings.Contains(b.log.String(), "trace_id="+parent) {
		t.Error("the log does not have the trace id")
	}
}

// held holds a request in the store until it is let go.
type held struct {
	store.Store
	in, out chan struct{}
	once    *atomic.Bool
}

func (h held) Keys() store.Keys { return heldKeys{h.Store.Keys(), h} }

type heldKeys struct {
	store.Keys
	h held
}

func (k heldKeys) ByHash(ctx context.Context, hash []byte) (record.Key, error) {
	if k.h.once.CompareAndSwap(false, true) {
		close(k.h.in)
		<-k.h.out
	}
	return k.Keys.ByHash(ctx, hash)
}

// TestShutdown shuts the server down while a request is running: the request is
// answered, and when everything is closed no goroutine is left.
func TestShutdown(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	ctx := context.Background()
	real, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "test.db"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := real.Migrate(ctx); err != nil {
		t.Fatal(err)
	}
	h := held{real, make(chan struct{}), make(chan struct{}), new(atomic.Bool)}
	s, err := service.New(service.Options{Store: h, Wire: Wire{}})
	if err != nil {
		t.Fatal(err)
	}
	made, err := s.Bootstrap(ctx)
	if err != nil {
		t.Fatal(err)
	}
	a, err := New(Options{Service: s})
	if err != nil {
		t.Fatal(err)
	}
	keeping, stop := context.WithCancel(ctx)
	kept := make(chan struct{})
	go func() { s.Housekeeping(keeping); close(kept) }()
	server := a.Server("")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- server.Serve(l) }()
	transport := &http.Transport{}
	answered := make(chan int, 1)
	go func() {
		r, _ := http.NewRequest(http.MethodPost, "http://"+l.Addr().String()+"/v1/check", strings.NewReader(small))
		r.Header.Set("Authorization", "Bearer "+made.ShopKey)
		r.Header.Set("Content-Type", "application/json")
		response, err := transport.RoundTrip(r)
		if err != nil {
			answered <- 0
			return
		}
		_, _ = io.Copy(io.Discard, response.Body)
		response.Body.Close()
		answered <- response.StatusCode
	}()
	<-h.in
	down := make(chan error, 1)
	go func() { a.Drain(); down <- server.Shutdown(ctx) }()
	if err := <-served; !errors.Is(err, http.ErrServerClosed) {
		t.Errorf("serve: %v", err)
	}
	close(h.out)
	if got := <-answered; got != http.StatusOK {
		t.Errorf("the running request got %d", got)
	}
	if err := <-down; err != nil {
		t.Errorf("shutdown: %v", err)
	}
	stop()
	<-kept
	transport.CloseIdleConnections()
	if err := real.Close(); err != nil {
		t.Error(err)
	}
}
