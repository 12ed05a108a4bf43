package service_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/service/webhook"
	"hatchwright/store"
)

// receiver is somebody's endpoint. It verifies every call with the specification's
// library, and then does what behave says.
type receiver struct {
	t      *testing.T
	clock  func() time.Time
	server *httptest.Server

	mu      sync.Mutex
	secrets []string // each of them has to verify
	behave  func(kind string) string
	taken   []arrival // what it took to be delivered, repeats too
	calls   int
}

type arrival struct {
	id, kind string
	subject  uuid.UUID
	version  int
}

func newReceiver(t *testing.T, now func() time.Time) *receiver {
	r := &receiver{t: t, clock: now, behave: func(string) string { return "take" }}
	r.server = httptest.NewUnstartedServer(r)
	r.server.Config.ErrorLog = log.New(io.Discard, "", 0)
	r.server.Start()
	t.Cleanup(r.server.Close)
	return r
}

func (r *receiver) set(behave func(string) string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.behave = behave
}

func (r *receiver) arrivals() []arrival {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]arrival(nil), r.taken...)
}

func (r *receiver) ServeHTTP(w http.ResponseWriter, q *http.Request) {
	body, err := io.ReadAll(q.Body)
	if err != nil {
		return // the caller went away
	}
	r.mu.Lock()
	secrets, behave := r.secrets, r.behave
	r.calls++
	r.mu.Unlock()
	for _, s := range secrets {
		v, err := standardwebhooks.NewWebhook(s)
		if err == nil {
			err = v.VerifyIgnoringTimestamp(body, q.Header)
		}
		if err != nil {
			r.t.Errorf("the signature does not verify: %v", err)
		}
	}
	if seconds, err := strconv.ParseInt(q.Header.Get("webhook-timestamp"), 10, 64); err != nil || r.clock != nil && r.clock().Sub(time.Unix(seconds, 0)).Abs() > 2*time.Second {
		r.t.Errorf("the timestamp is %q at %v", q.Header.Get("webhook-timestamp"), r.clock())
	}
	var told struct {
		ID, Type string
		Data     struct {
			OrderID   uuid.UUID `json:"order_id"`
			QuoteID   uuid.UUID `json:"quote_id"`
			WebhookID uuid.UUID `json:"webhook_id"`
			Version   int
		}
	}
	if err := json.Unmarshal(body, &told); err != nil || told.ID != q.Header.Get("webhook-id") {
		r.t.Errorf("%s: %v", body, err)
	}
	a := arrival{id: told.ID, kind: told.Type, subject: told.Data.OrderID, version: told.Data.Version}
	if a.subject == uuid.Nil {
		a.subject = told.Data.QuoteID
	}
	if a.subject == uuid.Nil {
		a.subject = told.Data.WebhookID
	}
	take := func() { r.mu.Lock(); defer r.mu.Unlock(); r.taken = append(r.taken, a) }
	switch behave(a.kind) {
	case "take":
		take()
		w.WriteHeader(http.StatusNoContent)
	case "refuse":
		w.WriteHeader(http.StatusInternalServerError)
	case "gone":
		w.WriteHeader(http.StatusGone)
	case "busy":
		w.Header().Set("Retry-After", "600")
		w.WriteHeader(http.StatusTooManyRequests)
	case "away": // for longer than is heeded
		w.Header().Set("Retry-After", "31536000")
		w.WriteHeader(http.StatusServiceUnavailable)
	case "redirect":
		http.Redirect(w, q, "/elsewhere", http.StatusPermanentRedirect)
	case "slow": // in the last half of what a call may take
		time.Sleep(200 * time.Millisecond)
		take()
		w.WriteHeader(http.StatusOK)
	case "hang":
		<-q.Context().Done()
	case "close":
		panic(http.ErrAbortHandler)
	case "take and close": // it has the event, and the caller does not know
		take()
		panic(http.ErrAbortHandler)
	case "drip": // the status at once, then a body that does not end
		take()
		w.WriteHeader(http.StatusOK)
		for q.Context().Err() == nil {
			if _, err := w.Write([]byte(".")); err != nil {
				return
			}
			w.(http.Flusher).Flush()
		}
	}
}

// inOrder holds what arrived against the events: each of them, the first arrivals
// of a subject in order, and nothing else.
func (r *receiver) inOrder(t *testing.T, events []record.Event) {
	t.Helper()
	first := map[string]int{}
	for i, a := range r.arrivals() {
		if _, repeat := first[a.id]; !repeat {
			first[a.id] = i
		}
	}
	last := map[uuid.UUID]int{}
	for _, e := range events {
		i, ok := first[e.ID.String()]
		if !ok {
			t.Errorf("%s of %v never arrived", e.Kind, e.Subject)
			continue
		}
		if before, ok := last[e.Subject.ID]; ok && i < before {
			t.Errorf("%s of %v came before an earlier event of the same", e.Kind, e.Subject)
		}
		last[e.Subject.ID] = i
		delete(first, e.ID.String())
	}
	for id := range first {
		t.Errorf("%s arrived, and is no event for this endpoint", id)
	}
}

// hook adds an endpoint for a receiver.
func (d *desk) hook(c service.Caller, r *receiver, kinds ...string) record.Webhook {
	d.t.Helper()
	made, err := d.service.CreateWebhook(context.Background(), c, service.NewWebhook{URL: r.server.URL + "/hook", Kinds: kinds}, nil)
	if err != nil {
		d.t.Fatal(err)
	}
	r.secrets = []string{made.Record.Text}
	return made.Record.Webhook
}

// events are all events after an endpoint was made that are the owner's.
func (d *desk) events(scope store.Scope, after int64) []record.Event {
	d.t.Helper()
	var all []record.Event
	for {
		list, err := d.store.Events().After(context.Background(), scope, after, 200)
		if err != nil {
			d.t.Fatal(err)
		}
		if len(list) == 0 {
			return all
		}
		all = append(all, list...)
		after = list[len(list)-1].Sequence
	}
}

func (d *desk) hold(c service.Caller, o *record.Order) {
	d.t.Helper()
	if err := into(o)(d.service.HoldOrder(context.Background(), c, service.OrderChange{ID: o.ID}, "why", nil)); err != nil {
		d.t.Fatal(err)
	}
}

func (d *desk) release(c service.Caller, o *record.Order) {
	d.t.Helper()
	if err := into(o)(d.service.ReleaseOrder(context.Background(), c, service.OrderChange{ID: o.ID}, nil)); err != nil {
		d.t.Fatal(err)
	}
}

func (d *desk) deliver(s *service.Service) int {
	d.t.Helper()
	n, err := s.DeliverDue(context.Background())
	if err != nil {
		d.t.Fatal(err)
	}
	return n
}

func (d *desk) deliveries(c service.Caller, w record.Webhook, state record.DeliveryState) []record.Delivery {
	d.t.Helper()
	l, err := d.service.ListDeliveries(context.Background(), c, store.DeliveryFilter{WebhookID: w.ID, State: state}, store.Page{Limit: 200})
	if err != nil {
		d.t.Fatal(err)
	}
	return l.Items
}

// forgetful loses outcomes of attempts, as a process does that is killed after the
// call and before it has written down what came of it.
type forgetful struct {
	store.Store
	forget func() bool
}

func (s forgetful) InTx(ctx context.Context, fn func(store.Tx) error) error {
	return s.Store.InTx(ctx, func(tx store.Tx) error { return fn(forgetfulTx{tx, s.forget}) })
}

type forgetfulTx struct {
	store.Tx
	forget func() bool
}

func (tx forgetfulTx) Deliveries() store.Deliveries {
	return forgetfulDeliveries{tx.Tx.Deliveries(), tx.forget}
}

type forgetfulDeliveries struct {
	store.Deliveries
	forget func() bool
}

func (d forgetfulDeliveries) Finish(ctx context.Context, scope store.Scope, delivery record.Delivery, token uuid.UUID) error {
	if d.forget() {
		return store.ErrUnavailable
	}
	return d.Deliveries.Finish(ctx, scope, delivery, token)
}

// A receiver that refuses, hangs, closes, redirects, takes without saying so, and a
// worker that dies before it has written down what came of a call, in two copies:
// everything arrives, signed, and in order for each order.
func TestWebhooksArriveInOrder(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		var mu sync.Mutex
		random := rand.New(rand.NewPCG(11, 12))
		chance := func(percent int) bool { mu.Lock(); defer mu.Unlock(); return random.IntN(100) < percent }
		trouble := true
		losing := func(s store.Store) store.Store {
			return forgetful{s, func() bool { mu.Lock(); defer mu.Unlock(); return trouble && random.IntN(100) < 15 }}
		}
		d := newDesk(t, open(), &clock{now: monday}, losing)
		copies := []*service.Service{d.service, d.another(open(), losing)}
		mine, shops := newReceiver(t, d.clock.Now), newReceiver(t, d.clock.Now)
		w, all := d.hook(d.a, mine), d.hook(d.shop, shops)
		behaviors := []string{"refuse", "close", "take and close", "redirect", "refuse", "close", "drip", "hang"}
		moody := func(string) string {
			if !chance(35) {
				return "take"
			}
			mu.Lock()
			defer mu.Unlock()
			n := len(behaviors)
			if random.IntN(4) > 0 {
				n -= 2 // those that take a call's whole time are rarer
			}
			return behaviors[random.IntN(n)]
		}
		mine.set(moody)
		shops.set(moody)

		keptA, keptB := d.kept(d.a), d.kept(d.b)
		var orders []record.Order
		for range 15 {
			orders = append(orders, d.ordered(d.a, d.quoted(d.a, keptA)))
		}
		other := d.ordered(d.b, d.quoted(d.b, keptB))
		for round := range 10 {
			for i := range orders {
				if round%2 == 0 {
					d.hold(d.a, &orders[i])
				} else {
					d.release(d.a, &orders[i])
				}
			}
			if round%2 == 0 {
				d.hold(d.b, &other)
			} else {
				d.release(d.b, &other)
			}
			for range 3 {
				var both sync.WaitGroup
				for _, s := range copies {
					both.Go(func() { d.deliver(s) })
				}
				both.Wait()
				d.clock.Add(3 * time.Minute) // longer than a lease
			}
		}
		// Days pass until all is delivered.
		for turn := 0; ; turn++ {
			left := len(d.deliveries(d.a, w, record.DeliveryPending)) + len(d.deliveries(d.shop, all, record.DeliveryPending))
			if left == 0 {
				break
			}
			if turn > 3000 {
				t.Fatalf("%d deliveries are still pending", left)
			}
			if d.deliver(copies[turn%2]) == 0 {
				d.clock.Add(10 * time.Minute)
			}
		}
		if parked := append(d.deliveries(d.a, w, record.DeliveryParked), d.deliveries(d.shop, all, record.DeliveryParked)...); len(parked) != 0 {
			t.Errorf("%d deliveries are parked", len(parked))
		}
		mine.inOrder(t, d.events(d.a.Scope(), w.Since))
		shops.inOrder(t, d.events(d.shop.Scope(), all.Since))
		t.Logf("%d calls brought %d events to the dealer, %d calls %d to the shop", mine.calls, len(d.events(d.a.Scope(), w.Since)), shops.calls, len(d.events(d.shop.Scope(), all.Since)))
		if mine.calls <= len(mine.arrivals()) {
			t.Error("no call went wrong")
		}
	})
}

// An event that its receiver never takes is parked after the last attempt and
// holds back what comes after it of the same order, and nothing else; resent by
// hand, all follows in order.
func TestWebhookParked(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		r := newReceiver(t, d.clock.Now)
		w := d.hook(d.a, r, "order.received", "order.held", "order.released")
		r.set(func(kind string) string {
			if kind == "order.held" {
				return "refuse"
			}
			return "take"
		})
		kept := d.kept(d.a)
		o := d.ordered(d.a, d.quoted(d.a, kept))
		d.hold(d.a, &o)
		d.release(d.a, &o)
		d.hold(d.a, &o)
		start := d.clock.Now()
		var others []record.Order
		for len(d.deliveries(d.a, w, record.DeliveryParked)) == 0 {
			if d.deliver(d.service) == 0 {
				d.clock.Add(time.Hour)
			}
			if d.clock.Now().Sub(start) > 10*24*time.Hour {
				t.Fatal("nothing is parked after ten days")
			}
			if spent := d.clock.Now().Sub(start); len(others) < 3 && spent > time.Duration(len(others)+1)*24*time.Hour {
				others = append(others, d.ordered(d.a, d.quoted(d.a, kept))) // others go on meanwhile
			}
		}
		parked := d.deliveries(d.a, w, record.DeliveryParked)
		if len(parked) != 1 || parked[0].EventKind != "order.held" || parked[0].Attempts != len(webhook.Attempts) || parked[0].LastStatus != 500 || parked[0].LastError == "" {
			t.Errorf("parked: %+v", parked)
		}
		if days := d.clock.Now().Sub(start).Hours() / 24; days < 4 || days > 8 {
			t.Errorf("parked after %.1f days", days)
		}
		if l, err := d.service.ListWebhooks(ctx, d.a, store.Page{}); err != nil || l.Items[0].DisabledAt != nil {
			t.Errorf("the endpoint is disabled although others arrive: %v", err)
		}
		for d.deliver(d.service) > 0 {
		}
		pending := d.deliveries(d.a, w, record.DeliveryPending)
		if len(pending) != 2 || len(others) != 3 || len(r.arrivals()) != 1+len(others) {
			t.Errorf("%d wait behind it, %d arrived", len(pending), len(r.arrivals()))
		}
		resend := func(c service.Caller, id uuid.UUID) error {
			_, err := d.service.ResendDelivery(ctx, c, id, nil)
			return err
		}
		wantReason(t, "resend one that waits", resend(d.a, pending[0].ID), "delivery-waits")
		wantReason(t, "resend another's", resend(d.b, parked[0].ID), "not found")
		r.set(func(string) string { return "take" })
		wantReason(t, "resend", resend(d.a, parked[0].ID), "")
		for d.deliver(d.service) > 0 {
		}
		var want []record.Event
		for _, e := range d.events(d.a.Scope(), w.Since) {
			if strings.HasPrefix(e.Kind, "order.") {
				want = append(want, e)
			}
		}
		r.inOrder(t, want)
		// One that was delivered can be sent again, with the same id.
		n := len(r.arrivals())
		wantReason(t, "resend what was delivered", resend(d.a, parked[0].ID), "")
		d.deliver(d.service)
		if got := r.arrivals(); len(got) != n+1 || got[n].id != parked[0].EventID.String() {
			t.Errorf("%d arrivals after %d", len(got), n)
		}
	})
}

// An endpoint that fails for days with no success is disabled, which is an event;
// nothing is dropped: once a delivery that is resent by hand arrives, the endpoint
// is enabled and all the rest follows.
func TestWebhookDisabled(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		r, watch := newReceiver(t, d.clock.Now), newReceiver(t, d.clock.Now)
		w := d.hook(d.a, r)
		watched := d.hook(d.shop, watch, "webhook.disabled", "webhook.enabled")
		r.set(func(string) string { return "refuse" })
		kept := d.kept(d.a)
		o := d.ordered(d.a, d.quoted(d.a, kept))
		endpoint := func() record.Webhook {
			l, err := d.service.ListWebhooks(ctx, d.a, store.Page{})
			if err != nil {
				t.Fatal(err)
			}
			return l.Items[0]
		}
		start := d.clock.Now()
		for endpoint().DisabledAt == nil {
			if d.deliver(d.service) == 0 {
				d.clock.Add(time.Hour)
			}
			if d.clock.Now().Sub(start) > 10*24*time.Hour {
				t.Fatal("still called after ten days")
			}
		}
		if spent := d.clock.Now().Sub(start); spent < webhook.DisableAfter {
			t.Errorf("disabled after %v", spent)
		}
		if off := endpoint(); off.DisabledReason == "" || off.FailingSince == nil {
			t.Errorf("%+v", off)
		}
		d.hold(d.a, &o)
		for d.deliver(d.service) > 0 {
		}
		calls := r.calls
		d.clock.Add(48 * time.Hour)
		d.deliver(d.service)
		if r.calls != calls {
			t.Error("a disabled endpoint is called")
		}
		if n := len(d.deliveries(d.a, w, record.DeliveryPending)); n != 0 {
			t.Errorf("%d deliveries are pending", n)
		}
		if n := len(d.deliveries(d.a, w, record.DeliveryDelivered)); n != 0 {
			t.Errorf("%d deliveries are delivered", n)
		}
		parked := d.deliveries(d.a, w, record.DeliveryParked)
		r.set(func(string) string { return "take" })
		if _, err := d.service.ResendDelivery(ctx, d.a, parked[len(parked)-1].ID, nil); err != nil {
			t.Fatal(err)
		}
		for d.deliver(d.service) > 0 {
		}
		if on := endpoint(); on.DisabledAt != nil || on.FailingSince != nil {
			t.Errorf("%+v", on)
		}
		r.inOrder(t, d.events(d.a.Scope(), w.Since))
		var kinds []string
		for _, a := range watch.arrivals() {
			kinds = append(kinds, a.kind)
		}
		if strings.Join(kinds, " ") != "webhook.disabled webhook.enabled" {
			t.Errorf("the shop heard %v", kinds)
		}
		// A receiver that says it is gone is believed at once.
		watch.set(func(string) string { return "gone" })
		r.set(func(string) string { return "gone" })
		d.release(d.a, &o)
		for d.deliver(d.service) > 0 {
		}
		if endpoint().DisabledAt == nil {
			t.Error("410 did not disable the endpoint")
		}
		_ = watched
	})
}

// A receiver that asks for time by Retry-After is left alone for so long, by every
// copy of the service and for every event, but never for longer than a day, and by
// its owner's word sooner.
func TestWebhookRetryAfter(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		copies := []*service.Service{d.service, d.another(open(), nil)}
		r := newReceiver(t, d.clock.Now)
		w := d.hook(d.a, r, "order.received")
		kept := d.kept(d.a)
		order := func() { d.ordered(d.a, d.quoted(d.a, kept)) }
		called := func(what string, want int) {
			t.Helper()
			before := r.calls
			for _, s := range copies {
				for d.deliver(s) > 0 {
				}
			}
			if got := r.calls - before; got != want {
				t.Errorf("%s: %d calls, want %d", what, got, want)
			}
		}
		paused := func() time.Duration {
			t.Helper()
			l, err := d.service.ListWebhooks(ctx, d.a, store.Page{})
			if err != nil || l.Items[0].PausedUntil == nil {
				t.Fatalf("%+v %v", l.Items, err)
			}
			return l.Items[0].PausedUntil.Sub(d.clock.Now())
		}
		r.set(func(string) string { return "busy" })
		order()
		called("the first", 1)
		if got := paused(); got != 10*time.Minute {
			t.Errorf("paused for %v", got)
		}
		order() // another one, that was never tried
		d.clock.Add(10*time.Minute - time.Millisecond)
		called("in the pause", 0)
		d.clock.Add(time.Millisecond)
		called("after the pause", 2) // at once, as both are due
		r.set(func(string) string { return "away" })
		d.clock.Add(10 * time.Minute)
		called("after another", 2)
		if got := paused(); got != webhook.LongestPause {
			t.Errorf("paused for %v", got)
		}
		d.clock.Add(webhook.LongestPause - time.Millisecond)
		called("within a day", 0)
		r.set(func(string) string { return "take" })
		waiting := d.deliveries(d.a, w, record.DeliveryPending)
		if len(waiting) != 2 || waiting[0].LastStatus != 503 || waiting[0].Attempts != 2 || waiting[1].Attempts != 3 {
			t.Fatalf("%+v", waiting)
		}
		if _, err := d.service.ResendDelivery(ctx, d.a, waiting[0].ID, nil); err != nil {
			t.Fatal(err)
		}
		called("resent by hand", 1)
		d.clock.Add(time.Millisecond)
		called("a day later", 1)
		r.inOrder(t, func() (want []record.Event) {
			for _, e := range d.events(d.a.Scope(), w.Since) {
				if e.Kind == "order.received" {
					want = append(want, e)
				}
			}
			return want
		}())
	})
}

// While secrets overlap each of them verifies; afterwards only the new one signs.
func TestWebhookSecretRotation(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		ctx := t.Context()
		d := newDesk(t, open(), &clock{now: monday}, nil)
		r := newReceiver(t, d.clock.Now)
		w := d.hook(d.a, r)
		old := r.secrets[0]
		var fresh string
		rotate := func(c service.Caller) error {
			made, err := d.service.RotateWebhookSecret(ctx, c, w.ID, nil)
			if err == nil {
				fresh, w = made.Record.Text, made.Record.Webhook
			}
			return err
		}
		wantReason(t, "rotate another's", rotate(d.b), "not found")
		wantReason(t, "rotate", rotate(d.a), "")
		if strings.Contains(fmt.Sprint(w.Secrets), fresh) || fresh == old {
			t.Error("the secret is kept in the clear, or is the old one")
		}
		r.secrets = []string{old, fresh}
		for d.deliver(d.service) > 0 {
		}
		if r.calls == 0 {
			t.Fatal("no calls")
		}
		for range 2 {
			wantReason(t, "rotate", rotate(d.a), "")
		}
		wantReason(t, "a fifth secret at once", rotate(d.a), "webhook-secrets")
		d.clock.Add(24 * time.Hour)
		r.secrets = []string{fresh}
		wantReason(t, "rotate a day later", rotate(d.a), "")
		r.secrets = []string{fresh}
		calls := r.calls
		for d.deliver(d.service) > 0 {
		}
		if r.calls == calls || len(w.Secrets) != 2 {
			t.Errorf("%d calls, %d secrets", r.calls-calls, len(w.Secrets))
		}
		stranger, err := standardwebhooks.NewWebhook(old)
		if err != nil {
			t.Fatal(err)
		}
		r.server.Config.Handler = http.HandlerFunc(func(_ http.ResponseWriter, q *http.Request) {
			body, _ := io.ReadAll(q.Body)
			if stranger.VerifyIgnoringTimestamp(body, q.Header) == nil {
				t.Error("a secret whose time is over still signs")
			}
		})
		if err := d.service.DeleteWebhook(ctx, d.b, w.ID); reason(err) != "not found" {
			t.Error(err)
		}
		d.quoted(d.a, d.kept(d.a))
		if d.deliver(d.service) == 0 {
			t.Error("nothing was sent")
		}
		if err := d.service.DeleteWebhook(ctx, d.a, w.ID); err != nil {
			t.Fatal(err)
		}
		d.quoted(d.a, d.kept(d.a))
		if d.deliver(d.service) != 0 {
			t.Error("a removed endpoint is called")
		}
	})
}

// Endpoints that may not be called are refused when they are added, and when a
// name turns out to lead there.
func TestWebhookAddresses(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		d := newDesk(t, open(), &clock{now: monday}, nil)
		strict, err := service.New(service.Options{Store: d.store, Wire: api.Wire{}, Clock: d.clock.Now, Webhooks: service.WebhookOptions{Policy: webhook.Policy{Plain: true}, Keys: [][]byte{bytes.Repeat([]byte{7}, 32)}}})
		if err != nil {
			t.Fatal(err)
		}
		create := func(url string) error {
			_, err := strict.CreateWebhook(t.Context(), d.a, service.NewWebhook{URL: url}, nil)
			return err
		}
		for _, url := range []string{"http://127.0.0.1/", "http://169.254.169.254/latest/meta-data", "http://[fd00:ec2::254]/", "http://10.1.2.3/", "http://localhost/", "gopher://x/", "x"} {
			wantReason(t, url, create(url), "webhook-address")
		}
		// A name that leads to this machine: it is kept, and never connected to. The
		// endpoint is added by a service that allows it, as if the name had changed.
		r := newReceiver(t, d.clock.Now)
		w := d.hook(d.a, r)
		for d.deliver(strict) > 0 {
		}
		list := d.deliveries(d.a, w, record.DeliveryPending)
		if r.calls != 0 || len(list) != 1 || !strings.Contains(list[0].LastError, "refused") || list[0].Attempts != 1 {
			t.Errorf("%d calls; %+v", r.calls, list)
		}
		// Without the key that sealed the secret nothing is sent, and nothing is lost.
		keyless, err := service.New(service.Options{Store: d.store, Wire: api.Wire{}, Clock: d.clock.Now, Webhooks: service.WebhookOptions{Policy: loopback}})
		if err != nil {
			t.Fatal(err)
		}
		d.clock.Add(time.Minute)
		d.deliver(keyless)
		list = d.deliveries(d.a, w, record.DeliveryPending)
		if r.calls != 0 || len(list) != 1 || list[0].Attempts != 2 || !strings.Contains(list[0].LastError, "secret") {
			t.Errorf("%d calls; %+v", r.calls, list)
		}
		d.clock.Add(time.Hour)
		for d.deliver(d.service) > 0 {
		}
		r.inOrder(t, d.events(d.a.Scope(), w.Since))
		_, err = d.service.CreateWebhook(t.Context(), d.a, service.NewWebhook{URL: "https://corrow.example/", Kinds: []string{"order.eaten"}}, nil)
		wantReason(t, "no such kind", err, "invalid")
		_, err = d.service.CreateWebhook(t.Context(), d.storefrontA, service.NewWebhook{URL: "https://corrow.example/"}, nil)
		wantReason(t, "a storefront adds an endpoint", err, "forbidden")
	})
}
