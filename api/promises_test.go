package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/openapi/client"
	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
)

// worker runs what serve runs beside the server, until it is stopped.
func (b *bench) worker(s *service.Service) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	for _, work := range []func(context.Context){s.KeepBacklog, s.DeliverWebhooks} {
		all.Go(func() { work(ctx) })
	}
	stop = func() { cancel(); all.Wait() }
	b.t.Cleanup(stop)
	return stop
}

// An order goes in over HTTP; the worker schedules it, and moves its promise when the
// floor's record comes late; the stream tells of each once and the endpoint at least once,
// also when the worker dies and another copy of the service takes over.
func TestPromisesThroughTheWorker(t *testing.T) {
	b := newBenchWith(t, nearby)
	ctx := context.Background()
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	receiver := &endpoint{status: http.StatusNoContent}
	server := httptest.NewServer(receiver)
	t.Cleanup(server.Close)
	made, err := b.client(key).CreateWebhookWithResponse(ctx, nil, client.NewWebhook{Url: server.URL, Kinds: []client.EventType{"order.scheduled", "order.promise_changed"}})
	if err != nil || made.JSON201 == nil {
		t.Fatalf("%v %s", err, made.Body)
	}
	read := b.stream(key, "")
	var told []sent
	until := func(kind string) client.Event {
		t.Helper()
		for {
			select {
			case e, open := <-read.events:
				if !open {
					t.Fatalf("the stream ended before %s", kind)
				}
				if e.comment {
					continue
				}
				told = append(told, e)
				if e.kind == kind {
					return e.data
				}
			case <-time.After(time.Minute): // far longer than it takes
				t.Fatalf("no %s; told %v", kind, told)
			}
		}
	}
	stop := b.worker(b.service)
	o := b.order(key)
	if e := until("order.scheduled"); *e.Data.OrderId != o.Id || *e.Data.State != "scheduled" {
		t.Errorf("%+v", e)
	}

	// The first operation is recorded three weeks late.
	at := "/v1/orders/" + o.Id.String()
	b.clock.Add(21 * 24 * time.Hour)
	late := b.clock.Now().Format(time.RFC3339)
	if a := b.send(http.MethodPut, at+"/operations/"+o.Operations[0].Key+"/record", b.shop, fmt.Sprintf(`{"started_at":%q,"finished_at":%q}`, late, late)); a.status != 200 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	until("operation.recorded")
	e := until("order.promise_changed")
	if *e.Data.OrderId != o.Id || e.Data.Cause != nil || e.Data.PromisedBefore == nil || !e.Data.Promise.After(e.Data.PromisedBefore.Time) || !e.Data.Promise.After(b.clock.Now()) {
		t.Errorf("%+v", e.Data)
	}
	// Why is the shop's: it is about its open work.
	var history client.OrderHistory
	strict(t, b.send(http.MethodGet, at+"/events", b.shop, "").body, &history)
	if c := history.Items[0].Data.Cause; c == nil || *c == "" {
		t.Errorf("the shop is told no cause: %+v", history.Items[0])
	} else {
		t.Logf("promised %v, before %v: %s", e.Data.Promise, e.Data.PromisedBefore, *c)
	}

	// The worker dies; what comes meanwhile is for the next one, of another copy.
	stop()
	second := b.order(key)
	other, err := service.New(service.Options{Store: b.store, Wire: Wire{}, Clock: b.clock.Now, Webhooks: nearby.hooks})
	if err != nil {
		t.Fatal(err)
	}
	if err := other.LoadDocuments(ctx); err != nil {
		t.Fatal(err)
	}
	b.worker(other)
	if e := until("order.scheduled"); *e.Data.OrderId != second.Id {
		t.Errorf("%+v", e.Data)
	}
	b.send(http.MethodPost, "/v1/orders/"+second.Id.String()+"/cancellation", key, `{"reason":"boat sold"}`, "If-Match", "*")
	until("order.cancelled")

	// Everything that the history has came over the stream, once and in order; of what
	// the endpoint asked for each has been called.
	var want []string
	for _, id := range []string{o.Id.String(), second.Id.String()} {
		var l client.OrderHistory
		strict(t, b.send(http.MethodGet, "/v1/orders/"+id+"/events?limit=200", key, "").body, &l)
		slices.Reverse(l.Items)
		scheduled := 0
		for _, e := range l.Items {
			if e.Type == "order.scheduled" {
				scheduled++
			}
			if e.Type == "order.scheduled" || e.Type == "order.promise_changed" {
				want = append(want, e.Id.String())
				if e.By.Role != nil || e.By.KeyId != nil {
					t.Errorf("%s by %+v, which is the service itself", e.Type, e.By)
				}
			}
		}
		if scheduled != 1 {
			t.Errorf("scheduled %d times", scheduled)
		}
	}
	var streamed []string
	for _, e := range told {
		if e.kind == "order.scheduled" || e.kind == "order.promise_changed" {
			streamed = append(streamed, e.id)
		}
	}
	slices.Sort(want)
	if slices.Sort(streamed); !slices.Equal(streamed, want) {
		t.Errorf("streamed %v, the history has %v", streamed, want)
	}
	called := func() (ids []string) {
		receiver.mu.Lock()
		defer receiver.mu.Unlock()
		for _, body := range receiver.bodies {
			var e client.Event
			if err := json.Unmarshal(body, &e); err != nil {
				t.Fatal(err)
			}
			ids = append(ids, e.Id.String())
		}
		slices.Sort(ids)
		return slices.Compact(ids) // at least once: a worker that dies has perhaps called already
	}
	for range 600 {
		if len(called()) >= len(want) {
			break
		}
		time.Sleep(100 * time.Millisecond)
		b.clock.Add(time.Second) // what the first worker left in its hands is held until its lease is over
	}
	if got := called(); !slices.Equal(got, want) {
		t.Errorf("the endpoint was called with %v, the history has %v", got, want)
	}
}

// 64 clients post one idempotency key: one order, and the same answer for all who get
// one. Of two orders for the last stock, and for the last pull of a mold, one wins and the
// other is told why.
func TestOrderRacesOverHTTP(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	post := func(quote uuid.UUID, headers ...string) answer {
		return b.send(http.MethodPost, "/v1/orders", key, fmt.Sprintf(`{"quote_id":%q}`, quote), headers...)
	}
	q := b.quote(key)
	var mu sync.Mutex
	bodies := map[string]int{}
	var all sync.WaitGroup
	for range 64 {
		all.Go(func() {
			for {
				a := post(q.Id, "Idempotency-Key", "0195500a-64")
				if a.status == http.StatusConflict && strings.Contains(string(a.body), "/problems/request-in-progress") || a.status == http.StatusServiceUnavailable {
					time.Sleep(250 * time.Millisecond)
					continue
				}
				mu.Lock()
				bodies[fmt.Sprint(a.status, " ", string(a.body))]++
				mu.Unlock()
				return
			}
		})
	}
	all.Wait()
	var l client.OrderList
	strict(t, b.send(http.MethodGet, "/v1/orders?quote_id="+q.Id.String(), key, "").body, &l)
	if len(bodies) != 1 || len(l.Items) != 1 {
		t.Fatalf("%d answers, %d orders", len(bodies), len(l.Items))
	}
	for body, n := range bodies {
		if n != 64 || !strings.HasPrefix(body, "201 ") || !strings.Contains(body, l.Items[0].Id.String()) {
			t.Errorf("%d times %.200s", n, body)
		}
	}

	race := func(problem string, quotes [2]uuid.UUID) {
		t.Helper()
		var answers [2]answer
		for i, id := range quotes {
			all.Go(func() { answers[i] = post(id) })
		}
		all.Wait()
		if answers[0].status != http.StatusCreated {
			answers[0], answers[1] = answers[1], answers[0]
		}
		if answers[0].status != http.StatusCreated {
			t.Fatalf("nobody wins: %d %s", answers[0].status, answers[0].body)
		}
		answers[1].wants(t, http.StatusConflict, problem)
	}
	// A kilogram of resin is less than a hatch takes: both quotes count on all of it.
	b.receive(1, "2199-12-31")
	for range 3 {
		race("stock-taken", [2]uuid.UUID{b.quote(key).Id, b.quote(key).Id})
		b.receive(1, "2199-12-31")
	}

	ctx := context.Background()
	for n := range 3 {
		m := b.mold(b.keepSmall(key), "lid", fmt.Sprintf(`,"tag":"rack %d"`, n))
		one := 1
		if _, err := b.service.ChangeMold(ctx, service.Caller{Role: record.RoleShop}, service.MoldChange{ID: m.Id, RemainingPulls: &one}); err != nil {
			t.Fatal(err)
		}
		// Both quotes count on its last pull.
		made, err := b.store.Quotes().Get(ctx, store.ShopScope(), b.quote(key).Id)
		if err != nil {
			t.Fatal(err)
		}
		made.Lines = made.Lines[:1]
		made.Lines[0].Molds, made.Lines[0].FromStock = map[string]uuid.UUID{"lid": m.Id}, nil
		var quotes [2]uuid.UUID
		for i := range quotes {
			made.ID = uuid.Must(uuid.NewV7())
			if err := b.store.Quotes().Insert(ctx, store.ShopScope(), made); err != nil {
				t.Fatal(err)
			}
			quotes[i] = made.ID
		}
		race("mold-taken", quotes)
	}
}
