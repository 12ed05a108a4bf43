package api

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"

	"hatchwright/service/identity"
	"hatchwright/service/record"
	"hatchwright/store"
)

// TestPeopleByTokens: a person of the shop's identity provider does what a shop key
// does and is written down by name; whoever else has a token is told what is wrong;
// a provider that is away keeps no key from working. What makes a token good is
// tested in package identity.
func TestPeopleByTokens(t *testing.T) {
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	key := jose.JSONWebKey{Key: private, KeyID: "one", Algorithm: "ES256", Use: "sig"}
	var up atomic.Bool
	var provider *httptest.Server
	provider = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case !up.Load():
			w.WriteHeader(http.StatusServiceUnavailable)
		case r.URL.Path == "/keys":
			_ = json.NewEncoder(w).Encode(jose.JSONWebKeySet{Keys: []jose.JSONWebKey{key.Public()}})
		default:
			_ = json.NewEncoder(w).Encode(map[string]string{"issuer": provider.URL, "jwks_uri": provider.URL + "/keys"})
		}
	}))
	t.Cleanup(provider.Close)
	clock := &shopClock{now: monday}
	people := func() *identity.Provider {
		p, err := identity.New(identity.Options{Issuer: provider.URL, Audience: "hatchwright", Claim: "groups", Value: "hatch-shop", Clock: clock.Now})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	token := func(subject string, change func(map[string]any)) string {
		t.Helper()
		claims := map[string]any{"iss": provider.URL, "aud": "hatchwright", "sub": subject, "exp": monday.Add(time.Hour).Unix(), "groups": []string{"hatch-shop"}}
		if change != nil {
			change(claims)
		}
		body, err := json.Marshal(claims)
		if err != nil {
			t.Fatal(err)
		}
		s, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.ES256, Key: key}, nil)
		if err != nil {
			t.Fatal(err)
		}
		signed, err := s.Sign(body)
		if err != nil {
			t.Fatal(err)
		}
		out, err := signed.CompactSerialize()
		if err != nil {
			t.Fatal(err)
		}
		return out
	}

	// The provider is away at first.
	away := newBenchWith(t, options{people: people()})
	a := away.send(http.MethodGet, "/v1/dealers", token("moira", nil), "")
	a.wants(t, 503, "identity-unavailable")
	if a.header.Get("Retry-After") == "" {
		t.Error("503 without Retry-After")
	}
	if a := away.send(http.MethodGet, "/v1/dealers", away.shop, ""); a.status != http.StatusOK {
		t.Errorf("a key while the provider is away: %d %s", a.status, a.body)
	}

	up.Store(true)
	b := newBenchWith(t, options{people: people()})
	moira, iain := token("moira", nil), token("iain b", nil)
	made := b.send(http.MethodPost, "/v1/dealers", moira, `{"name":"Brackwater Marine"}`, "X-Request-Id", "by-moira", "Idempotency-Key", "monday-1")
	if made.status != http.StatusCreated {
		t.Fatalf("%d %s", made.status, made.body)
	}
	list := b.audited("by-moira")
	if len(list) != 1 || list[0].By.KeyId != nil || list[0].By.Subject == nil || *list[0].By.Subject != "moira" || *list[0].By.Issuer != provider.URL || list[0].By.Role != "shop" || list[0].Action != "dealer.added" {
		t.Errorf("%+v", list)
	}
	// Each person has a space of idempotency keys of its own, beside that of the keys.
	if again := b.send(http.MethodPost, "/v1/dealers", moira, `{"name":"Brackwater Marine"}`, "Idempotency-Key", "monday-1"); string(again.body) != string(made.body) {
		t.Errorf("sent again: %d %s", again.status, again.body)
	}
	for n, who := range []string{iain, b.shop} {
		if a := b.send(http.MethodPost, "/v1/dealers", who, fmt.Sprintf(`{"name":"Fennimore Yachts %d"}`, n), "Idempotency-Key", "monday-1"); a.status != http.StatusCreated {
			t.Errorf("another with the same key: %d %s", a.status, a.body)
		}
	}
	// A token is another one each time, so a secret that it was shown is not kept.
	shown := b.send(http.MethodPost, "/v1/keys", moira, `{"role":"shop","name":"office"}`, "Idempotency-Key", "key-1")
	bare := b.send(http.MethodPost, "/v1/keys", moira, `{"role":"shop","name":"office"}`, "Idempotency-Key", "key-1")
	if shown.status != http.StatusCreated || bare.status != http.StatusOK || memberText(t, bare.body, "withheld") != "not_kept" || memberText(t, bare.body, "id") != memberText(t, shown.body, "id") ||
		strings.Contains(string(bare.body), memberText(t, shown.body, "key")) {
		t.Errorf("%d %s, again %d %s", shown.status, shown.body, bare.status, bare.body)
	}
	if a := b.send(http.MethodGet, "/v1/audit?subject=moira", iain, ""); a.status != http.StatusOK || !strings.Contains(string(a.body), "by-moira") {
		t.Errorf("%d %s", a.status, a.body)
	}
	profile := b.send(http.MethodGet, "/v1/shop/profile", iain, "")
	if a := b.send(http.MethodPut, "/v1/shop/profile", iain, strings.Replace(string(profile.body), `"resin": 0.10`, `"resin": 0.5`, 1), "If-Match", `"1"`); a.status != http.StatusOK {
		t.Errorf("%d %s", a.status, a.body)
	}
	versions, err := b.client(b.shop).ListShopProfileVersionsWithResponse(t.Context(), nil)
	if err != nil || versions.JSON200 == nil || len(versions.JSON200.Items) != 2 {
		t.Fatalf("%v %s", err, versions.Body)
	}
	if by := versions.JSON200.Items[0].ChangedBy; by == nil || by.KeyId != nil || by.Issuer == nil || *by.Issuer != provider.URL || by.Subject == nil || *by.Subject != "iain b" || versions.JSON200.Items[1].ChangedBy != nil {
		t.Errorf("%s", versions.Body)
	}
	// A history that dealers read tells that it was the shop, and not who there.
	held := b.order(b.shop)
	b.send(http.MethodPost, "/v1/orders/"+held.Id.String()+"/hold", moira, `{"reason":"boat delayed"}`, "If-Match", "*")
	history, err := b.client(b.shop).ListOrderEventsWithResponse(t.Context(), held.Id, nil)
	if err != nil || history.JSON200 == nil || len(history.JSON200.Items) != 2 {
		t.Fatalf("%v %s", err, history.Body)
	}
	if by := history.JSON200.Items[0].By; by.KeyId != nil || by.Role == nil || *by.Role != "shop" {
		t.Errorf("%s", history.Body)
	}
	// What is wrong with a token, as told.
	set := func(claim string, value any) func(map[string]any) {
		return func(c map[string]any) { c[claim] = value }
	}
	for what, c := range map[string]struct {
		token   string
		status  int
		problem string
		says    string
	}{
		"expired":   {token("moira", set("exp", monday.Add(-time.Hour).Unix())), 401, "token-refused", "is over"},
		"not yet":   {token("moira", set("nbf", monday.Add(time.Hour).Unix())), 401, "token-refused", "not valid yet"},
		"audience":  {token("moira", set("aud", "storefront")), 401, "token-refused", "not made out to hatchwright"},
		"issuer":    {token("moira", set("iss", "https://id.example")), 401, "token-refused", "is not by"},
		"signature": {moira[:len(moira)-8] + "AAAAAAAA", 401, "token-refused", "signature"},
		"nothing":   {"a.b.c", 401, "token-refused", "no JWT"},
		"long":      {strings.Repeat("a", 15000) + "." + strings.Repeat("b", 1500) + ".c", 401, "unauthenticated", "longer than"},
		"no role":   {token("moira", set("groups", []string{"visitors"})), 403, "token-role", "groups"},
	} {
		a := b.send(http.MethodGet, "/v1/dealers", c.token, "")
		if p := a.problem(t); a.status != c.status || p.Type != "/problems/"+c.problem || !strings.Contains(p.Detail, c.says) || strings.Contains(p.Detail, c.token) {
			t.Errorf("%s: %d %s: %s", what, a.status, p.Type, p.Detail)
		}
	}
	if strings.Contains(b.log.String(), moira) {
		t.Error("a token is in the log")
	}
	// Without a provider a token is no key.
	newBench(t).send(http.MethodGet, "/v1/dealers", moira, "").wants(t, 401, "unauthenticated")
}

// TestEventsGone: what is older than what is kept is told from what never was.
func TestEventsGone(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	_, other := b.dealer("Fennimore Yachts", record.RoleDealer)
	b.quote(key)
	o := b.order(key)
	b.quote(key) // after the order's event
	ids := func() (quote, order string) {
		t.Helper()
		list, err := b.store.Events().After(t.Context(), store.ShopScope(), 0, 100)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			switch {
			case e.Subject.ID == o.Id:
				order = e.ID.String()
			case quote == "" && e.Subject.Kind == "quote":
				quote = e.ID.String()
			}
		}
		return quote, order
	}
	quoteEvent, orderEvent := ids()
	history := string(b.send(http.MethodGet, "/v1/orders/"+o.Id.String()+"/events", key, "").body)
	b.clock.Add(200 * 24 * time.Hour)
	late := b.quote(b.shop) // what is kept
	if _, err := b.service.DeliverDue(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n, err := b.service.RemoveOld(t.Context()); err != nil || n.Events != 0 {
		t.Errorf("before its time: %+v, %v", n, err)
	}
	b.clock.Add(200 * 24 * time.Hour)
	n, err := b.service.RemoveOld(t.Context())
	if err != nil || n.Events != 3 { // of the quotes
		t.Errorf("%+v, %v", n, err)
	}
	for what, c := range map[string]struct{ id, key string }{
		"a quote's": {quoteEvent, key}, "the shop's view": {quoteEvent, b.shop}, "another dealer's": {quoteEvent, other},
		"an order's, which is there as its history": {orderEvent, key}, "one that never was": {"01900000-0000-7000-8000-000000000000", key},
	} {
		a := b.send(http.MethodGet, "/v1/events", c.key, "", "Last-Event-ID", c.id)
		if p := a.problem(t); a.status != http.StatusGone || p.Type != "/problems/event-gone" || !strings.Contains(p.Detail, "without Last-Event-ID") {
			t.Errorf("%s: %d %s %s", what, a.status, p.Type, p.Detail)
		}
	}
	b.send(http.MethodGet, "/v1/events", key, "", "Last-Event-ID", "01ffffff-0000-7000-8000-000000000000").wants(t, 404, "event-unknown")
	if a := b.send(http.MethodGet, "/v1/orders/"+o.Id.String()+"/events", key, ""); string(a.body) != history {
		t.Errorf("the order's history changed:\n%s\n%s", history, a.body)
	}
	// The order and its quote are there, and a late event still resumes.
	for _, path := range []string{"/v1/orders/" + o.Id.String(), "/v1/quotes/" + o.QuoteId.String(), "/v1/quotes/" + late.Id.String()} {
		if a := b.send(http.MethodGet, path, b.shop, ""); a.status != http.StatusOK {
			t.Errorf("%s: %d", path, a.status)
		}
	}
	list, err := b.store.Events().List(t.Context(), store.ShopScope(), record.Subject{Kind: "quote", ID: late.Id}, store.Page{})
	if err != nil || len(list.Items) != 1 {
		t.Fatalf("%+v %v", list, err)
	}
	s := b.stream(key, "")
	s.close()
	b.stream(b.shop, list.Items[0].ID.String()).close()
}
