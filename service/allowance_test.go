package service_test

import (
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
)

// A dealer's keys create as many of each thing as there may be and no more, fifty of
// them at once for the last place too; the refusal says what, how many and how to mend,
// and the shop goes on.
func TestAllowances(t *testing.T) {
	const most = 6
	r, err := api.DecodeConfiguration([]byte(`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":60}}`))
	if err != nil {
		t.Fatal(err)
	}
	keep := func(d *desk, c service.Caller, claim *service.Claim) error {
		n := service.NewConfiguration{Request: r, Requested: []byte("{}"), DealerID: d.a.DealerID}
		_, err := d.service.StoreConfiguration(t.Context(), c, n, claim)
		return err
	}
	endpoint := func(d *desk, c service.Caller) error {
		_, err := d.service.CreateWebhook(t.Context(), c, service.NewWebhook{URL: "https://hooks.brackwater.example/x", DealerID: d.a.DealerID}, nil)
		return err
	}
	for _, c := range []struct {
		name    string
		count   store.Counted
		prepare func(d *desk) func(d *desk, c service.Caller, n int) error
		says    []string
	}{
		{"configurations", store.CountConfigurations, func(*desk) func(*desk, service.Caller, int) error {
			return func(d *desk, c service.Caller, _ int) error { return keep(d, c, nil) }
		}, []string{"6 configurations kept in the last 365 days", "6 is the most", "2027-11-30"}},
		{"quotes", store.CountQuotes, func(d *desk) func(*desk, service.Caller, int) error {
			kept := d.kept(d.a)
			return func(d *desk, c service.Caller, _ int) error {
				_, err := d.service.MakeQuote(t.Context(), c, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &kept}}, DealerID: d.a.DealerID}, nil)
				return err
			}
		}, []string{"6 quotes made", "/v1/derive"}},
		{"endpoints", store.CountWebhooks, func(*desk) func(*desk, service.Caller, int) error {
			return func(d *desk, c service.Caller, _ int) error { return endpoint(d, c) }
		}, []string{"6 endpoints, and 6", "Delete one"}},
		{"answers", store.CountAnswers, func(*desk) func(*desk, service.Caller, int) error {
			return func(d *desk, c service.Caller, n int) error {
				return keep(d, c, &service.Claim{Key: fmt.Sprint("k", n), Method: "POST", Route: "/v1/configurations", Path: "/v1/configurations"})
			}
		}, []string{"6 answers kept for Idempotency-Keys in the last 2 days", "without the header"}},
		{"changes", store.CountChanges, func(*desk) func(*desk, service.Caller, int) error {
			return func(d *desk, c service.Caller, _ int) error { return endpoint(d, c) }
		}, []string{"6 changes made in the last 24 hours", "Wait"}},
		{"orders", store.CountOrders, func(d *desk) func(*desk, service.Caller, int) error {
			var quotes []uuid.UUID
			kept := d.kept(d.a)
			for range most + 60 {
				var q record.Quote
				if err := into(&q)(d.service.MakeQuote(t.Context(), d.shop, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &kept}}, DealerID: d.a.DealerID}, nil)); err != nil {
					t.Fatal(err)
				}
				quotes = append(quotes, q.ID)
			}
			return func(d *desk, c service.Caller, n int) error {
				_, err := d.place(d.service, c, quotes[n], nil)
				return err
			}
		}, []string{"6 orders placed in the last 30 days", "have the shop"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			onEngines(t, func(t *testing.T, open func() store.Store) {
				d := newDesk(t, open(), &clock{now: monday}, nil)
				do := c.prepare(d)
				d.service.AllowFewer(c.count, most)
				for n := range most - 1 {
					if err := do(d, d.a, n); err != nil {
						t.Fatalf("number %d: %v", n+1, err)
					}
				}
				var made, full atomic.Int64
				var all sync.WaitGroup
				var said sync.Map
				for n := range 50 {
					all.Go(func() {
						switch err := do(d, d.a, most+n); reason(err) {
						case "":
							made.Add(1)
						case "allowance-full":
							full.Add(1)
							said.Store("x", err.Error())
						default:
							t.Errorf("of fifty at once: %v", err)
						}
					})
				}
				all.Wait()
				if made.Load() != 1 {
					t.Errorf("%d of fifty at once got the last place, want 1", made.Load())
				}
				if full.Load() != 49 {
					t.Errorf("%d of fifty at once were refused, want 49", full.Load())
				}
				detail, _ := said.Load("x")
				for _, words := range c.says {
					if !strings.Contains(fmt.Sprint(detail), words) {
						t.Errorf("refused with %q, want %q in it", detail, words)
					}
				}
				if err := do(d, d.shop, most+55); err != nil {
					t.Errorf("the shop: %v", err)
				}
				d.clock.Add(366 * 24 * time.Hour)
				if c.name != "endpoints" && c.name != "orders" && c.name != "quotes" { // those need what is of their time
					if err := do(d, d.a, most+56); err != nil {
						t.Errorf("a year later: %v", err)
					}
				}
			})
		})
	}
}

// Holds of an order are history for good: a dealer's key has so many, and may cancel
// after the last.
func TestHoldsEnd(t *testing.T) {
	d := newDesk(t, engines["sqlite"](t)(), &clock{now: monday}, nil)
	o := d.ordered(d.a, d.quoted(d.a, d.kept(d.a)))
	for o.Version <= service.MostHolds {
		d.hold(d.a, &o)
		d.release(d.a, &o)
	}
	_, err := d.service.HoldOrder(t.Context(), d.a, service.OrderChange{ID: o.ID}, "boat delayed", nil)
	wantReason(t, "one hold more", err, "allowance-full")
}
