package service_test

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/store/sqlite"
)

// BenchmarkBacklog orders hatches, a few sizes over and over, and times what the one
// worker does when one more comes (refresh), and what one request costs behind them
// (lead time): molds looked up, placed in 256 scenarios.
func BenchmarkBacklog(b *testing.B) {
	for _, size := range []int{10, 100, 1000} {
		kept, err := sqlite.Open(b.Context(), filepath.Join(b.TempDir(), "bench.db"))
		if err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { _ = kept.Close() })
		if _, err := kept.Migrate(b.Context()); err != nil {
			b.Fatal(err)
		}
		w := &works{store: kept, now: monday}
		if w.s, err = service.New(service.Options{Store: w.store, Wire: api.Wire{}, Clock: func() time.Time { return w.now }}); err != nil {
			b.Fatal(err)
		}
		ctx := b.Context()
		made, err := w.s.Bootstrap(ctx)
		if err != nil {
			b.Fatal(err)
		}
		if w.shop, err = w.s.Authenticate(ctx, made.ShopKey); err != nil {
			b.Fatal(err)
		}
		place := func(body string) {
			r, err := api.Wire{}.Decode([]byte(body))
			if err != nil {
				b.Fatal(err)
			}
			q, err := w.s.MakeQuote(ctx, w.shop, service.NewQuote{Lines: []service.NewQuoteLine{{Configuration: &service.NewConfiguration{Request: r, Requested: []byte(body)}}}}, nil)
			if err != nil {
				b.Fatal(err)
			}
			if _, err := w.s.PlaceOrder(ctx, w.shop, service.NewOrder{QuoteID: q.Record.ID}, nil); err != nil {
				b.Fatal(err)
			}
		}
		for i := range size {
			place(hatchOf(480 + 20*float64(i%6)))
		}
		if _, err := w.s.RefreshBacklog(ctx); err != nil {
			b.Fatal(err)
		}
		if w.s.KeptBacklog().Orders != size {
			b.Fatalf("%d orders of %d", w.s.KeptBacklog().Orders, size)
		}
		b.Run(fmt.Sprintf("refresh/orders=%d", size), func(b *testing.B) {
			for b.Loop() {
				w.now = w.now.Add(16 * time.Minute) // older than it may become
				if changed, err := w.s.RefreshBacklog(ctx); err != nil || !changed {
					b.Fatal(changed, err)
				}
			}
		})
		r, err := api.Wire{}.Decode([]byte(hatchOf(530)))
		if err != nil {
			b.Fatal(err)
		}
		result, err := w.s.Derive(ctx, w.shop, r)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprintf("lead time/orders=%d", size), func(b *testing.B) {
			for b.Loop() {
				if l, err := w.s.LeadTime(ctx, w.shop, result, service.LeadTimeOptions{}); err != nil || l.Backlog.Orders != size {
					b.Fatal(err)
				}
			}
		})
	}
}
