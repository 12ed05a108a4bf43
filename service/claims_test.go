package service_test

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/store"
)

// stalling lets its first transaction wait before it begins, and tells when it does.
type stalling struct {
	store.Store
	once    atomic.Bool
	waiting chan struct{} // closed when the first transaction waits
	wait    func()
}

func (s *stalling) InTx(ctx context.Context, fn func(store.Tx) error) error {
	if !s.once.Swap(true) {
		close(s.waiting)
		s.wait()
	}
	return s.Store.InTx(ctx, fn)
}

// addDealer adds a dealer as a request with an Idempotency-Key does.
func addDealer(ctx context.Context, s *service.Service, c service.Caller, name, key string) (id string, err error) {
	made, err := s.CreateDealer(ctx, c, service.NewDealer{Name: name},
		&service.Claim{Key: key, Method: "POST", Route: "/v1/dealers", Path: "/v1/dealers", Body: []byte(name)})
	return string(made.Answer.Body), err
}

// TestClaimsAreRenewed: a request that runs for longer than a claim lasts keeps its
// claim for as long as it runs; a repeat meanwhile is told to wait, never for longer
// than a claim lasts. Time is that of the bubble, where waiting takes none.
func TestClaimsAreRenewed(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		synctest.Test(t, func(t *testing.T) {
			s := open()
			defer s.Close()
			slow := &stalling{Store: s, waiting: make(chan struct{}), wait: func() { time.Sleep(95 * time.Second) }}
			first, err := service.New(service.Options{Store: slow, Wire: api.Wire{}})
			if err != nil {
				t.Fatal(err)
			}
			second, err := service.New(service.Options{Store: s, Wire: api.Wire{}})
			if err != nil {
				t.Fatal(err)
			}
			begun := time.Now()
			var answer string
			done := make(chan error, 1)
			go func() {
				var err error
				answer, err = addDealer(t.Context(), first, d.shop, "Corrow Boats", "slow")
				done <- err
			}()
			<-slow.waiting
			for at := 5 * time.Second; at < 95*time.Second; at += 7 * time.Second {
				time.Sleep(at - time.Since(begun))
				_, err := addDealer(t.Context(), second, d.shop, "Corrow Boats", "slow")
				var f *fault.Error
				if !errors.As(err, &f) || f.Kind != fault.InProgress {
					t.Errorf("a repeat after %v: %v, want it to be in progress", at, err)
					continue
				}
				if f.After < 19*time.Second || f.After > 30*time.Second {
					t.Errorf("a repeat after %v is told to wait %v, want what is left of the claim: 20 to 30 s", at, f.After)
				}
			}
			if err := <-done; err != nil {
				t.Fatal(err)
			}
			again, err := addDealer(t.Context(), second, d.shop, "Corrow Boats", "slow")
			if err != nil || again != answer {
				t.Errorf("afterwards: %s, %v; want %s", again, err, answer)
			}
		})
	})
}

// TestStalledAttempt: an attempt that stood still for longer than its claim lasts, so
// that another took over and finished, writes nothing when it goes on.
func TestStalledAttempt(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		goOn := make(chan struct{})
		slow := &stalling{waiting: make(chan struct{}), wait: func() { <-goOn }}
		stalled := d.another(open(), func(s store.Store) store.Store { slow.Store = s; return slow })
		kept := d.kept(d.a)
		if err := stalled.LoadDocuments(t.Context()); err != nil {
			t.Fatal(err)
		}
		q := d.quoted(d.a, kept)
		claim := &service.Claim{Key: "PO-4711", Method: "POST", Route: "/v1/orders", Path: "/v1/orders", Body: []byte("the order")}
		first := make(chan error, 1)
		go func() { _, err := d.place(stalled, d.a, q.ID, claim); first <- err }()
		<-slow.waiting
		d.clock.Add(30*time.Second - time.Millisecond)
		_, err := d.place(d.service, d.a, q.ID, claim)
		var f *fault.Error
		if !errors.As(err, &f) || f.Kind != fault.InProgress || f.After != time.Millisecond {
			t.Errorf("a millisecond before it lapses: %v", err)
		}
		d.clock.Add(time.Millisecond)
		placed, err := d.place(d.service, d.a, q.ID, claim)
		if err != nil {
			t.Fatalf("once it lapsed: %v", err)
		}
		before := len(d.events(store.ShopScope(), 0))
		close(goOn)
		if err := <-first; reason(err) != "in progress" && reason(err) != "quote-ordered" {
			t.Errorf("the stalled attempt: %v, want a refusal", err)
		}
		if n := len(d.events(store.ShopScope(), 0)); n != before {
			t.Errorf("the stalled attempt wrote %d events", n-before)
		}
		l, err := d.service.ListOrders(t.Context(), d.a, store.OrderFilter{QuoteID: &q.ID}, store.Page{})
		if err != nil || len(l.Items) != 1 {
			t.Errorf("%d orders, want 1; %v", len(l.Items), err)
		}
		if again, err := d.place(d.service, d.a, q.ID, claim); err != nil || again.ID != placed.ID {
			t.Errorf("sent again: order %v, want %v; %v", again.ID, placed.ID, err)
		}

		// Where nothing else stands in the way of a second writing, the claim alone does.
		goOn = make(chan struct{})
		slow.waiting = make(chan struct{})
		slow.once.Store(false)
		keep := func(s *service.Service) error {
			n := request(t, smallHatch)
			_, err := s.StoreConfiguration(t.Context(), d.a, n, &service.Claim{Key: "keep", Method: "POST", Route: "/v1/configurations", Path: "/v1/configurations", Body: []byte(smallHatch)})
			return err
		}
		count := func() int {
			l, err := d.service.ListConfigurations(t.Context(), d.a, store.ConfigurationFilter{}, store.Page{})
			if err != nil {
				t.Fatal(err)
			}
			return len(l.Items)
		}
		had := count()
		go func() { first <- keep(stalled) }()
		<-slow.waiting
		d.clock.Add(31 * time.Second)
		if err := keep(d.service); err != nil {
			t.Fatalf("once it lapsed: %v", err)
		}
		close(goOn)
		err = <-first
		if !errors.Is(err, store.ErrLostClaim) || fault.KindOf(err) != fault.InProgress {
			t.Errorf("the stalled attempt: %v, want that its claim is lost", err)
		}
		if n := count(); n != had+1 {
			t.Errorf("%d configurations were kept, want 1", n-had)
		}
	})
}

// TestSecretsAreSealedAtStart: signing secrets that stand in the clear are sealed at the
// first start with a key; they go on signing, and nothing that is read changes. What no
// key opens is told.
func TestSecretsAreSealedAtStart(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		sealing := d.service
		withKeys := func(keys ...[]byte) *service.Service {
			s, err := service.New(service.Options{Store: d.store, Wire: api.Wire{}, Clock: d.clock.Now, Webhooks: service.WebhookOptions{Policy: loopback, Keys: keys}})
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		start := func(what string, s *service.Service, want service.SecretsAtRest) {
			t.Helper()
			b, err := s.Bootstrap(ctx)
			if err != nil {
				t.Fatal(err)
			}
			if b.Secrets != want {
				t.Errorf("%s: %+v, want %+v", what, b.Secrets, want)
			}
		}
		keyless := withKeys()
		if err := keyless.LoadDocuments(ctx); err != nil {
			t.Fatal(err)
		}
		d.service = keyless
		r := newReceiver(t, d.clock.Now)
		w := d.hook(d.a, r)
		d.quoted(d.a, d.kept(d.a))
		start("without a key", keyless, service.SecretsAtRest{Clear: 1})
		start("with a key", sealing, service.SecretsAtRest{Sealed: 1})
		start("once more", sealing, service.SecretsAtRest{})
		start("without the key", keyless, service.SecretsAtRest{Shut: 1})
		start("with another key", withKeys(make([]byte, 32)), service.SecretsAtRest{Shut: 1})
		now, err := d.store.Webhooks().Get(ctx, store.ShopScope(), w.ID)
		if err != nil {
			t.Fatal(err)
		}
		if now.Secrets[0].Sealed == w.Secrets[0].Sealed {
			t.Error("the secret stands as it did")
		}
		now.Secrets[0].Sealed, w.Secrets[0].Sealed = "", ""
		if fmt.Sprint(now) != fmt.Sprint(w) {
			t.Errorf("the endpoint is %+v, want %+v", now, w)
		}
		if d.deliver(sealing) == 0 || r.calls == 0 {
			t.Error("nothing was sent")
		}
	})
}
