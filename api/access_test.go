package api

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// TestWhoMayDoWhat sends every route with every kind of key.
func TestWhoMayDoWhat(t *testing.T) {
	b := newBench(t)
	dealer, dealerKey := b.dealer("Brackwater Marine", record.RoleDealer)
	storefront, err := b.client(b.shop).CreateDealerKeyWithResponse(context.Background(), uuidOf(t, dealer), nil, client.NewDealerKey{Name: "web", Role: "storefront"})
	if err != nil || storefront.JSON201 == nil {
		t.Fatalf("%v %s", err, storefront.Body)
	}
	house := b.send(http.MethodPost, "/v1/keys", b.shop, `{"role":"storefront","name":"own shop window"}`)
	keys := []struct {
		name, key string
		role      record.Role
	}{
		{"none", "", ""}, {"unknown", "hw_" + strings.Repeat("A", 43), ""}, {"long", "hw_" + strings.Repeat("A", 5000), ""},
		{"storefront", storefront.JSON201.Key, record.RoleStorefront}, {"the shop's storefront", memberText(t, house.body, "key"), record.RoleStorefront},
		{"dealer", dealerKey, record.RoleDealer}, {"shop", b.shop, record.RoleShop},
	}
	rank := map[record.Role]int{"": 0, record.RoleStorefront: 1, record.RoleDealer: 2, record.RoleShop: 3}
	bodies := map[string]string{
		"/v1/check": small, "/v1/derive": small, "/v1/limits": small, "/v1/drawings/{drawing}": small, "/v1/derive/batch": batch(small), "/v1/configurations": `{"configuration":` + small + `}`,
		"/v1/quotes": `{"lines":[{"configuration":` + small + `}]}`, "/v1/orders": `{"quote_id":"` + dealer + `"}`, "/v1/orders/{id}/hold": `{"reason":"x"}`, "/v1/orders/{id}/cancellation": `{"reason":"x"}`,
		"/v1/orders/{id}/shipment": `{}`, "/v1/orders/{id}/operations/{operation}/record": `{"started_at":"2026-11-30T13:00:00Z"}`, "/v1/webhooks": `{"url":"https://hooks.brackwater.example/hatches"}`,
		"/v1/molds": `{"configuration_id":"` + dealer + `","part":"lid","remaining_pulls":1}`, "/v1/molds/{id}": `{"location":"rack 1"}`, "/v1/stock/moves": `{"kind":"scrap","amount":1,"lot_id":"` + dealer + `"}`,
		"/v1/dealers": `{"name":"%s"}`, "/v1/dealers/{id}/keys": `{"role":"storefront","name":"x"}`, "/v1/keys": `{"role":"storefront","name":"x"}`, "/v1/keys/{id}/rotation": `{}`,
	}
	for _, r := range routes {
		if r.role == open {
			continue
		}
		for i, k := range keys {
			path := strings.NewReplacer("{id}", dealer, "{drawing}", "plan", "{operation}", "1-x", "{version}", "1").Replace(r.path)
			body := ""
			if r.method == http.MethodPost || r.method == http.MethodPut || r.method == http.MethodPatch {
				body = bodies[r.path]
				if strings.Contains(body, "%s") {
					body = fmt.Sprintf(body, fmt.Sprintf("Dealer %d", i))
				}
			}
			var headers []string
			if r.path == eventsPath {
				headers = []string{"Last-Event-ID", dealer} // refused: a stream would not end
			}
			a := b.send(r.method, path, k.key, body, headers...)
			switch {
			case k.role == "":
				if p := a.problem(t); a.status != http.StatusUnauthorized || p.Type != "/problems/unauthenticated" || !strings.HasPrefix(a.header.Get("WWW-Authenticate"), "Bearer") {
					t.Errorf("%s %s with no key: %d %s", r.method, r.path, a.status, a.body)
				}
			case rank[k.role] < rank[r.role]:
				if p := a.problem(t); a.status != http.StatusForbidden || !strings.Contains(p.Detail, string(r.role)) {
					t.Errorf("%s %s with a %s key: %d %s", r.method, r.path, k.role, a.status, a.body)
				}
			case a.status == http.StatusUnauthorized || a.status == http.StatusForbidden || a.status >= 500:
				t.Errorf("%s %s with a %s key: %d %s", r.method, r.path, k.role, a.status, a.body)
			}
		}
	}
	// Role first: who may not know does not learn whether a body would do.
	if a := b.send(http.MethodPost, "/v1/dealers", dealerKey, `{"nonsense":1}`); a.status != http.StatusForbidden {
		t.Errorf("bad body, wrong role: %d", a.status)
	}
}

func TestAuthorizationHeader(t *testing.T) {
	b := newBench(t)
	for header, want := range map[string]int{
		"Bearer " + b.shop: 200, "bearer " + b.shop: 200, "Bearer  " + b.shop: 200,
		b.shop: 401, "Basic " + b.shop: 401, "Bearer": 401, "Bearer ": 401, "Bearer " + b.shop + "x": 401, "Bearer " + b.shop[:len(b.shop)-1]: 401,
	} {
		if a := b.send(http.MethodPost, "/v1/check", "", small, "Authorization", header); a.status != want {
			t.Errorf("%.10s...: %d", header, a.status)
		}
	}
}

func TestKeysEnd(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	shop := b.client(b.shop)
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	ends := monday.Add(time.Hour)
	short, err := shop.CreateDealerKeyWithResponse(ctx, uuidOf(t, dealer), nil, client.NewDealerKey{Name: "for an hour", Role: "dealer", ExpiresAt: &ends})
	if err != nil || short.JSON201 == nil {
		t.Fatalf("%v %s", err, short.Body)
	}
	try := func(key string) int { return b.send(http.MethodPost, "/v1/check", key, small).status }
	if got := try(short.JSON201.Key); got != 200 {
		t.Errorf("a new key: %d", got)
	}
	b.clock.Add(time.Hour)
	if got := try(short.JSON201.Key); got != 401 {
		t.Errorf("an hour later: %d", got)
	}
	if a := b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, `{"role":"dealer","name":"x","expires_at":"2020-01-01T00:00:00Z"}`); a.status != 400 || a.problem(t).Errors[0].Pointer != "/expires_at" {
		t.Errorf("a key that is over: %d %s", a.status, a.body)
	}

	l, err := shop.ListKeysWithResponse(ctx, &client.ListKeysParams{Role: role("dealer")})
	if err != nil || l.JSON200 == nil || len(l.JSON200.Items) != 2 {
		t.Fatalf("%v %s", err, l.Body)
	}
	var id client.Key
	for _, k := range l.JSON200.Items {
		if strings.HasPrefix(key, k.Prefix) {
			id = k
		}
		if len(k.Prefix) != 9 || strings.Contains(string(l.Body), key) {
			t.Errorf("the list shows %q", k.Prefix)
		}
	}
	if id.LastUsedAt != nil {
		t.Errorf("used at %v", id.LastUsedAt)
	}
	if got := try(key); got != 200 {
		t.Errorf("before: %d", got)
	}
	for range 2 {
		if a := b.send(http.MethodDelete, "/v1/keys/"+id.Id.String(), b.shop, ""); a.status != http.StatusNoContent || len(a.body) != 0 {
			t.Errorf("revoke: %d %s", a.status, a.body)
		}
	}
	if got := try(key); got != 401 {
		t.Errorf("revoked: %d", got)
	}
	l, err = shop.ListKeysWithResponse(ctx, nil)
	if err != nil || l.JSON200 == nil {
		t.Fatal(err)
	}
	for _, k := range l.JSON200.Items {
		if k.Id == id.Id && (k.RevokedAt == nil || k.LastUsedAt == nil || !k.LastUsedAt.Equal(monday.Add(time.Hour))) {
			t.Errorf("%+v", k)
		}
	}
	if a := b.send(http.MethodDelete, "/v1/keys/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55", b.shop, ""); a.status != http.StatusNotFound {
		t.Errorf("a key that is not there: %d", a.status)
	}
}

func TestDealers(t *testing.T) {
	b := newBench(t)
	first := b.send(http.MethodPost, "/v1/dealers", b.shop, `{"name":"Brackwater Marine","email":"orders@brackwater.example"}`)
	if first.status != http.StatusCreated || memberText(t, first.body, "email") != "orders@brackwater.example" {
		t.Fatalf("%d %s", first.status, first.body)
	}
	taken := b.send(http.MethodPost, "/v1/dealers", b.shop, `{"name":"BRACKWATER marine","email":null}`)
	if p := taken.problem(t); taken.status != http.StatusConflict || p.Type != "/problems/conflict" || p.Errors[0].Pointer != "/name" {
		t.Errorf("%d %s", taken.status, taken.body)
	}
	for _, email := range []string{"", "nobody", "a@b", "a b@c.example", "a@b.example\\n"} {
		if a := b.send(http.MethodPost, "/v1/dealers", b.shop, `{"name":"Fennimore Yachts","email":"`+email+`"}`); a.status != 400 || a.problem(t).Errors[0].Pointer != "/email" {
			t.Errorf("%q: %d %s", email, a.status, a.body)
		}
	}
	b.dealer("Fennimore Yachts", record.RoleDealer)
	var l client.DealerList
	strict(t, b.send(http.MethodGet, "/v1/dealers?limit=1", b.shop, "").body, &l)
	if len(l.Items) != 1 || l.NextCursor == nil {
		t.Errorf("%+v", l)
	}
	if a := b.send(http.MethodPost, "/v1/dealers/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/keys", b.shop, `{"role":"dealer","name":"x"}`); a.status != http.StatusNotFound {
		t.Errorf("a key for nobody: %d %s", a.status, a.body)
	}
}
