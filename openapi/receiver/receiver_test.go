package receiver

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"hatchwright/openapi/client"
)

// The test vector that the libraries of the Standard Webhooks specification share
// (github.com/standard-webhooks/standard-webhooks, libraries/*: TestWebhookSign in
// Go and its like).
const (
	vectorSecret    = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
	vectorID        = "msg_p5jXN8AQM9LWM0D4loKWxJek"
	vectorBody      = `{"test": 2432232314}`
	vectorSeconds   = 1614265330
	vectorSignature = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
)

// The vector verifies, and nothing that differs from it. It is no event of ours,
// which is the one thing that is wrong with it.
func TestVector(t *testing.T) {
	r, err := New(Options{Secrets: []string{vectorSecret}, Now: func() time.Time { return time.Unix(vectorSeconds, 0) }})
	if err != nil {
		t.Fatal(err)
	}
	for what, c := range map[string]struct {
		id, seconds, signature, body string
		want                         error
	}{
		"the vector":           {vectorID, "1614265330", vectorSignature, vectorBody, ErrNotEvent},
		"among others":         {vectorID, "1614265330", "v1,Ceo5qEr07ixe2NLpvHk3FH9bwy/WavXrAFQ/9tdO6mc= v2," + vectorSignature[3:] + " " + vectorSignature, vectorBody, ErrNotEvent},
		"another id":           {"msg_q5jXN8AQM9LWM0D4loKWxJek", "1614265330", vectorSignature, vectorBody, ErrSignature},
		"another time":         {vectorID, "1614265331", vectorSignature, vectorBody, ErrSignature},
		"another body":         {vectorID, "1614265330", vectorSignature, `{"test":2432232314}`, ErrSignature},
		"another version":      {vectorID, "1614265330", "v2," + vectorSignature[3:], vectorBody, ErrSignature},
		"half of a signature":  {vectorID, "1614265330", vectorSignature[:20], vectorBody, ErrSignature},
		"an empty signature":   {vectorID, "1614265330", "v1,", vectorBody, ErrSignature},
		"no id":                {"", "1614265330", vectorSignature, vectorBody, ErrUnsigned},
		"no time":              {vectorID, "", vectorSignature, vectorBody, ErrUnsigned},
		"a time that is words": {vectorID, "yesterday", vectorSignature, vectorBody, ErrUnsigned},
		"no signature":         {vectorID, "1614265330", "", vectorBody, ErrUnsigned},
	} {
		h := http.Header{}
		h.Set("webhook-id", c.id)
		h.Set("webhook-timestamp", c.seconds)
		h.Set("webhook-signature", c.signature)
		if _, err := r.Verify(t.Context(), h, []byte(c.body)); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", what, err, c.want)
		}
	}
}

const eventID = "01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55"

const eventBody = `{"id":"` + eventID + `","type":"order.received","timestamp":"2026-11-30T13:12:04.123Z","data":{"order_id":"01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d56"},"a_member_of_next_year":1}`

var monday = time.Date(2026, 11, 30, 13, 12, 5, 0, time.UTC)

// signed are the headers of a call, by the formula of the specification (section
// "Signature scheme") and the standard library alone:
//
//	base64(HMAC-SHA256(base64-decoded secret, id "." seconds "." body))
func signed(secret, id string, at time.Time, body string) http.Header {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(secret, "whsec_"))
	if err != nil {
		panic(err)
	}
	mac := hmac.New(sha256.New, key)
	fmt.Fprintf(mac, "%s.%d.%s", id, at.Unix(), body)
	h := http.Header{}
	h.Set("webhook-id", id)
	h.Set("webhook-timestamp", fmt.Sprint(at.Unix()))
	h.Set("webhook-signature", "v1,"+base64.StdEncoding.EncodeToString(mac.Sum(nil)))
	return h
}

var secretA, secretB = "whsec_" + base64.StdEncoding.EncodeToString([]byte("thirty-two bytes of one endpoint")), "whsec_" + base64.StdEncoding.EncodeToString([]byte("thirty-two bytes of the next one"))

// A call is refused for one thing at a time, each an error and a problem of its own.
func TestRefusals(t *testing.T) {
	ctx := t.Context()
	fresh := func(o Options) *Receiver {
		t.Helper()
		o.Secrets, o.Now = []string{secretA}, func() time.Time { return monday }
		r, err := New(o)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	away := errors.New("the database is away")
	for what, c := range map[string]struct {
		options Options
		header  http.Header
		body    string
		want    error
		problem string
	}{
		"good":                       {Options{}, signed(secretA, eventID, monday, eventBody), eventBody, nil, ""},
		"five minutes ago":           {Options{}, signed(secretA, eventID, monday.Add(-5*time.Minute), eventBody), eventBody, nil, ""},
		"five minutes ahead":         {Options{}, signed(secretA, eventID, monday.Add(5*time.Minute), eventBody), eventBody, nil, ""},
		"longer ago":                 {Options{}, signed(secretA, eventID, monday.Add(-5*time.Minute-time.Second), eventBody), eventBody, ErrClockSkew, "/problems/webhook-clock-skew"},
		"further ahead":              {Options{}, signed(secretA, eventID, monday.Add(5*time.Minute+time.Second), eventBody), eventBody, ErrClockSkew, "/problems/webhook-clock-skew"},
		"the end of time":            {Options{}, signed(secretA, eventID, time.Unix(1<<62, 0), eventBody), eventBody, ErrClockSkew, "/problems/webhook-clock-skew"},
		"the beginning of time":      {Options{}, signed(secretA, eventID, time.Unix(-1<<62, 0), eventBody), eventBody, ErrClockSkew, "/problems/webhook-clock-skew"},
		"past a tolerance of a min.": {Options{Tolerance: time.Minute}, signed(secretA, eventID, monday.Add(-61*time.Second), eventBody), eventBody, ErrClockSkew, "/problems/webhook-clock-skew"},
		"another's secret":           {Options{}, signed(secretB, eventID, monday, eventBody), eventBody, ErrSignature, "/problems/webhook-signature"},
		"another's, and old":         {Options{}, signed(secretB, eventID, monday.Add(-time.Hour), eventBody), eventBody, ErrSignature, "/problems/webhook-signature"},
		"no headers":                 {Options{}, http.Header{}, eventBody, ErrUnsigned, "/problems/webhook-unsigned"},
		"no JSON":                    {Options{}, signed(secretA, eventID, monday, "hello"), "hello", ErrNotEvent, "/problems/webhook-not-an-event"},
		"an event by another id":     {Options{}, signed(secretA, "01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d57", monday, eventBody), eventBody, ErrNotEvent, "/problems/webhook-not-an-event"},
		"seen":                       {Options{Memory: memory{seen: true}}, signed(secretA, eventID, monday, eventBody), eventBody, ErrReplayed, "/problems/webhook-replayed"},
		"a memory that is away":      {Options{Memory: memory{err: away}}, signed(secretA, eventID, monday, eventBody), eventBody, away, ""},
	} {
		e, err := fresh(c.options).Verify(ctx, c.header, []byte(c.body))
		if !errors.Is(err, c.want) || (err == nil) != (c.want == nil) || ProblemOf(err) != c.problem {
			t.Errorf("%s: %v, problem %q", what, err, ProblemOf(err))
		}
		if err == nil && (e.Type != "order.received" || e.Data.OrderId == nil || e.Id.String() != eventID) {
			t.Errorf("%s: %+v", what, e)
		}
	}
	for _, secrets := range [][]string{nil, {""}, {"whsec_%"}, {secretA, "whsec_!"}} {
		if _, err := New(Options{Secrets: secrets}); err == nil {
			t.Errorf("a receiver with the secrets %q", secrets)
		}
	}
}

// memory answers Seen as it is told.
type memory struct {
	seen bool
	err  error
}

func (m memory) Seen(context.Context, string) (bool, error) { return m.seen, m.err }
func (m memory) Done(context.Context, string) error         { return m.err }

// A call is good again and again until it is done, and is replayed from then on:
// the same bytes, and those of a later attempt. Either of two secrets verifies.
func TestReplayed(t *testing.T) {
	ctx := t.Context()
	r, err := New(Options{Secrets: []string{secretB, secretA}, Now: func() time.Time { return monday }})
	if err != nil {
		t.Fatal(err)
	}
	first, later := signed(secretA, eventID, monday, eventBody), signed(secretB, eventID, monday.Add(time.Minute), eventBody)
	var e *client.Event
	for _, h := range []http.Header{first, later, first} {
		if e, err = r.Verify(ctx, h, []byte(eventBody)); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.Done(ctx, e); err != nil {
		t.Fatal(err)
	}
	for _, h := range []http.Header{first, later} {
		if _, err := r.Verify(ctx, h, []byte(eventBody)); !errors.Is(err, ErrReplayed) {
			t.Errorf("after it was done: %v", err)
		}
	}
}

func TestWindow(t *testing.T) {
	ctx := t.Context()
	w := NewWindow(3)
	for _, c := range []struct{ done, seen, gone string }{
		{"a", "a", ""}, {"b", "ab", ""}, {"a", "ab", ""}, {"c", "abc", ""}, {"d", "bcd", "a"}, {"e", "cde", "ab"}, {"a", "dea", "bc"},
	} {
		_ = w.Done(ctx, c.done)
		for _, id := range c.seen + c.gone {
			if seen, _ := w.Seen(ctx, string(id)); seen != strings.ContainsRune(c.seen, id) {
				t.Errorf("after %s was done, %c: %v", c.done, id, seen)
			}
		}
	}
	if n := len(w.ids); n != 3 {
		t.Errorf("%d ids are kept", n)
	}
}

// The handler takes each event once, again after a failure, and answers so that the
// service does what is right: 204 for what is done, something else for what is to
// come again.
func TestHandler(t *testing.T) {
	r, err := New(Options{Secrets: []string{secretA}, Now: func() time.Time { return monday }})
	if err != nil {
		t.Fatal(err)
	}
	var taken atomic.Int32
	var fail atomic.Bool
	begun, goOn := make(chan struct{}), make(chan struct{})
	var slow atomic.Bool
	server := httptest.NewServer(r.Handler(func(_ context.Context, e *client.Event) error {
		if slow.Load() {
			close(begun)
			<-goOn
		}
		if fail.Load() {
			return errors.New("the disk is full of secrets")
		}
		taken.Add(1)
		return nil
	}))
	defer server.Close()
	call := func(header http.Header, body string) (int, string) {
		t.Helper()
		q, err := http.NewRequest(http.MethodPost, server.URL, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		q.Header = header
		answer, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		var problem struct {
			Type, Detail string
			Status       int
		}
		if answer.StatusCode != http.StatusNoContent {
			if err := json.NewDecoder(answer.Body).Decode(&problem); err != nil || problem.Status != answer.StatusCode || strings.Contains(problem.Detail, "disk") {
				t.Errorf("%d %+v %v", answer.StatusCode, problem, err)
			}
		}
		return answer.StatusCode, problem.Type
	}
	wants := func(what string, header http.Header, body string, status int, problem string, times int32) {
		t.Helper()
		if s, p := call(header, body); s != status || p != problem || taken.Load() != times {
			t.Errorf("%s: %d %s, taken %d times", what, s, p, taken.Load())
		}
	}
	good := signed(secretA, eventID, monday, eventBody)
	wants("unsigned", http.Header{}, eventBody, 401, "/problems/webhook-unsigned", 0)
	wants("another's", signed(secretB, eventID, monday, eventBody), eventBody, 401, "/problems/webhook-signature", 0)
	wants("old", signed(secretA, eventID, monday.Add(-time.Hour), eventBody), eventBody, 400, "/problems/webhook-clock-skew", 0)
	wants("no event", signed(secretA, eventID, monday, "[]"), "[]", 400, "/problems/webhook-not-an-event", 0)
	wants("too long", good, strings.Repeat(" ", mostCall+1), 413, "about:blank", 0)
	fail.Store(true)
	wants("it fails", good, eventBody, 500, "about:blank", 0)
	fail.Store(false)

	slow.Store(true)
	var group sync.WaitGroup
	group.Go(func() { wants("slow", good, eventBody, 204, "", 1) })
	<-begun
	wants("meanwhile", signed(secretA, eventID, monday.Add(time.Minute), eventBody), eventBody, 503, "/problems/webhook-in-hand", 0)
	close(goOn)
	group.Wait()
	slow.Store(false)
	wants("again", good, eventBody, 204, "", 1)
	wants("a later attempt", signed(secretA, eventID, monday.Add(time.Minute), eventBody), eventBody, 204, "", 1)

	if answer, err := http.Get(server.URL); err != nil || answer.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("GET: %v %v", answer, err)
	}
}

// The signature decides before anything in the call is believed, and nothing in a
// call makes a receiver panic.
func FuzzVerify(f *testing.F) {
	f.Add(eventID, "1795957925", vectorSignature, eventBody)
	f.Add(vectorID, "1614265330", vectorSignature, vectorBody)
	f.Add("", "-9223372036854775808", " v1 , v1,, ", "")
	f.Fuzz(func(t *testing.T, id, seconds, signature, body string) {
		r, err := New(Options{Secrets: []string{secretA}, Now: func() time.Time { return monday }})
		if err != nil {
			t.Fatal(err)
		}
		h := http.Header{"Webhook-Id": {id}, "Webhook-Timestamp": {seconds}, "Webhook-Signature": {signature}}
		if _, err := r.Verify(t.Context(), h, []byte(body)); !errors.Is(err, ErrSignature) && !errors.Is(err, ErrUnsigned) {
			t.Errorf("a call that nobody signed: %v", err)
		}
	})
}
