package service_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
)

// faltering fails its next transactions.
type faltering struct {
	store.Store
	failures atomic.Int32
}

func (f *faltering) InTx(ctx context.Context, fn func(store.Tx) error) error {
	if f.failures.Add(-1) >= 0 {
		return errors.New("the store is away")
	}
	return f.Store.InTx(ctx, fn)
}

// TestHousekeeping: what serve leaves running removes what is over its time and
// nothing else, within a minute of the start and every ten minutes then, goes on after a store that failed, and ends with
// its context. Its timer is that of the bubble, where waiting takes no time.
func TestHousekeeping(t *testing.T) {
	onEngines(t, func(t *testing.T, open func() store.Store) {
		c := &clock{now: monday}
		d := newDesk(t, open(), c, nil)
		ctx := t.Context()
		r := newReceiver(t, c.Now)
		w := d.hook(d.shop, r)
		claim := &service.Claim{Key: "once", Method: "POST", Route: "/v1/orders", Path: "/v1/orders", Body: []byte("{}")}
		placed, err := d.place(d.service, d.shop, d.quoted(d.shop, d.kept(d.shop)).ID, claim)
		if err != nil {
			t.Fatal(err)
		}
		d.deliver(d.service)
		left := func(d *desk) (events, deliveries, audit int) {
			t.Helper()
			list, err := d.store.Audit().List(ctx, store.ShopScope(), store.AuditFilter{}, store.Page{Limit: 200})
			if err != nil {
				t.Fatal(err)
			}
			return len(d.events(store.ShopScope(), 0)), len(d.deliveries(d.shop, w, record.DeliveryDelivered)), len(list.Items)
		}
		events, deliveries, audit := left(d)
		if events < 3 || deliveries != events || audit < 3 {
			t.Fatalf("%d events, %d deliveries, %d audit entries to begin with", events, deliveries, audit)
		}

		synctest.Test(t, func(t *testing.T) {
			s := open()
			defer s.Close()
			away := &faltering{Store: s}
			log := new(bytes.Buffer)
			keep := service.Retention{Answers: 48 * time.Hour, Events: 400 * 24 * time.Hour, Deliveries: 300 * 24 * time.Hour, Audit: 500 * 24 * time.Hour, Unordered: 450 * 24 * time.Hour}
			worker, err := service.New(service.Options{Store: away, Wire: api.Wire{}, Clock: c.Now, Logger: slog.New(slog.NewTextHandler(log, nil)), Keep: &keep})
			if err != nil {
				t.Fatal(err)
			}
			inside := *d
			inside.store, inside.service = s, worker
			within, end := context.WithCancel(context.Background())
			done := make(chan struct{})
			go func() { worker.Housekeeping(within); close(done) }()
			// tick lets so much time go by and gives what was logged meanwhile.
			tick := func(wait time.Duration) string {
				time.Sleep(wait)
				synctest.Wait()
				said := log.String()
				log.Reset()
				return said
			}
			wants := func(what, said, want string, events, deliveries, audit int) {
				t.Helper()
				if want == "" && said != "" || !strings.Contains(said, want) {
					t.Errorf("%s: logged %q, want %q", what, said, want)
				}
				if e, v, a := left(&inside); e != events || v != deliveries || a != audit {
					t.Errorf("%s: %d events, %d deliveries, %d audit entries are left, want %d, %d, %d", what, e, v, a, events, deliveries, audit)
				}
			}
			away.failures.Store(1) // the first sweep is seen by its failure
			wants("the first sweep", tick(time.Minute), "removal of what is over its time", events, deliveries, audit)
			wants("nothing is old", tick(10*time.Minute), "", events, deliveries, audit)
			c.Add(49 * time.Hour)
			wants("before the next tick", tick(9*time.Minute-time.Second), "", events, deliveries, audit)
			wants("answers are old", tick(time.Minute+time.Second), "answers=1 deliveries=0 events=0 audit=0", events, deliveries, audit)
			wants("no more of them", tick(10*time.Minute), "", events, deliveries, audit)
			c.Add(300 * 24 * time.Hour)
			wants("deliveries are old", tick(10*time.Minute), "answers=0 deliveries=3 events=0 audit=0", events, 0, audit)
			c.Add(100 * 24 * time.Hour)
			away.failures.Store(1)
			wants("the store is away", tick(10*time.Minute), "removal of what is over its time", events, 0, audit)
			wants("it is back", tick(10*time.Minute), "answers=0 deliveries=0 events=2 audit=0", events-2, 0, audit) // the order's is its history
			c.Add(100 * 24 * time.Hour)
			wants("entries are old", tick(10*time.Minute), "events=0 audit=", events-2, 0, 0)
			c.Add(5000 * 24 * time.Hour)
			end()
			<-done
			wants("it has ended", tick(time.Hour), "", events-2, 0, 0)
		})
		if got := d.get(placed.ID); got.Version != placed.Version {
			t.Errorf("the order is %+v", got)
		}
	})
}
