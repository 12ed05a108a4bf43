package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptrace"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func start(t *testing.T, c Config) (p *Program, url string, stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	p, err := NewProgram(ctx, c, slog.New(slog.DiscardHandler))
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx, l) }()
	stop = func() error { cancel(); return <-done }
	t.Cleanup(func() { cancel() })
	return p, "http://" + l.Addr().String(), stop
}

func config(t *testing.T) Config {
	c := DefaultConfig()
	c.DataFile, c.DrainDelay = filepath.Join(t.TempDir(), "test.db"), 0
	return c
}

func post(t *testing.T, url, key, body string) (int, string) {
	t.Helper()
	r, err := http.NewRequest(http.MethodPost, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Authorization", "Bearer "+key)
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	return a.StatusCode, string(b)
}

// TestServe starts the whole program on a new embedded store, uses the key of the
// first start, stops, and starts again on the same file: the key still opens, and
// no second one is made. Nothing is left running.
func TestServe(t *testing.T) {
	// The standard client keeps idle connections of its own.
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent(), goleak.IgnoreTopFunction("net/http.(*persistConn).readLoop"), goleak.IgnoreTopFunction("net/http.(*persistConn).writeLoop"))
	defer http.DefaultClient.CloseIdleConnections()
	c := config(t)
	p, url, stop := start(t, c)
	if p.ShopKey == "" {
		t.Fatal("the first start made no key")
	}
	body, err := os.ReadFile(filepath.Join(scenarios, "01-heron-24-anchor-locker.request.json"))
	if err != nil {
		t.Fatal(err)
	}
	if status, answer := post(t, url+"/v1/derive", p.ShopKey, string(body)); status != http.StatusOK || !strings.Contains(answer, `"verdict":"makeable_with_cautions"`) {
		t.Fatalf("%d %.2000s", status, answer)
	}
	var out, errs bytes.Buffer
	environment := map[string]string{"HATCHWRIGHT_ADDRESS": strings.TrimPrefix(url, "http://")}
	if code := run(context.Background(), streams{nil, &out, &errs, environment}, []string{"health"}); code != exitOK {
		t.Errorf("health of a ready service: exit %d, %s", code, errs.String())
	}
	if status, _ := post(t, url+"/v1/derive", "hw_wrong", string(body)); status != http.StatusUnauthorized {
		t.Errorf("a wrong key got %d", status)
	}
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	if code := run(context.Background(), streams{nil, &out, &errs, environment}, []string{"health"}); code != exitFailure {
		t.Errorf("health of a stopped service: exit %d", code)
	}
	again, url, stop := start(t, c)
	if again.ShopKey != "" {
		t.Error("the second start made another key")
	}
	if status, _ := post(t, url+"/v1/check", p.ShopKey, string(body)); status != http.StatusOK {
		t.Errorf("after a restart the key got %d", status)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}

// TestShutdownLetsRequestsFinish sends the head of a request, asks the program to
// stop, then sends the body: the answer still comes.
func TestShutdownLetsRequestsFinish(t *testing.T) {
	p, url, stop := start(t, config(t))
	reader, writer := io.Pipe()
	r, err := http.NewRequest(http.MethodPost, url+"/v1/check", reader)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Authorization", "Bearer "+p.ShopKey)
	// The server says 100 Continue when the handler begins to read the body.
	reading := make(chan struct{})
	r.Header.Set("Expect", "100-continue")
	r = r.WithContext(httptrace.WithClientTrace(r.Context(), &httptrace.ClientTrace{Got100Continue: func() { close(reading) }}))
	type outcome struct {
		status int
		err    error
	}
	got := make(chan outcome, 1)
	go func() {
		a, err := (&http.Client{Transport: &http.Transport{ExpectContinueTimeout: time.Minute}}).Do(r)
		if err != nil {
			got <- outcome{0, err}
			return
		}
		defer a.Body.Close()
		got <- outcome{a.StatusCode, nil}
	}()
	const body = `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":400}}`
	<-reading
	if _, err := io.WriteString(writer, body[:20]); err != nil {
		t.Fatal(err)
	}
	stopped := make(chan error, 1)
	go func() { stopped <- stop() }()
	// New connections are refused once the shutdown has begun.
	for {
		conn, err := net.DialTimeout("tcp", strings.TrimPrefix(url, "http://"), time.Second)
		if err != nil {
			break
		}
		conn.Close()
	}
	if _, err := io.WriteString(writer, body[20:]); err != nil {
		t.Fatal(err)
	}
	writer.Close()
	if o := <-got; o.err != nil || o.status != http.StatusOK {
		t.Errorf("the request in flight got %d, %v", o.status, o.err)
	}
	if err := <-stopped; err != nil {
		t.Error(err)
	}
}

// TestStoreThatCannotOpen: the error says which file and why.
func TestStoreThatCannotOpen(t *testing.T) {
	c := config(t)
	c.DataFile = filepath.Join(t.TempDir(), "no", "such", "folder", "x.db")
	_, err := NewProgram(context.Background(), c, slog.New(slog.DiscardHandler))
	if err == nil || !strings.Contains(err.Error(), "x.db") {
		t.Errorf("%v", err)
	}
	if errors.Is(err, context.Canceled) {
		t.Error("nobody canceled")
	}
}

// TestShutdownEndsStreams stops the program while a stream of events is open: the
// stream ends, the program does not wait out its grace, and nothing is left running.
func TestShutdownEndsStreams(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	c := config(t)
	c.ShutdownGrace = time.Hour
	p, url, stop := start(t, c)
	r, err := http.NewRequest(http.MethodGet, url+"/v1/events", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+p.ShopKey)
	transport := &http.Transport{}
	a, err := transport.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	defer transport.CloseIdleConnections()
	defer a.Body.Close()
	if a.StatusCode != http.StatusOK {
		t.Fatalf("%d", a.StatusCode)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	if rest, err := io.ReadAll(a.Body); err != nil || !strings.HasPrefix(string(rest), "retry: ") {
		t.Errorf("%q %v", rest, err)
	}
}
