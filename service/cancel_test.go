package service_test

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// patient is a context that ends when it has been asked so many times, and counts how
// often it is asked after that: what is still done without looking again.
type patient struct {
	context.Context
	asked atomic.Int64
	ends  int64
	done  chan struct{}
	once  sync.Once
}

func newPatient(parent context.Context, ends int64) *patient {
	return &patient{Context: parent, ends: ends, done: make(chan struct{})}
}

func (p *patient) Err() error {
	if p.asked.Add(1) < p.ends {
		return nil
	}
	p.once.Do(func() { close(p.done) })
	return context.Canceled
}

func (p *patient) Done() <-chan struct{} { return p.done }

// Whatever is placed behind the open work stops within a few operations of the end of
// its context, wherever that comes, and keeps nothing.
func TestPlacingStopsWithItsContext(t *testing.T) {
	d := newDesk(t, engines["sqlite"](t)(), &clock{now: monday}, nil)
	const hatch = `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":60},"quantity":30}`
	r, err := api.DecodeConfiguration([]byte(hatch))
	if err != nil {
		t.Fatal(err)
	}
	line := service.NewQuoteLine{Configuration: &service.NewConfiguration{Request: r}}
	var made record.Quote
	if err := into(&made)(d.service.MakeQuote(t.Context(), d.a, service.NewQuote{Lines: []service.NewQuoteLine{line, line}}, nil)); err != nil {
		t.Fatal(err)
	}
	kept := func() int {
		l, err := d.service.ListQuotes(t.Context(), d.shop, store.QuoteFilter{}, store.Page{Limit: 200})
		if err != nil {
			t.Fatal(err)
		}
		return len(l.Items)
	}
	for name, do := range map[string]func(context.Context) error{
		"derive": func(ctx context.Context) error {
			_, err := d.service.DeriveAndPlace(ctx, d.a, r, service.LeadTimeOptions{Near: true})
			return err
		},
		"derive and shorten": func(ctx context.Context) error {
			_, err := d.service.DeriveAndPlace(ctx, d.a, r, service.LeadTimeOptions{Near: true, Shorten: api.MostShorten})
			return err
		},
		"batch": func(ctx context.Context) error {
			var first error
			var mu sync.Mutex
			err := d.service.DeriveBatch(ctx, d.a, []service.BatchItem{{Request: r}, {Request: r}}, service.LeadTimeOptions{}, func(_ int, _ *service.Derived, err error) {
				mu.Lock()
				defer mu.Unlock()
				if first == nil {
					first = err
				}
			})
			if err != nil {
				return err
			}
			return first
		},
		"quote": func(ctx context.Context) error {
			_, err := d.service.MakeQuote(ctx, d.a, service.NewQuote{Lines: []service.NewQuoteLine{line, line, line}}, nil)
			return err
		},
		"order": func(ctx context.Context) error {
			_, err := d.service.PlaceOrder(ctx, d.a, service.NewOrder{QuoteID: made.ID}, nil)
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			before := kept()
			looks := []int64{1, 2, 10, 100}
			if name == "order" { // without a backlog of the worker's it is not placed, and looked at between its lines alone
				looks = []int64{1, 2, 5}
			}
			for _, ends := range looks {
				ctx := newPatient(t.Context(), ends)
				err := do(ctx)
				if got := fault.KindOf(err); got != fault.Canceled {
					t.Errorf("ended at look %d: got %v (%v), want %v", ends, err, got, fault.Canceled)
				}
				// Two workers of a batch look a few times each, and so does a store's call.
				if after := ctx.asked.Load() - ends; after < 0 || after > 12 {
					t.Errorf("ended at look %d: looked %d times after that, want 0 to 12", ends, after)
				}
			}
			if got := kept(); got != before {
				t.Errorf("%d quotes are kept, want %d", got, before)
			}
		})
	}
}
