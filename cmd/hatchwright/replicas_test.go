package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/postgres/postgrestest"
)

var resumes = flag.Int("resumes", 40, "times that each reader of the test with killed replicas is cut off and comes back")

// heard is an event as a stream gave it.
type heard struct{ id, kind, data string }

// reader reads a stream and is cut off, again and again.
type reader struct {
	t      *testing.T
	key    string
	random *rand.Rand
	got    []heard
	last   string // the id to go on after
	cuts   int
	torn   int // connections that ended otherwise than whole
}

// connect reads one connection until it has had so many bytes, or ends. What was not
// whole by then is lost, as it is for anybody who is cut off.
func (r *reader) connect(ctx context.Context, url string, bytesLeft int) {
	q, err := http.NewRequestWithContext(ctx, http.MethodGet, url+"/v1/events", nil)
	if err != nil {
		r.t.Error(err)
		return
	}
	q.Header.Set("Authorization", "Bearer "+r.key)
	q.Header.Set("Last-Event-ID", r.last)
	transport := &http.Transport{DisableKeepAlives: true}
	answer, err := transport.RoundTrip(q)
	if err != nil {
		time.Sleep(2 * time.Millisecond) // killed: the other one is up
		return
	}
	defer answer.Body.Close()
	if answer.StatusCode == http.StatusServiceUnavailable { // it has just started, or waits for the store
		time.Sleep(20 * time.Millisecond)
		return
	}
	if answer.StatusCode != http.StatusOK {
		body, _ := io.ReadAll(answer.Body)
		r.t.Errorf("%d %s", answer.StatusCode, body)
		return
	}
	r.cuts++
	var pending []byte
	chunk := make([]byte, 512)
	for bytesLeft > 0 {
		n, err := answer.Body.Read(chunk[:min(bytesLeft, len(chunk))])
		bytesLeft -= n
		pending = append(pending, chunk[:n]...)
		for {
			block, rest, whole := bytes.Cut(pending, []byte("\n\n"))
			if !whole {
				break
			}
			pending = rest
			var e heard
			for line := range strings.Lines(string(block) + "\n") {
				name, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
				switch name {
				case "id":
					e.id = value
				case "event":
					e.kind = value
				case "data":
					e.data = value
				}
			}
			if e.id != "" {
				r.got, r.last = append(r.got, e), e.id
			}
		}
		if err != nil {
			if !errors.Is(err, io.EOF) {
				r.torn++
			}
			return
		}
	}
}

// Readers of streams over HTTP are cut off in the midst of what comes, and come back
// to the other of two replicas, which are processes of their own on one store and
// are killed and started again meanwhile; a third goes on writing. What each reader
// has in the end is exactly its events: in order, none twice, none missing, byte for
// byte. -resumes 1000 is the long run.
func TestStreamsOverKilledReplicas(t *testing.T) {
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			ctx := t.Context()
			c := config(t)
			environment := []string{"HATCHWRIGHT_DATA=" + c.DataFile}
			if engine == "postgres" {
				c.DatabaseURL = postgrestest.Migrated(t)
				environment = []string{"DATABASE_URL=" + c.DatabaseURL}
			}
			c.Demo, c.KeyRate = true, 0
			program, url, stop := start(t, c)
			defer func() {
				if err := stop(); err != nil {
					t.Error(err)
				}
			}()
			keys := map[string]string{}
			for _, k := range program.DemoKeys {
				if k.Role == record.RoleDealer {
					keys[k.Dealer] = k.Key
				}
			}
			if len(keys) < 2 {
				t.Fatalf("the demo scenario has dealers %v", keys)
			}
			send := func(path, key, body string) (int, string, error) {
				q, err := http.NewRequestWithContext(ctx, http.MethodPost, url+path, strings.NewReader(body))
				if err != nil {
					return 0, "", err
				}
				q.Header.Set("Content-Type", "application/json")
				q.Header.Set("Authorization", "Bearer "+key)
				q.Header.Set("If-Match", "*")
				a, err := http.DefaultClient.Do(q)
				if err != nil {
					return 0, "", err
				}
				defer a.Body.Close()
				answer, err := io.ReadAll(a.Body)
				return a.StatusCode, string(answer), err
			}
			made := func(path, key, body string) (id string) {
				t.Helper()
				status, answer, err := send(path, key, body)
				var a struct{ ID string }
				if err == nil {
					err = json.Unmarshal([]byte(answer), &a)
				}
				if err != nil || status != http.StatusCreated {
					t.Fatalf("%s: %d %s %v", path, status, answer, err)
				}
				return a.ID
			}
			// An order of each of two dealers, and a reader from its first event on: the
			// dealer's own; and one of the shop's.
			request, err := os.ReadFile(filepath.Join(scenarios, "01-heron-24-anchor-locker.request.json"))
			if err != nil {
				t.Fatal(err)
			}
			orders := map[string]string{} // by key
			var readers []*reader
			for i, dealer := range slices.Sorted(maps.Keys(keys))[:2] {
				key := keys[dealer]
				quote := made("/v1/quotes", key, `{"lines":[{"configuration":`+string(request)+`}]}`)
				orders[key] = made("/v1/orders", key, `{"quote_id":"`+quote+`"}`)
				readers = append(readers, &reader{t: t, key: key, random: rand.New(rand.NewPCG(uint64(i), 9))})
			}
			readers = append(readers, &reader{t: t, key: program.ShopKey, random: rand.New(rand.NewPCG(3, 9))})
			owners := make([]store.Scope, len(readers))
			begin := make([]record.Event, len(readers))
			for i, r := range readers {
				owners[i] = store.ShopScope()
				if id, ok := orders[r.key]; ok {
					o, err := program.store.Orders().Get(ctx, store.ShopScope(), uuid.MustParse(id))
					if err != nil {
						t.Fatal(err)
					}
					owners[i] = store.DealerScope(*o.DealerID)
				}
				first, err := program.store.Events().After(ctx, owners[i], 0, 1)
				if err != nil || len(first) != 1 {
					t.Fatalf("%d events, %v", len(first), err)
				}
				begin[i], r.last = first[0], first[0].ID.String()
			}

			replicas := []*replica{{t: t, environment: environment}, {t: t, environment: environment}}
			for _, r := range replicas {
				r.start()
				defer r.kill()
			}
			if t.Failed() {
				return
			}

			// Everybody at once, until each reader was cut off often enough.
			enough := make(chan struct{})
			var writing, reading, killing sync.WaitGroup
			// The shop holds and releases them: a dealer's key may not that often.
			for _, id := range orders {
				writing.Go(func() {
					for i := 0; ; i++ {
						select {
						case <-enough:
							return
						case <-time.After(2 * time.Millisecond):
						}
						path, body := "/v1/orders/"+id+"/hold", `{"reason":"why"}`
						if i%2 == 1 {
							path, body = "/v1/orders/"+id+"/release", ""
						}
						status, answer, err := send(path, program.ShopKey, body)
						for tries := 0; tries < 20 && status == http.StatusServiceUnavailable; tries++ {
							time.Sleep(20 * time.Millisecond) // three processes wait for one file; nothing was written
							status, answer, err = send(path, program.ShopKey, body)
						}
						if err != nil || status != http.StatusOK {
							t.Errorf("%s: %d %s %v", path, status, answer, err)
							return
						}
					}
				})
			}
			var cuts, kills atomic.Int64
			for _, r := range readers {
				reading.Go(func() {
					for n := 0; r.cuts < *resumes && !t.Failed(); n++ {
						before := r.cuts // one that is refused is none
						r.connect(ctx, replicas[n%2].address.Load().(string), 1+r.random.IntN(4000))
						cuts.Add(int64(r.cuts - before))
					}
				})
			}
			stopKilling := make(chan struct{})
			killing.Go(func() {
				const between = 25 // cuts of all readers between two kills
				for n := 0; ; n++ {
					for at := cuts.Load(); cuts.Load() < at+between; {
						select {
						case <-stopKilling:
							return
						case <-time.After(time.Millisecond):
						}
					}
					replicas[n%2].kill()
					replicas[n%2].start()
					kills.Add(1)
				}
			})
			reading.Wait()
			close(stopKilling)
			killing.Wait()
			close(enough)
			writing.Wait()

			// What is left.
			total := 0
			for i, r := range readers {
				var want []record.Event
				for at := begin[i].Sequence; ; at = want[len(want)-1].Sequence {
					list, err := program.store.Events().After(ctx, owners[i], at, 200)
					if err != nil {
						t.Fatal(err)
					}
					if len(list) == 0 {
						break
					}
					want = append(want, list...)
				}
				rest, cancel := context.WithTimeout(ctx, time.Minute)
				for n := 0; len(r.got) < len(want) && rest.Err() == nil && !t.Failed(); n++ {
					once, done := context.WithTimeout(rest, 2*time.Second)
					r.connect(once, replicas[n%2].address.Load().(string), 1<<16)
					done()
				}
				cancel()
				if err := exactly(r.got, want); err != nil {
					t.Errorf("reader %d after %d cuts: %v", i, r.cuts, err)
				}
				total += len(want)
			}
			if kills.Load() == 0 {
				t.Error("no replica was killed")
			}
			t.Logf("%d readers, cut off %d times, have their %d events; %d replicas killed", len(readers), cuts.Load(), total, kills.Load())
		})
	}
}

// exactly says where what was heard is not the events.
func exactly(got []heard, want []record.Event) error {
	for i := range min(len(got), len(want)) {
		if g, w := got[i], want[i]; g.id != w.ID.String() || g.kind != w.Kind || g.data != string(w.Body) {
			return fmt.Errorf("event %d is %s %s, want %v %s", i, g.id, g.kind, w.ID, w.Kind)
		}
	}
	if len(got) != len(want) {
		return errors.New(fmt.Sprint(len(got), " events, want ", len(want)))
	}
	return nil
}
