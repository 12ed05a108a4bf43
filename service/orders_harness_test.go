package service_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/service/webhook"
	"hatchwright/store"
	"hatchwright/store/postgres"
	"hatchwright/store/postgres/postgrestest"
	"hatchwright/store/sqlite"
)

func TestMain(m *testing.M) {
	if workAsChild() {
		return
	}
	os.Exit(postgrestest.Main(m))
}

// engines are the stores that these tests run on; each gives a function that opens
// the same store once more.
var engines = map[string]func(*testing.T) func() store.Store{
	"sqlite": func(t *testing.T) func() store.Store {
		path := filepath.Join(t.TempDir(), "orders.db")
		return func() store.Store {
			s, err := sqlite.Open(context.Background(), path)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = s.Close() })
			places.Store(s, path)
			return s
		}
	},
	"postgres": func(t *testing.T) func() store.Store {
		url := postgrestest.Migrated(t)
		return func() store.Store {
			s, err := postgres.Open(context.Background(), url)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = s.Close() })
			places.Store(s, url)
			return s
		}
	},
}

// places says where each opened store is, for another process to open it.
var places sync.Map

func opened(t *testing.T, s store.Store) string {
	t.Helper()
	at, ok := places.Load(s)
	if !ok {
		t.Fatal("a store from nowhere")
	}
	return at.(string)
}

// onEngines runs a test on each of them.
func onEngines(t *testing.T, test func(*testing.T, func() store.Store)) {
	for _, name := range []string{"sqlite", "postgres"} {
		t.Run(name, func(t *testing.T) { test(t, engines[name](t)) })
	}
}

// clock stands still until it is told to move.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.now }

func (c *clock) Add(d time.Duration) { c.mu.Lock(); defer c.mu.Unlock(); c.now = c.now.Add(d) }

// desk is a shop with two dealers, and somebody to speak for each.
type desk struct {
	t       *testing.T
	store   store.Store
	service *service.Service
	clock   *clock

	shop, a, b               service.Caller // the shop, Brackwater Marine, Fennimore Yachts
	storefrontA, houseWindow service.Caller // a storefront of a's, and the shop's own
}

// loopback lets tests call receivers on this machine.
var loopback = webhook.Policy{Plain: true, Allow: []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")}}

// newDesk sets a shop up. wrap may put a double over the store.
func newDesk(t *testing.T, s store.Store, c *clock, wrap func(store.Store) store.Store) *desk {
	t.Helper()
	ctx := context.Background()
	if _, err := s.Migrate(ctx); err != nil {
		t.Fatal(err)
	}
	d := &desk{t: t, store: s, clock: c}
	d.service = d.another(s, wrap)
	if _, err := d.service.Bootstrap(ctx); err != nil {
		t.Fatal(err)
	}
	id := func(n int) uuid.UUID { return uuid.MustParse(fmt.Sprintf("0195500a-0000-7000-9000-%012x", n)) }
	d.shop = service.Caller{KeyID: id(1), Role: record.RoleShop}
	for n, who := range map[int]*service.Caller{2: &d.a, 3: &d.b} {
		dealer := id(10 + n)
		*who = service.Caller{KeyID: id(n), Role: record.RoleDealer, DealerID: &dealer}
		err := s.Dealers().Insert(ctx, store.ShopScope(), record.Dealer{ID: dealer, Name: []string{"Brackwater Marine", "Fennimore Yachts"}[n-2], CreatedAt: c.Now()})
		if err != nil && !errors.Is(err, store.ErrConflict) {
			t.Fatal(err)
		}
	}
	d.storefrontA = service.Caller{KeyID: id(4), Role: record.RoleStorefront, DealerID: d.a.DealerID}
	d.houseWindow = service.Caller{KeyID: id(5), Role: record.RoleStorefront}
	return d
}

// another is one more copy of the service, on the store given.
func (d *desk) another(s store.Store, wrap func(store.Store) store.Store) *service.Service {
	d.t.Helper()
	if wrap != nil {
		s = wrap(s)
	}
	made, err := service.New(service.Options{Store: s, Wire: api.Wire{}, Clock: d.clock.Now,
		Webhooks: service.WebhookOptions{Policy: loopback, Keys: [][]byte{bytes.Repeat([]byte{7}, 32)}, CallTime: 300 * time.Millisecond}})
	if err != nil {
		d.t.Fatal(err)
	}
	return made
}

const smallHatch = `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":60},"quantity":1}`

func request(t *testing.T, body string) service.NewConfiguration {
	t.Helper()
	r, err := api.Wire{}.Decode([]byte(body))
	if err != nil {
		t.Fatal(err)
	}
	return service.NewConfiguration{Request: r, Requested: json.RawMessage(body), Name: "fore hatch"}
}

// kept keeps a configuration of the caller's and gives its id.
func (d *desk) kept(c service.Caller) uuid.UUID {
	d.t.Helper()
	n := request(d.t, smallHatch)
	made, err := d.service.StoreConfiguration(context.Background(), c, n, nil)
	if err != nil {
		d.t.Fatal(err)
	}
	return made.Record.ID
}

// into takes the record of what was made; on an error nothing changes.
func into[T any](at *T) func(service.Made[T], error) error {
	return func(made service.Made[T], err error) error {
		if err == nil {
			*at = made.Record
		}
		return err
	}
}

// only is the error of a use case, whatever it made.
func only[T any](_ service.Made[T], err error) error { return err }

// quoted makes a quote of one kept configuration.
func (d *desk) quoted(c service.Caller, configuration uuid.UUID) record.Quote {
	d.t.Helper()
	var q record.Quote
	err := into(&q)(d.service.MakeQuote(context.Background(), c, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &configuration}}}, nil))
	if err != nil {
		d.t.Fatal(err)
	}
	return q
}

// ordered orders a quote.
func (d *desk) ordered(c service.Caller, q record.Quote) record.Order {
	d.t.Helper()
	o, err := d.place(d.service, c, q.ID, nil)
	if err != nil {
		d.t.Fatal(err)
	}
	return o
}

func (d *desk) place(s *service.Service, c service.Caller, quote uuid.UUID, claim *service.Claim) (o record.Order, err error) {
	made, err := s.PlaceOrder(context.Background(), c, service.NewOrder{QuoteID: quote, PurchaseReference: "PO 7"}, claim)
	if o = made.Record.Order; err == nil && o.ID == uuid.Nil { // a repeat has the answer alone
		err = json.Unmarshal(made.Answer.Body, &struct {
			ID *uuid.UUID `json:"id"`
		}{&o.ID})
	}
	return o, err
}

// reason is the word for what went wrong: the refusal's, else the fault's; "" for
// nothing.
func reason(err error) string {
	var r *order.Refusal
	switch {
	case err == nil:
		return ""
	case errors.As(err, &r):
		return string(r.Reason)
	}
	var f *fault.Error
	if errors.As(err, &f) {
		return f.Kind.String()
	}
	return err.Error()
}

func wantReason(t *testing.T, what string, err error, want string) {
	t.Helper()
	if got := reason(err); got != want {
		t.Errorf("%s: %q (%v), want %q", what, got, err, want)
	}
}
