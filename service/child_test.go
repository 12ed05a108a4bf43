package service_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"strings"
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
		Webhooks: service.WebhookOptions{Policy: loopback, Keys: [][]byte{bytes.Repeat([]byte{7}, 32)}}})
	fail(err)
	worker.DeliverWebhooks(ctx)
	fail(s.Close())
	return true
}

// A worker that is a process of its own is killed again and again in the midst of
// its calls: nothing is lost, and nothing overtakes. Each next one's clock is ahead
// of the leases that the dead one left.
func TestWebhooksSurviveKills(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: time.Now()}, nil)
		r := newReceiver(t, nil)
		w := d.hook(d.a, r)
		kept := d.kept(d.a)
		for range 12 {
			o := d.ordered(d.a, d.quoted(d.a, kept))
			for range 3 {
				d.hold(d.a, &o)
				d.release(d.a, &o)
			}
		}
		want := d.events(d.a.Scope(), w.Since)
		r.set(func(string) string { time.Sleep(2 * time.Millisecond); return "take" }) // so that kills meet calls
		kills := 0
		for round := 0; ; round++ {
			before := len(r.arrivals())
			if before >= len(want) && len(d.deliveries(d.a, w, record.DeliveryDelivered)) == len(want) {
				break
			}
			if round > 200 {
				t.Fatalf("%d of %d events after %d workers", before, len(want), round)
			}
			child := exec.Command(os.Args[0])
			child.Env = append(os.Environ(), childStore+"="+opened(t, d.store), childAhead+"="+(time.Duration(round)*10*time.Minute).String())
			child.Stderr = os.Stderr
			if err := child.Start(); err != nil {
				t.Fatal(err)
			}
			// Until it has brought some more, or found nothing to do.
			for tries := 0; len(r.arrivals()) < before+7 && tries < 1500; tries++ {
				if len(d.deliveries(d.a, w, record.DeliveryDelivered)) == len(want) {
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
		r.inOrder(t, want)
		t.Logf("%d events, %d arrivals, %d workers killed", len(want), len(r.arrivals()), kills)
		if kills < 5 {
			t.Errorf("only %d workers were killed", kills)
		}
	})
}
