package api

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/google/uuid"

	"hatchwright/openapi"
	"hatchwright/openapi/client"
	"hatchwright/service"
	"hatchwright/service/identity"
	"hatchwright/service/record"
	"hatchwright/store"
)

func init() {
	// Pages and pictures are text or bytes to the validator.
	for _, media := range []string{"text/html", "text/csv", "image/svg+xml", "image/png", "application/pdf", "image/vnd.dxf", "model/gltf-binary", "model/stl"} {
		openapi3filter.RegisterBodyDecoder(media, openapi3filter.FileBodyDecoder)
	}
}

// monday is when every test begins: a Monday morning, in the example shop's zone.
var monday = time.Date(2026, 11, 30, 13, 0, 0, 0, time.UTC)

// shopClock stands still until it is told to move.
type shopClock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *shopClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *shopClock) Add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// fewer is the first third of what a test takes, rounded up, with -short: under the race
// detector, where drawing takes ten times as long. The same tests run in full without it.
func fewer[T any](all ...T) []T {
	if testing.Short() {
		return all[:(len(all)+2)/3]
	}
	return all
}

// bench is a whole service on a real store, behind a real server. Every
// answer to its client is held against the document.
type bench struct {
	t       *testing.T
	store   store.Store
	service *service.Service
	api     *API
	server  *httptest.Server
	clock   *shopClock
	log     *bytes.Buffer
	shop    string // key
	check   *checkingTransport
}

// options of a bench.
type options struct {
	wrap    func(store.Store) store.Store // a double over the real store
	origins []string
	timeout time.Duration
	hooks   service.WebhookOptions
	people  *identity.Provider
	rates   Rates // its clock is the bench's
}

func newBench(t *testing.T) *bench { return newBenchWith(t, options{}) }

func newBenchWith(t *testing.T, o options) *bench {
	t.Helper()
	ctx := context.Background()
	b := &bench{t: t, clock: &shopClock{now: monday}, log: &bytes.Buffer{}}
	b.store = newStore(t)
	if o.wrap != nil {
		b.store = o.wrap(b.store)
	}
	log := slog.New(slog.NewTextHandler(&lockedWriter{w: b.log}, &slog.HandlerOptions{Level: slog.LevelDebug}))
	var err error
	if b.service, err = service.New(service.Options{Store: b.store, Wire: Wire{}, Clock: b.clock.Now, Logger: log, Webhooks: o.hooks, People: o.people}); err != nil {
		t.Fatal(err)
	}
	made, err := b.service.Bootstrap(ctx)
	if err != nil {
		t.Fatal(err)
	}
	b.shop = made.ShopKey
	o.rates.Clock = b.clock.Now
	if b.api, err = New(Options{Service: b.service, Logger: log, Origins: o.origins, RequestTimeout: o.timeout, Rates: o.rates}); err != nil {
		t.Fatal(err)
	}
	b.server = httptest.NewServer(b.api)
	t.Cleanup(b.server.Close)
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	b.check = &checkingTransport{t: t, doc: doc, next: &http.Transport{}}
	t.Cleanup(b.check.next.CloseIdleConnections)
	return b
}

type lockedWriter struct {
	mu sync.Mutex
	w  io.Writer
}

func (l *lockedWriter) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.w.Write(p)
}

// client is the generated client with a key; it holds every request and every
// answer against the document.
func (b *bench) client(key string) *client.ClientWithResponses {
	b.t.Helper()
	c, err := client.NewClientWithResponses(b.server.URL,
		client.WithHTTPClient(&http.Client{Transport: b.check}),
		client.WithRequestEditorFn(func(_ context.Context, r *http.Request) error {
			if key != "" {
				r.Header.Set("Authorization", "Bearer "+key)
			}
			return nil
		}))
	if err != nil {
		b.t.Fatal(err)
	}
	return c
}

// answer is a response, read.
type answer struct {
	status int
	header http.Header
	body   []byte
}

// send sends anything at all, good or bad. The answer is held against the
// document, the request is not.
func (b *bench) send(method, path, key, body string, headers ...string) answer {
	b.t.Helper()
	var reader io.Reader
	if body != "" {
		reader = strings.NewReader(body)
	}
	r, err := http.NewRequest(method, b.server.URL+path, reader)
	if err != nil {
		b.t.Fatal(err)
	}
	if key != "" {
		r.Header.Set("Authorization", "Bearer "+key)
	}
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	answersOnly := *b.check
	answersOnly.answersOnly = true
	response, err := answersOnly.RoundTrip(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer response.Body.Close()
	got, err := io.ReadAll(response.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return answer{response.StatusCode, response.Header, got}
}

// problem decodes a problem strictly.
func (a answer) problem(t *testing.T) client.Problem {
	t.Helper()
	if got := a.header.Get("Content-Type"); got != problemType {
		t.Fatalf("status %d with content type %q: %s", a.status, got, a.body)
	}
	var p client.Problem
	strict(t, a.body, &p)
	return p
}

// strict decodes and fails on a field that the generated model does not know.
func strict(t *testing.T, body []byte, into any) {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(body))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		t.Fatalf("decode %T: %v\n%s", into, err, body)
	}
}

// checkingTransport holds requests and answers against the document with
// kin-openapi.
type checkingTransport struct {
	t           *testing.T
	doc         *openapi3.T
	next        *http.Transport
	answersOnly bool
}

func (c *checkingTransport) RoundTrip(r *http.Request) (*http.Response, error) {
	c.t.Helper()
	route, params := findRoute(c.doc, r.Method, r.URL.Path)
	var body []byte
	if r.Body != nil {
		var err error
		if body, err = io.ReadAll(r.Body); err != nil {
			return nil, err
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
	}
	response, err := c.next.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	got, err := io.ReadAll(response.Body)
	response.Body.Close()
	if err != nil {
		return nil, err
	}
	response.Body = io.NopCloser(bytes.NewReader(got))
	if route == nil {
		return response, nil
	}
	checked := r.Clone(context.Background())
	checked.Body = io.NopCloser(bytes.NewReader(body))
	checked.GetBody = nil
	input := &openapi3filter.RequestValidationInput{
		Request: checked, PathParams: params, Route: route,
		Options: &openapi3filter.Options{MultiError: true, IncludeResponseStatus: true, AuthenticationFunc: openapi3filter.NoopAuthenticationFunc, SkipSettingDefaults: true},
	}
	if !c.answersOnly {
		if err := openapi3filter.ValidateRequest(context.Background(), input); err != nil {
			c.t.Errorf("request %s %s breaks the document: %v", r.Method, r.URL.Path, err)
		}
	}
	err = openapi3filter.ValidateResponse(context.Background(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: input, Status: response.StatusCode, Header: response.Header, Body: io.NopCloser(bytes.NewReader(got)), Options: input.Options,
	})
	if err != nil {
		c.t.Errorf("answer %d to %s %s breaks the document: %v\n%.2000s", response.StatusCode, r.Method, r.URL.Path, err, got)
	}
	return response, nil
}

// findRoute finds the operation of a path, nil for one that the document does not
// have.
func findRoute(doc *openapi3.T, method, path string) (*routers.Route, map[string]string) {
	parts := strings.Split(path, "/")
	for _, template := range doc.Paths.InMatchingOrder() {
		names := strings.Split(template, "/")
		if len(names) != len(parts) {
			continue
		}
		params, fits := map[string]string{}, true
		for i, n := range names {
			if strings.HasPrefix(n, "{") {
				params[strings.Trim(n, "{}")] = parts[i]
			} else if n != parts[i] {
				fits = false
			}
		}
		item := doc.Paths.Value(template)
		if op := item.GetOperation(method); fits && op != nil {
			return &routers.Route{Spec: doc, Path: template, PathItem: item, Method: method, Operation: op}, params
		}
	}
	return nil, nil
}

// dealer adds a dealer and a key of a role for it.
func (b *bench) dealer(name string, role record.Role) (id, key string) {
	b.t.Helper()
	ctx := context.Background()
	c := b.client(b.shop)
	d, err := c.CreateDealerWithResponse(ctx, nil, client.NewDealer{Name: name})
	if err != nil || d.JSON201 == nil {
		b.t.Fatalf("dealer: %v %v", err, d)
	}
	k, err := c.CreateDealerKeyWithResponse(ctx, d.JSON201.Id, nil, client.NewDealerKey{Name: "test", Role: client.NewDealerKeyRole(role)})
	if err != nil || k.JSON201 == nil {
		b.t.Fatalf("key: %v %s", err, k.Body)
	}
	return d.JSON201.Id.String(), k.JSON201.Key
}

func uuidOf(t *testing.T, text string) uuid.UUID {
	t.Helper()
	id, err := uuid.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func role(r client.Role) *client.Role { return &r }
