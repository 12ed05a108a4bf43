package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
)

var (
	requestCount = flag.Int("requests", 0, "requests that the fuzzer of the whole wire sends, all of them; 0: up to 2,000, in 20 seconds at most")
	requestSeed  = flag.Uint64("request-seed", 1, "what the fuzzer of the whole wire draws from")
)

// Bounds of the fuzzer.
const (
	shortCount = 2000
	shortTime  = 20 * time.Second
	// eachAtMost times the count bounds a long run, and noAnswer one request: the
	// program itself gives one up before.
	eachAtMost = 250 * time.Millisecond
	noAnswer   = 90 * time.Second
	// round is how many requests go by before the shop's documents are put right again,
	// so that one that makes nothing work does not end the search.
	round = 250
	// mostKinds is how many kinds of fault are told.
	mostKinds = 40
)

// TestFuzzerOfTheWholeWire starts the program, reads the document that it serves and
// nothing else of the program, and sends it requests drawn from that: every operation,
// every role, with what it has learned from earlier answers, good and bad. No answer may
// be a fault of the service's own, every one must be as the document says (status, media
// type, schema, headers), and each must come. The same seed draws the same requests; what
// is drawn from answers differs as their ids do.
//
// -requests 100000 is the long run; it needs -timeout 0.
func TestFuzzerOfTheWholeWire(t *testing.T) {
	w := startFuzzer(t)
	count, until := shortCount, time.Now().Add(shortTime)
	if *requestCount > 0 {
		count, until = *requestCount, time.Now().Add(time.Minute+time.Duration(*requestCount)*eachAtMost)
	}
	if deadline, ok := t.Deadline(); ok && deadline.Add(-20*time.Second).Before(until) {
		until = deadline.Add(-20 * time.Second)
	}
	w.restore()
	for w.sent < count && time.Now().Before(until) && w.alive() {
		w.step()
		if *requestCount > 0 && w.sent%5000 == 0 {
			t.Logf("%d requests, %d kinds of fault", w.sent, len(w.kinds))
		}
	}
	w.report()
	if *requestCount > 0 && w.sent < count {
		t.Errorf("only %d of %d requests were sent within the time", w.sent, count)
	}
	if w.sent < 100 {
		t.Errorf("only %d requests were sent", w.sent)
	}
	w.stop()
}

// operationOf is an operation of the document.
type operationOf struct {
	route   *routers.Route
	params  []*openapi3.Parameter
	body    *openapi3.Schema // nil: none
	samples []any            // bodies: the document's examples, and those that were taken
	own     int              // how many of them are the document's
	good    int              // answers under 400
	sent    int
}

func (o *operationOf) name() string { return o.route.Method + " " + o.route.Path }

// fuzzer is the running program and what is known of it.
type fuzzer struct {
	t          *testing.T
	url        string
	keys       map[string]string // by who: "shop", "dealer", "dealer 2", "storefront"
	doc        *openapi3.T
	operations []*operationOf
	client     *http.Client
	process    *exec.Cmd
	over       chan error
	log        *tail

	pool      *pool
	objects   map[*openapi3.Schema][]any // good ones, by the schema that they keep to
	turns     []*operationOf             // each as often as it is to come
	protected map[string]bool            // ids of the keys that the fuzzer itself needs
	documents map[string][]byte
	dirty     []string // documents put since the last time that all was put right
	taken     int      // changed ones that were taken

	sent     int
	statuses map[int]int
	kinds    map[string]*kindOfFault
	slowest  []string
	slow     time.Duration
}

// kindOfFault is what went wrong in the same way, with the first request that did.
type kindOfFault struct {
	count int
	first string
}

// startFuzzer starts the program as a process of its own, with the demo scenario and
// without limits of rate, and reads its document.
func startFuzzer(t *testing.T) *fuzzer {
	t.Helper()
	w := &fuzzer{t: t, keys: map[string]string{}, protected: map[string]bool{}, documents: map[string][]byte{}, statuses: map[int]int{}, kinds: map[string]*kindOfFault{},
		pool: newPool(), objects: map[*openapi3.Schema][]any{}, over: make(chan error, 1), log: &tail{}}
	for _, media := range []string{"text/html", "text/csv", "text/event-stream", "image/svg+xml", "image/png", "application/pdf", "image/vnd.dxf", "model/gltf-binary", "model/stl"} {
		openapi3filter.RegisterBodyDecoder(media, openapi3filter.FileBodyDecoder)
	}
	w.process = exec.Command(os.Args[0], "serve", "-demo", "-address", "127.0.0.1:0", "-data", filepath.Join(t.TempDir(), "fuzzed.db"))
	// Endpoints of webhooks are on this machine alone: nothing is sent anywhere else.
	w.process.Env = append(os.Environ(), asProgram+"=1", "HATCHWRIGHT_LOG_LEVEL=warn", "HATCHWRIGHT_KEY_RATE=0", "HATCHWRIGHT_ADDRESS_RATE=0", "HATCHWRIGHT_KEY_STREAMS=0",
		"HATCHWRIGHT_WEBHOOK_PRIVATE=true", "HATCHWRIGHT_REQUEST_TIMEOUT=60s")
	w.process.Stderr = w.log
	out, err := w.process.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := w.process.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = w.process.Process.Kill() })
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		line := lines.Text()
		if at, ok := strings.CutPrefix(line, "hatchwright on "); ok {
			w.url, _, _ = strings.Cut(at, ",")
		}
		if whose, key, ok := strings.Cut(line, "): "); ok && strings.HasPrefix(line, "demo key of ") {
			role := whose[strings.LastIndexByte(whose, '(')+1:]
			if w.keys[role] != "" {
				role += " 2"
			}
			w.keys[role] = key
		}
		if len(w.keys) == 4 {
			break
		}
	}
	if w.url == "" || len(w.keys) != 4 {
		t.Fatalf("the program does not start: at %q, keys %v: %s", w.url, slices.Sorted(maps.Keys(w.keys)), w.log)
	}
	go func() {
		_, _ = io.Copy(io.Discard, out)
		w.over <- w.process.Wait()
	}()
	w.client = &http.Client{
		Timeout:       noAnswer,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport:     &http.Transport{DialContext: loopbackOnly, DisableCompression: true},
	}
	t.Cleanup(w.client.CloseIdleConnections)
	w.read()
	return w
}

// loopbackOnly refuses to connect anywhere but to this machine.
func loopbackOnly(ctx context.Context, network, address string) (net.Conn, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil || !net.ParseIP(host).IsLoopback() {
		return nil, fmt.Errorf("%s is not this machine", address)
	}
	return new(net.Dialer).DialContext(ctx, network, address)
}

// read takes in the document, and what the search must not lose: the ids of its own
// keys, and the shop's documents as they are.
func (w *fuzzer) read() {
	w.t.Helper()
	status, _, body := w.get("/openapi.json", "")
	doc, err := openapi3.NewLoader().LoadFromData(body)
	if err != nil || status != http.StatusOK {
		w.t.Fatalf("/openapi.json: %d %v", status, err)
	}
	w.doc = doc
	for _, path := range slices.Sorted(maps.Keys(doc.Paths.Map())) {
		item := doc.Paths.Value(path)
		for _, method := range slices.Sorted(maps.Keys(item.Operations())) {
			op := item.GetOperation(method)
			o := &operationOf{route: &routers.Route{Spec: doc, Path: path, PathItem: item, Method: method, Operation: op}}
			for _, p := range slices.Concat(item.Parameters, op.Parameters) {
				o.params = append(o.params, p.Value)
			}
			if op.RequestBody != nil {
				media := op.RequestBody.Value.Content.Get("application/json")
				o.body = media.Schema.Value
				if media.Example != nil {
					o.samples = append(o.samples, media.Example)
				}
				for _, name := range slices.Sorted(maps.Keys(media.Examples)) {
					o.samples = append(o.samples, media.Examples[name].Value.Value)
				}
				o.own = len(o.samples)
			}
			w.operations = append(w.operations, o)
			// What is put can be read first: that is the best example there is.
			if method == http.MethodPut && !strings.Contains(path, "{") {
				if status, _, body := w.get(path, "shop"); status == http.StatusOK {
					w.documents[path] = body
				}
			}
		}
	}
	// A list of documents that are added to: the newest is the good one.
	for _, o := range w.operations {
		path, in := strings.CutSuffix(o.route.Path, "/{version}")
		if !in || o.route.Method != http.MethodGet {
			continue
		}
		_, _, list := w.get(path, "shop")
		var page struct {
			Items []struct {
				Version int `json:"version"`
			} `json:"items"`
		}
		if json.Unmarshal(list, &page) == nil && len(page.Items) > 0 {
			if status, _, body := w.get(fmt.Sprintf("%s/%d", path, page.Items[0].Version), "shop"); status == http.StatusOK {
				w.documents[path] = body
			}
		}
	}
	if len(w.operations) < 50 || len(w.documents) < 3 {
		w.t.Fatalf("%d operations, %d documents of the shop", len(w.operations), len(w.documents))
	}
	for _, o := range w.operations {
		if whole := w.documents[o.route.Path]; whole != nil && o.body != nil {
			var tree any
			if err := json.Unmarshal(whole, &tree); err != nil {
				w.t.Fatal(err)
			}
			o.samples, o.own = []any{tree}, 1
		}
	}
	for _, o := range w.operations {
		for _, sample := range o.samples {
			w.keepObjects(sample, o.body)
		}
		n := 2
		switch {
		case o.route.Method == http.MethodPost && !strings.HasSuffix(o.route.Path, "}") && !strings.Contains(o.route.Path, "{"):
			n = 4 // what makes things comes more often than what is done to them
		case o.route.Method == http.MethodDelete || strings.Contains(o.route.Path, "cancellation") || strings.Contains(o.route.Path, "withdrawal"):
			n = 1
		}
		if weight, _ := o.route.Operation.Extensions["x-weight"].(float64); weight >= 10 {
			n = 1 // it is a lot of work
		}
		for range n {
			w.turns = append(w.turns, o)
		}
	}
	_, _, keys := w.get("/v1/keys?limit=200", "shop")
	var page struct {
		Items []struct {
			ID string `json:"id"`
		} `json:"items"`
	}
	if err := json.Unmarshal(keys, &page); err != nil || len(page.Items) < 4 {
		w.t.Fatalf("keys: %v %s", err, keys)
	}
	for _, k := range page.Items {
		w.protected[k.ID] = true
	}
}

func (w *fuzzer) get(path, who string) (int, http.Header, []byte) {
	w.t.Helper()
	r, err := http.NewRequest(http.MethodGet, w.url+path, nil)
	if err != nil {
		w.t.Fatal(err)
	}
	if who != "" {
		r.Header.Set("Authorization", "Bearer "+w.keys[who])
	}
	a, err := w.client.Do(r)
	if err != nil {
		w.t.Fatalf("GET %s: %v: %s", path, err, w.log)
	}
	defer a.Body.Close()
	body, err := io.ReadAll(a.Body)
	if err != nil {
		w.t.Fatal(err)
	}
	return a.StatusCode, a.Header, body
}

// step draws a request, sends it and judges the answer.
func (w *fuzzer) step() {
	r := rand.New(rand.NewPCG(*requestSeed, uint64(w.sent)))
	o := w.turns[r.IntN(len(w.turns))]
	q := w.draw(r, o)
	w.sent++
	o.sent++
	begun := time.Now()
	status, header, body, err := w.send(q)
	if took := time.Since(begun); took > w.slow {
		w.slow = took
		w.slowest = append(w.slowest, fmt.Sprintf("request %d took %v: %s", w.sent-1, took.Round(time.Millisecond), q.head(200)))
	}
	if err != nil {
		w.fault(q, "no answer "+o.name(), fmt.Sprintf("no answer: %v", err))
		time.Sleep(100 * time.Millisecond) // it may be ending, which alive then sees
		return
	}
	w.statuses[status]++
	if why := w.judge(q, status, header, body); why != "" {
		kind := fmt.Sprintf("%s %d %s", o.name(), status, shorten(why, 160))
		if status >= http.StatusInternalServerError {
			kind = fmt.Sprintf("%s %d", o.name(), status)
		}
		w.fault(q, kind, fmt.Sprintf("%s\nanswer %d %s\n%s", why, status, header.Get("Content-Type"), shorten(string(body), 1500)))
	}
	if status < http.StatusBadRequest {
		o.good++
		w.learn(q, header, body)
	}
	if status < http.StatusBadRequest && o.route.Method != http.MethodGet && w.documents[o.route.Path] != nil {
		w.taken++
		w.dirty = append(w.dirty, q.head(300)+" changed: "+strings.Join(q.changes, "; "))
		w.probe(q)
	} else if status >= http.StatusInternalServerError && len(w.dirty) > 0 {
		w.restore()
	}
	if w.sent%round == 0 {
		if len(w.dirty) > 0 {
			w.restore()
		}
		w.tidy()
	}
}

// send sends a request and reads the answer; of a stream only its beginning.
func (w *fuzzer) send(q *drawn) (status int, header http.Header, body []byte, err error) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, q.operation.route.Method, w.url, bytes.NewReader(q.body))
	if err != nil {
		return 0, nil, nil, err
	}
	if q.body == nil {
		r.Body, r.ContentLength = http.NoBody, 0
	}
	r.URL.Opaque = "//" + strings.TrimPrefix(w.url, "http://") + q.target
	for _, h := range q.headers {
		r.Header[h[0]] = append(r.Header[h[0]], h[1])
	}
	a, err := w.client.Do(r)
	if err != nil {
		return 0, nil, nil, err
	}
	defer a.Body.Close()
	if strings.HasPrefix(a.Header.Get("Content-Type"), "text/event-stream") {
		cancel() // it does not end by itself
		return a.StatusCode, a.Header, []byte("retry: 1\n\n"), nil
	}
	body, err = io.ReadAll(a.Body)
	return a.StatusCode, a.Header, body, err
}

// judge says what is wrong with an answer, "" for nothing.
func (w *fuzzer) judge(q *drawn, status int, header http.Header, body []byte) string {
	if status >= http.StatusInternalServerError {
		var p struct {
			Type string `json:"type"`
		}
		if json.Unmarshal(body, &p); status != http.StatusServiceUnavailable || p.Type != "/problems/busy" {
			return "a fault of the service's own"
		}
	}
	request, err := http.NewRequest(q.operation.route.Method, w.url, nil)
	if err != nil {
		return err.Error()
	}
	input := &openapi3filter.RequestValidationInput{Request: request, Route: q.operation.route,
		Options: &openapi3filter.Options{MultiError: true, IncludeResponseStatus: true, AuthenticationFunc: openapi3filter.NoopAuthenticationFunc}}
	if err := openapi3filter.ValidateResponse(context.Background(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: input, Status: status, Header: header, Body: io.NopCloser(bytes.NewReader(body)), Options: input.Options,
	}); err != nil {
		return "the answer is not as the document says: " + shorten(err.Error(), 600)
	}
	return ""
}

func (w *fuzzer) fault(q *drawn, kind, what string) {
	k := w.kinds[kind]
	if k == nil {
		k = &kindOfFault{first: fmt.Sprintf("request %d of seed %d: %s\nchanged: %s\nthe shop's documents since they were right: %s\n%s\nlog: %s",
			w.sent-1, *requestSeed, q, strings.Join(q.changes, "; "), shorten(strings.Join(w.dirty, " | "), 3000), what, w.log.last(1500))}
		w.kinds[kind] = k
		if *requestCount > 0 { // the end of a long run is far
			w.t.Logf("first seen: %s\n%s", kind, k.first)
		}
	}
	k.count++
}

// probe asks for what every shop must be able to answer, after a document of the shop
// was taken: a document that is taken and breaks everything else is a fault.
func (w *fuzzer) probe(q *drawn) {
	for _, o := range w.operations {
		if o.route.Path != "/v1/derive" || o.own == 0 {
			continue
		}
		body, err := json.Marshal(o.samples[0])
		if err != nil {
			w.t.Fatal(err)
		}
		asked := &drawn{operation: o, target: o.route.Path, body: body, headers: [][2]string{{"Authorization", "Bearer " + w.keys["shop"]}, {"Content-Type", "application/json"}}}
		status, header, answer, err := w.send(asked)
		switch {
		case err != nil:
			w.fault(q, "taken and breaks "+o.name(), fmt.Sprintf("after it: %s\n%v", asked.head(100), err))
		case status >= http.StatusInternalServerError:
			w.fault(q, fmt.Sprintf("taken and breaks %s: %d", o.name(), status), fmt.Sprintf("after it %s: %d %s", asked.head(100), status, shorten(string(answer), 500)))
			w.restore()
		default:
			if why := w.judge(asked, status, header, answer); why != "" {
				w.fault(q, "taken and breaks the answer of "+o.name()+shorten(why, 160), fmt.Sprintf("after it %s: %s", asked.head(100), why))
			}
		}
		return
	}
}

// restore puts the shop's documents back as they were.
func (w *fuzzer) restore() {
	for _, path := range slices.Sorted(maps.Keys(w.documents)) {
		for _, o := range w.operations {
			if o.route.Path != path || o.body == nil {
				continue
			}
			back := &drawn{operation: o, target: path, body: w.documents[path], headers: [][2]string{{"Authorization", "Bearer " + w.keys["shop"]}, {"Content-Type", "application/json"}, {"If-Match", "*"}}}
			if status, _, answer, err := w.send(back); err != nil || status >= http.StatusBadRequest {
				w.fault(back, "restore "+path, fmt.Sprintf("the good document is refused: %d %v %s", status, err, shorten(string(answer), 500)))
			}
		}
	}
	w.dirty = nil
}

// tidy takes away some of what was made: each endpoint of a webhook is called for every
// event, and each order is planned at every change, which takes time from the search.
func (w *fuzzer) tidy() {
	for _, c := range []struct {
		list, method, path, body string
		keep                     int
	}{
		{"/v1/webhooks?limit=200", http.MethodDelete, "/v1/webhooks/{id}", "", 5},
		{"/v1/orders?state=scheduled&limit=200", http.MethodPost, "/v1/orders/{id}/cancellation", `{"reason":"tidied"}`, 25},
	} {
		_, _, list := w.get(c.list, "shop")
		var page struct {
			Items []struct {
				ID string `json:"id"`
			} `json:"items"`
		}
		if json.Unmarshal(list, &page) != nil {
			continue
		}
		for i := c.keep; i < len(page.Items); i++ {
			for _, o := range w.operations {
				if o.route.Path != c.path || o.route.Method != c.method {
					continue
				}
				q := &drawn{operation: o, target: strings.ReplaceAll(c.path, "{id}", page.Items[i].ID), headers: [][2]string{{"Authorization", "Bearer " + w.keys["shop"]}, {"If-Match", "*"}}}
				if c.body != "" {
					q.body, q.headers = []byte(c.body), append(q.headers, [2]string{"Content-Type", "application/json"})
				}
				if status, _, answer, err := w.send(q); err != nil || status >= http.StatusInternalServerError {
					w.fault(q, "tidying "+o.name(), fmt.Sprintf("%d %v %s", status, err, shorten(string(answer), 500)))
				}
			}
		}
	}
}

// alive tells whether the program still runs.
func (w *fuzzer) alive() bool {
	select {
	case err := <-w.over:
		w.over <- err
		w.kinds["the program ended"] = &kindOfFault{count: 1, first: fmt.Sprintf("after request %d: %v: %s", w.sent, err, w.log.last(4000))}
		return false
	default:
		return true
	}
}

// stop asks the program to end, which it must, without a fault.
func (w *fuzzer) stop() {
	w.client.CloseIdleConnections()
	if err := w.process.Process.Signal(syscall.SIGTERM); err != nil {
		w.t.Errorf("the program does not take a signal: %v", err)
		return
	}
	select {
	case err := <-w.over:
		if err != nil {
			w.t.Errorf("the program ended with %v: %s", err, w.log.last(2000))
		}
	case <-time.After(time.Minute):
		w.t.Error("the program does not end within a minute of SIGTERM")
	}
}

// report says what was sent and what came of it.
func (w *fuzzer) report() {
	w.t.Logf("%d requests of seed %d, answers by status:", w.sent, *requestSeed)
	for _, s := range slices.Sorted(maps.Keys(w.statuses)) {
		w.t.Logf("  %d: %d", s, w.statuses[s])
	}
	w.t.Logf("%d changed documents of the shop were taken", w.taken)
	if n := len(w.slowest); n > 0 {
		w.t.Logf("%s", w.slowest[n-1])
	}
	var never []string
	for _, o := range w.operations {
		if o.good == 0 {
			never = append(never, fmt.Sprintf("%s (of %d)", o.name(), o.sent))
		}
	}
	w.t.Logf("%d of %d operations gave an answer under 400; never: %s", len(w.operations)-len(never), len(w.operations), strings.Join(never, ", "))
	// A search that is turned away at every door finds nothing.
	if w.sent >= shortCount && len(never) > len(w.operations)/4 {
		w.t.Errorf("%d of %d operations never gave an answer under 400", len(never), len(w.operations))
	}
	for i, kind := range slices.Sorted(maps.Keys(w.kinds)) {
		if i == mostKinds {
			w.t.Errorf("and %d kinds more", len(w.kinds)-i)
			break
		}
		w.t.Errorf("%d times: %s\n%s", w.kinds[kind].count, kind, w.kinds[kind].first)
	}
}

// tail keeps the end of what is written to it.
type tail struct {
	mu   sync.Mutex
	text []byte
}

func (l *tail) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.text = append(l.text, p...); len(l.text) > 1<<16 {
		l.text = bytes.Clone(l.text[len(l.text)-1<<15:])
	}
	return len(p), nil
}

func (l *tail) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return string(l.text)
}

func (l *tail) last(n int) string {
	s := l.String()
	return s[max(0, len(s)-n):]
}

func shorten(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return s[:n] + "…"
}
