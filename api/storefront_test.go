package api

import (
	"context"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"

	"hatchwright/service/record"
	"hatchwright/store"
)

// writes counts what could be kept: transactions begun and idempotency keys asked for.
type writes struct {
	store.Store
	n atomic.Int64
}

func (w *writes) InTx(ctx context.Context, fn func(store.Tx) error) error {
	w.n.Add(1)
	return w.Store.InTx(ctx, fn)
}

func (w *writes) Idempotency() store.Idempotency {
	w.n.Add(1)
	return w.Store.Idempotency()
}

// Anybody can read a storefront key, so nothing is kept for one: whatever it sends to
// any route, good body and all, no transaction is begun.
func TestStorefrontKeepsNothing(t *testing.T) {
	kept := &writes{}
	b := newBenchWith(t, options{wrap: func(s store.Store) store.Store { kept.Store = s; return kept }})
	dealer, dealerKey := b.dealer("Brackwater Marine", record.RoleDealer)
	made := b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, `{"role":"storefront","name":"web"}`)
	house := b.send(http.MethodPost, "/v1/keys", b.shop, `{"role":"storefront","name":"own window"}`)
	quote := `{"lines":[{"configuration":` + small + `}]}`
	before := kept.n.Load()
	if a := b.send(http.MethodPost, "/v1/quotes", dealerKey, quote); a.status != http.StatusCreated || kept.n.Load() == before {
		t.Fatalf("a dealer's quote: %d, %d writes", a.status, kept.n.Load()-before)
	}
	bodies := map[string]string{"/v1/quotes": quote, "/v1/configurations": `{"configuration":` + small + `}`, "/v1/derive/batch": batch(small),
		"/v1/webhooks": `{"url":"https://hooks.brackwater.example/hatches"}`, "/v1/orders": `{"quote_id":"` + dealer + `"}`}
	for name, key := range map[string]string{"of a dealer": memberText(t, made.body, "key"), "of the shop": memberText(t, house.body, "key")} {
		for _, r := range routes {
			if r.role == open {
				continue
			}
			body := bodies[r.path]
			if body == "" && r.method != http.MethodGet && r.method != http.MethodDelete {
				body = small
			}
			path := strings.NewReplacer("{id}", dealer, "{drawing}", "plan", "{operation}", "1-x", "{version}", "1").Replace(r.path)
			t.Run(name+" "+r.method+" "+r.path, func(t *testing.T) {
				before := kept.n.Load()
				a := b.send(r.method, path, key, body, "Idempotency-Key", "k1")
				if got := kept.n.Load() - before; got != 0 {
					t.Errorf("%d writes, want none; the answer was %d", got, a.status)
				}
				if want := map[bool]int{true: http.StatusOK, false: http.StatusForbidden}[r.role == record.RoleStorefront]; a.status != want {
					t.Errorf("status %d, want %d: %s", a.status, want, a.body)
				}
			})
		}
	}
	t.Run("says what to do", func(t *testing.T) {
		p := b.send(http.MethodPost, "/v1/quotes", memberText(t, made.body, "key"), quote).problem(t)
		for _, word := range []string{"dealer key", "/v1/derive"} {
			if !strings.Contains(p.Detail, word) {
				t.Errorf("got %q, want %q in it", p.Detail, word)
			}
		}
	})
}
