package api

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// TestRefusals is what a storefront, a dealer or a dashboard can get wrong about
// quotes, orders, events and keys: each gets a kind of problem of its own, whose page
// says what to do, and changes nothing.
func TestRefusals(t *testing.T) {
	b := newBenchWith(t, options{}) // no private address is allowed
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	_, other := b.dealer("Fennimore Yachts", record.RoleDealer)
	id := func(a answer) string {
		t.Helper()
		if a.status >= 300 {
			t.Fatalf("%d %s", a.status, a.body)
		}
		return memberText(t, a.body, "id")
	}
	short := b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, `{"role":"dealer","name":"trial","expires_at":"2026-11-30T13:00:30Z"}`)
	revoked := b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, `{"role":"dealer","name":"lost"}`)
	b.send(http.MethodDelete, "/v1/keys/"+id(revoked), b.shop, "")
	over := id(b.send(http.MethodPost, "/v1/quotes", key, `{"valid_until":"2026-11-30T13:00:30Z","lines":[{"configuration":`+small+`}]}`))
	withdrawn := b.quote(key).Id.String()
	b.send(http.MethodPost, "/v1/quotes/"+withdrawn+"/withdrawal", key, "", "If-Match", "*")
	open := b.quote(key).Id.String()
	first := b.send(http.MethodPost, "/v1/orders", key, fmt.Sprintf(`{"quote_id":%q}`, b.quote(key).Id), "Idempotency-Key", "first")
	ordered, order := memberText(t, first.body, "quote_id"), id(first)
	shipped := b.order(key)
	for _, op := range shipped.Operations {
		b.send(http.MethodPut, "/v1/orders/"+shipped.Id.String()+"/operations/"+op.Key+"/record", b.shop, `{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T12:30:00Z","hours":1}`)
	}
	id(b.send(http.MethodPost, "/v1/orders/"+shipped.Id.String()+"/shipment", b.shop, `{}`, "If-Match", "*"))
	var page client.OrderList
	strict(t, b.send(http.MethodGet, "/v1/orders?limit=1", key, "").body, &page)
	if page.NextCursor == nil {
		t.Fatal("one page of orders")
	}
	cursor := *page.NextCursor
	tampered := cursor[:4] + strings.Map(func(r rune) rune {
		if r == 'A' {
			return 'B'
		}
		return 'A'
	}, cursor[4:5]) + cursor[5:]
	b.clock.Add(time.Minute)

	place := func(quote string) string { return fmt.Sprintf(`{"quote_id":%q}`, quote) }
	state := func() string {
		t.Helper()
		var s []string
		for _, path := range []string{"/v1/orders", "/v1/quotes", "/v1/webhooks", "/v1/audit", "/v1/orders/" + order + "/events"} {
			s = append(s, string(b.send(http.MethodGet, path, b.shop, "").body))
		}
		return strings.Join(s, "\n")
	}
	before := state()
	cancellation := `{"reason":"changed my mind"}`
	kinds := map[string]string{}
	for _, c := range []struct {
		what, method, path, key, body string
		headers                       []string
		status                        int
		problem                       string
		says                          string // on the problem's page
	}{
		{"expired quote", "POST", "/v1/orders", key, place(over), nil, 409, "quote-expired", "Make a new quote"},
		{"withdrawn quote", "POST", "/v1/orders", key, place(withdrawn), nil, 409, "quote-withdrawn", "Make a new quote"},
		{"another dealer's quote", "POST", "/v1/orders", other, place(open), nil, 404, "not-found", "belongs to whoever owns it"},
		{"a quote that is not there", "POST", "/v1/orders", key, place(nobody), nil, 404, "not-found", "belongs to whoever owns it"},
		{"ordered twice", "POST", "/v1/orders", key, place(ordered), []string{"Idempotency-Key", "second"}, 409, "quote-ordered", "order_id is its order"},
		{"the same key for another quote", "POST", "/v1/orders", key, place(open), []string{"Idempotency-Key", "first"}, 422, "idempotency-key-reused", "Take a new key"},
		{"cancelled after the shipment", "POST", "/v1/orders/" + shipped.Id.String() + "/cancellation", key, cancellation, []string{"If-Match", "*"}, 409, "order-closed", "talk to the shop"},
		{"a stale If-Match", "POST", "/v1/orders/" + order + "/cancellation", key, cancellation, []string{"If-Match", `"7"`}, 412, "precondition-failed", "Read it again"},
		{"no If-Match", "POST", "/v1/orders/" + order + "/cancellation", key, cancellation, nil, 428, "precondition-required", "Read the thing"},
		{"shipped before it is ready", "POST", "/v1/orders/" + order + "/shipment", b.shop, `{}`, []string{"If-Match", "*"}, 409, "order-state", "Read the order"},
		{"a cursor that was changed", "GET", "/v1/orders?limit=1&cursor=" + tampered, key, "", nil, 400, "cursor-refused", "Send next_cursor unchanged"},
		{"a cursor of another list", "GET", "/v1/quotes?limit=1&cursor=" + cursor, key, "", nil, 400, "cursor-refused", "Send next_cursor unchanged"},
		{"a cursor of another filter", "GET", "/v1/orders?limit=1&state=received&cursor=" + cursor, key, "", nil, 400, "cursor-refused", "Send next_cursor unchanged"},
		{"a cursor of another dealer", "GET", "/v1/orders?limit=1&cursor=" + cursor, other, "", nil, 400, "cursor-refused", "Send next_cursor unchanged"},
		{"a webhook to this machine", "POST", "/v1/webhooks", key, `{"url":"https://127.0.0.1/hook"}`, nil, 400, "webhook-address-refused", "reached from the internet"},
		{"a webhook to a private address", "POST", "/v1/webhooks", key, `{"url":"https://10.1.2.3/hook"}`, nil, 400, "webhook-address-refused", "reached from the internet"},
		{"an event that is not there", "GET", "/v1/events", key, "", []string{"Last-Event-ID", "01a22c8a-7080-7a55-8000-000000000000"}, 404, "event-unknown", "leave the header out"},
		{"an expired key", "GET", "/v1/orders", memberText(t, short.body, "key"), "", nil, 401, "key-expired", "Ask the shop for another key"},
		{"a revoked key", "GET", "/v1/orders", memberText(t, revoked.body, "key"), "", nil, 401, "key-revoked", "Ask the shop for another key"},
		{"an unknown key", "GET", "/v1/orders", "hw_" + strings.Repeat("x", 43), "", nil, 401, "unauthenticated", "Authorization: Bearer"},
		{"no key", "GET", "/v1/orders", "", "", nil, 401, "unauthenticated", "Authorization: Bearer"},
	} {
		a := b.send(c.method, c.path, c.key, c.body, c.headers...)
		p := a.problem(t)
		if a.status != c.status || p.Type != "/problems/"+c.problem || p.Detail == "" || p.RequestId == "" {
			t.Errorf("%s: %d %s (%s), want %d %s", c.what, a.status, p.Type, p.Detail, c.status, c.problem)
			continue
		}
		if was, ok := kinds[p.Type]; ok && c.problem != "cursor-refused" && c.problem != "not-found" && c.problem != "webhook-address-refused" && c.problem != "unauthenticated" {
			t.Errorf("%s and %s are both %s", was, c.what, p.Type)
		}
		kinds[p.Type] = c.what
		if told := b.send(http.MethodGet, p.Type, "", ""); told.status != http.StatusOK || !strings.Contains(string(told.body), c.says) {
			t.Errorf("%s: the page of %s does not say %q", c.what, p.Type, c.says)
		}
	}
	if after := state(); after != before {
		t.Error("a refused request changed something")
	}
	// What is refused to one is still there for the other.
	id(b.send(http.MethodPost, "/v1/orders", key, place(open)))
	id(b.send(http.MethodPost, "/v1/orders/"+order+"/cancellation", key, cancellation, "If-Match", `"1"`))
}
