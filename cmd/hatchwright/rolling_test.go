package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/postgres/postgrestest"
)

// demandHAProxy in the environment makes a missing HAProxy a failure: the whole test
// command sets it.
const demandHAProxy = "HATCHWRIGHT_TEST_HAPROXY"

// proxied is an HAProxy before servers, which it asks for their readiness. Nothing is
// tried twice, so that what a server refuses is seen.
func proxied(t *testing.T, servers []*replica) (url string) {
	t.Helper()
	program, err := exec.LookPath("haproxy")
	if err != nil {
		if os.Getenv(demandHAProxy) != "" {
			t.Fatalf("%s is set, and there is no haproxy: install Debian's package haproxy", demandHAProxy)
		}
		t.Skip("there is no haproxy here: install Debian's package haproxy to run this test")
	}
	at := freeAddress(t)
	var c strings.Builder
	fmt.Fprintf(&c, `global
  maxconn 500
defaults
  mode http
  retries 0
  timeout connect 30s
  timeout client 60s
  timeout server 60s
  timeout check 30s
frontend all
  bind %s
  default_backend replicas
backend replicas
  balance roundrobin
  option httpchk GET /readyz
  http-response set-header X-Server %%s
  default-server check inter 200ms fall 1 rise 1
`, at)
	for i, r := range servers {
		fmt.Fprintf(&c, "  server s%d %s\n", i, r.listen)
	}
	file := filepath.Join(t.TempDir(), "haproxy.cfg")
	if err := os.WriteFile(file, []byte(c.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	p := exec.Command(program, "-db", "-f", file)
	var said bytes.Buffer
	p.Stdout, p.Stderr = &said, &said
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = p.Process.Kill()
		_ = p.Wait()
		if t.Failed() {
			t.Logf("haproxy: %s", said.String())
		}
	})
	return "http://" + at
}

// freeAddress is one that nobody listens on.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// Two processes behind a proxy are restarted in turn while requests go on, on
// connections that are kept and on new ones, and while a reader follows a stream. No
// request is refused; the stream's connections end whole and its reader misses nothing.
func TestRollingRestart(t *testing.T) {
	ctx := t.Context()
	c := config(t)
	c.DatabaseURL = postgrestest.Migrated(t)
	c.Demo = true
	first, _, stop := start(t, c) // makes the shop's keys
	environment := []string{"DATABASE_URL=" + c.DatabaseURL, "HATCHWRIGHT_DRAIN_DELAY=1s", "HATCHWRIGHT_KEY_RATE=0", "HATCHWRIGHT_ADDRESS_RATE=0"}
	if delay := os.Getenv("HATCHWRIGHT_TEST_DRAIN_DELAY"); delay != "" { // to see what another one costs
		environment[1] = "HATCHWRIGHT_DRAIN_DELAY=" + delay
	}
	servers := []*replica{{t: t, environment: environment, listen: freeAddress(t)}, {t: t, environment: environment, listen: freeAddress(t)}}
	url := proxied(t, servers)
	for _, r := range servers {
		r.start()
		defer r.kill()
	}
	if t.Failed() {
		return
	}
	var dealer string
	for _, k := range first.DemoKeys {
		if k.Role == record.RoleDealer {
			dealer = k.Key
			break
		}
	}
	request, err := os.ReadFile(filepath.Join(scenarios, "01-heron-24-anchor-locker.request.json"))
	if err != nil {
		t.Fatal(err)
	}
	send := func(client *http.Client, path, key, body string) (status int, server, answer string, err error) {
		q, err := http.NewRequestWithContext(ctx, http.MethodPost, url+path, strings.NewReader(body))
		if err != nil {
			return 0, "", "", err
		}
		q.GetBody = nil // the client sends nothing twice, either
		q.Header.Set("Content-Type", "application/json")
		q.Header.Set("Authorization", "Bearer "+key)
		q.Header.Set("If-Match", "*")
		a, err := client.Do(q)
		if err != nil {
			return 0, "", "", err
		}
		defer a.Body.Close()
		b, err := io.ReadAll(a.Body)
		return a.StatusCode, a.Header.Get("X-Server"), string(b), err
	}

	// answers waits until a server answers through the proxy.
	answers := func(name string) {
		t.Helper()
		client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
		for since := time.Now(); time.Since(since) < time.Minute; time.Sleep(20 * time.Millisecond) {
			if status, by, _, err := send(client, "/v1/check", dealer, string(request)); err == nil && status == http.StatusOK && by == name {
				return
			}
		}
		t.Fatalf("%s does not come back", name)
	}
	answers("s0")
	answers("s1")

	client := &http.Client{}
	made := func(path, body string) (id string) {
		t.Helper()
		status, _, answer, err := send(client, path, dealer, body)
		var a struct{ ID string }
		if err == nil {
			err = json.Unmarshal([]byte(answer), &a)
		}
		if err != nil || status != http.StatusCreated {
			t.Fatalf("%s: %d %s %v", path, status, answer, err)
		}
		return a.ID
	}
	order := made("/v1/orders", `{"quote_id":"`+made("/v1/quotes", `{"lines":[{"configuration":`+string(request)+`}]}`)+`"}`)
	begin, err := first.store.Events().After(ctx, store.ShopScope(), 0, 1)
	if err != nil || len(begin) != 1 {
		t.Fatalf("%d events, %v", len(begin), err)
	}
	if err := stop(); err != nil {
		t.Fatal(err)
	}

	var sent, refused atomic.Int64
	over := make(chan struct{})
	var load sync.WaitGroup
	work := func(client *http.Client, next func(n int) (path, body string)) {
		for n := 0; ; n++ {
			select {
			case <-over:
				return
			default:
			}
			path, body := next(n)
			key := dealer
			if strings.HasPrefix(path, "/v1/orders/") {
				key = first.ShopKey // holds more often than a dealer's key may
			}
			status, by, answer, err := send(client, path, key, body)
			sent.Add(1)
			if err != nil || status != http.StatusOK {
				if refused.Add(1) <= 5 {
					t.Errorf("%s by %q: %d %.300s %v", path, by, status, answer, err)
				}
			}
			time.Sleep(5 * time.Millisecond)
		}
	}
	check := func(int) (string, string) { return "/v1/check", string(request) }
	for n := range 6 {
		load.Go(func() {
			work(&http.Client{Transport: &http.Transport{DisableKeepAlives: n%2 == 0}}, check)
		})
	}
	load.Go(func() {
		work(&http.Client{Transport: &http.Transport{}}, func(n int) (string, string) {
			if n%2 == 0 {
				return "/v1/orders/" + order + "/hold", `{"reason":"why"}`
			}
			return "/v1/orders/" + order + "/release", ""
		})
	})
	reading, stopReading := context.WithCancel(ctx)
	r := &reader{t: t, key: dealer, random: rand.New(rand.NewPCG(1, 2)), last: begin[0].ID.String()}
	var tries, torn int
	var follow sync.WaitGroup
	follow.Go(func() {
		for reading.Err() == nil {
			tries++
			r.connect(reading, url, 1<<30)
			if reading.Err() == nil {
				torn = r.torn
			}
		}
	})

	const rounds = 2
	for range rounds {
		for i, s := range servers {
			if err := s.process.Process.Signal(syscall.SIGTERM); err != nil {
				t.Fatal(err)
			}
			if err := s.process.Wait(); err != nil {
				t.Errorf("a process that was asked to stop: %v", err)
			}
			s.start()
			answers(fmt.Sprintf("s%d", i))
		}
	}
	close(over)
	load.Wait()
	stopReading()
	follow.Wait()

	// What the order's events are, and what was heard of them.
	st, _, err := open(ctx, c)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	var want []record.Event
	o, err := st.Orders().List(ctx, store.ShopScope(), store.OrderFilter{}, store.Page{})
	if err != nil || len(o.Items) != 1 {
		t.Fatalf("%d orders, %v", len(o.Items), err)
	}
	for at := begin[0].Sequence; ; at = want[len(want)-1].Sequence {
		list, err := st.Events().After(ctx, store.DealerScope(*o.Items[0].DealerID), at, 200)
		if err != nil {
			t.Fatal(err)
		}
		if len(list) == 0 {
			break
		}
		want = append(want, list...)
	}
	if r.cuts != tries {
		t.Errorf("the reader connected %d times, %d were refused", tries, tries-r.cuts)
	}
	for since := time.Now(); len(r.got) < len(want) && time.Since(since) < time.Minute; {
		once, done := context.WithTimeout(ctx, 2*time.Second)
		r.connect(once, url, 1<<16)
		done()
	}
	// The program goes on planning: more may have come.
	if err := exactly(r.got[:min(len(r.got), len(want))], want); err != nil {
		t.Errorf("the reader: %v", err)
	}
	if torn != 0 {
		t.Errorf("%d connections of the reader did not end whole", torn)
	}
	if refused.Load() != 0 {
		t.Errorf("%d of %d requests were refused", refused.Load(), sent.Load())
	}
	t.Logf("%d restarts: %d requests, %d refused; the reader has all of %d events over %d connections", rounds*len(servers), sent.Load(), refused.Load(), len(want), r.cuts)
}
