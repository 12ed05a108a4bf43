package service_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/postgres"
	"hatchwright/store/sqlite"
)

// The environment of a test program that runs as a worker and nothing else: the
// store, and how far its clock is ahead.
const (
	childStore = "HATCHWRIGHT_TEST_CHILD_STORE"
	childAhead = "HATCHWRIGHT_TEST_CHILD_AHEAD"
)

// workAsChild delivers webhooks until it is killed, when the environment says so.
func workAsChild() bool {
	at := os.Getenv(childStore)
	if at == "" {
		return false
	}
	fail := func(err error) {
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	ahead, err := time.ParseDuration(os.Getenv(childAhead))
	fail(err)
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	var s store.Store
	if strings.HasPrefix(at, "postgres:") {
		s, err = postgres.Open(ctx, at)
	} else {
		s, err = sqlite.Open(ctx, at)
	}
	fail(err)
	worker, err := service.New(service.Options{Store: s, Wire: api.Wire{}, Clock: func() time.Time { return time.Now().Add(ahead) },
		Webhooks: service.WebhookOptions{Policy: loopback, Keys: [][]byte{bytes.Repeat([]byte{7}, 32)}, CallTime: 300 * time.Millisecond}})
	fail(err)
	worker.DeliverWebhooks(ctx)
	fail(s.Close())
	return true
}

// A worker that is a process of its own is killed again and again in the midst of
// its calls, to a receiver that refuses, hangs, answers slowly, closes, takes without
// saying so, and asks for time, while orders go on: nothing is lost, everything is
// signed, and nothing overtakes. Each next one's clock is ahead of the leases that
// the dead one left.
func TestWebhooksSurviveKills(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: time.Now()}, nil)
		r := newReceiver(t, nil)
		w := d.hook(d.a, r)
		kept := d.kept(d.a)
		var orders []record.Order
		for range 12 {
			orders = append(orders, d.ordered(d.a, d.quoted(d.a, kept)))
		}
		var mu sync.Mutex
		random, moods := rand.New(rand.NewPCG(21, 22)), map[string]int{}
		r.set(func(string) string {
			mu.Lock()
			defer mu.Unlock()
			mood := "take"
			if random.IntN(100) < 25 {
				mood = []string{"refuse", "hang", "slow", "close", "take and close", "busy", "drip", "redirect"}[random.IntN(8)]
			}
			moods[mood]++
			return mood
		})
		const writing = 6 // rounds in which orders go on
		kills := 0
		for round := 0; ; round++ {
			want := len(d.events(d.a.Scope(), w.Since))
			delivered := func() int { return len(d.deliveries(d.a, w, record.DeliveryDelivered)) }
			if round > writing && delivered() == want {
				break
			}
			if round > 300 {
				t.Fatalf("%d of %d events after %d workers", delivered(), want, round)
			}
			child := exec.Command(os.Args[0])
			child.Env = append(os.Environ(), childStore+"="+opened(t, d.store), childAhead+"="+(time.Duration(round)*10*time.Minute).String())
			child.Stderr = os.Stderr
			if err := child.Start(); err != nil {
				t.Fatal(err)
			}
			if round < writing { // while it works
				for i := range orders {
					if round%2 == 0 {
						d.hold(d.a, &orders[i])
					} else {
						d.release(d.a, &orders[i])
					}
				}
			}
			// Until it has brought some more, or found nothing to do.
			before := len(r.arrivals())
			for tries := 0; len(r.arrivals()) < before+7 && tries < 500; tries++ {
				if tries%50 == 49 && delivered() == want {
					break
				}
				time.Sleep(2 * time.Millisecond)
			}
			if err := child.Process.Kill(); err != nil {
				t.Fatal(err)
			}
			_ = child.Wait() // killed
			kills++
		}
		want := d.events(d.a.Scope(), w.Since)
		r.inOrder(t, want)
		mu.Lock()
		defer mu.Unlock()
		t.Logf("%d events, %d arrivals, %d workers killed; the receiver's moods %v", len(want), len(r.arrivals()), kills, moods)
		if kills < 5 || len(moods) < 9 {
			t.Errorf("only %d workers were killed, only moods %v met", kills, moods)
		}
	})
}
