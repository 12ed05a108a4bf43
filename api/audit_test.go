package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// audited returns the entries of a request, newest first.
func (b *bench) audited(request string) []client.AuditEntry {
	b.t.Helper()
	l, err := b.client(b.shop).ListAuditWithResponse(context.Background(), &client.ListAuditParams{RequestId: &request})
	if err != nil || l.JSON200 == nil {
		b.t.Fatalf("%v %s", err, l.Body)
	}
	return l.JSON200.Items
}

// TestAuditOfEveryWritingRoute changes something through each route that can, with
// the shop's key, and finds who did it. A new route has to be told here: what it
// changes, or that it changes nothing.
func TestAuditOfEveryWritingRoute(t *testing.T) {
	b := newBenchWith(t, nearby)
	receiver := &endpoint{status: http.StatusNoContent}
	server := httptest.NewServer(receiver)
	t.Cleanup(server.Close)
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	ask := func(method, path, body string, headers ...string) answer {
		t.Helper()
		a := b.send(method, path, b.shop, body, headers...)
		if a.status >= 300 {
			t.Fatalf("%s %s: %d %.300s", method, path, a.status, a.body)
		}
		return a
	}
	made := func(path, body string) string { return memberText(t, ask(http.MethodPost, path, body).body, "id") }
	document := func(path string) string { return string(ask(http.MethodGet, path, "").body) }
	kept := b.keepSmall(key)
	hook := made("/v1/webhooks", `{"url":"`+server.URL+`"}`)
	quoted, ordered, held, ready := b.quote(b.shop), b.order(b.shop), b.order(b.shop), b.order(b.shop)
	ask(http.MethodPost, "/v1/orders/"+held.Id.String()+"/hold", `{"reason":"boat delayed"}`, "If-Match", "*")
	for _, op := range ready.Operations {
		ask(http.MethodPut, "/v1/orders/"+ready.Id.String()+"/operations/"+op.Key+"/record", `{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T12:30:00Z","hours":1}`)
	}
	working := b.order(b.shop)
	mold := b.mold(kept, "receiver", "").Id.String()
	if _, err := b.service.DeliverDue(context.Background()); err != nil {
		t.Fatal(err)
	}
	var deliveries client.DeliveryList
	strict(t, ask(http.MethodGet, "/v1/webhooks/"+hook+"/deliveries", "").body, &deliveries)
	another := made("/v1/webhooks", `{"url":"`+server.URL+`"}`)

	type request struct{ path, body, action string }
	writing := map[string]request{
		"POST /v1/configurations":                           {"", `{"configuration":` + small + `}`, "configuration.kept"},
		"POST /v1/quotes":                                   {"", `{"lines":[{"configuration":` + small + `}]}`, "quote.made"},
		"POST /v1/quotes/{id}/withdrawal":                   {"/v1/quotes/" + b.quote(b.shop).Id.String() + "/withdrawal", "", "quote.withdrawn"},
		"POST /v1/orders":                                   {"", fmt.Sprintf(`{"quote_id":%q}`, quoted.Id), "order.received"},
		"POST /v1/orders/{id}/hold":                         {"/v1/orders/" + ordered.Id.String() + "/hold", `{"reason":"waits"}`, "order.held"},
		"POST /v1/orders/{id}/release":                      {"/v1/orders/" + held.Id.String() + "/release", "", "order.released"},
		"POST /v1/orders/{id}/cancellation":                 {"/v1/orders/" + b.order(key).Id.String() + "/cancellation", `{"reason":"sold"}`, "order.cancelled"},
		"POST /v1/orders/{id}/shipment":                     {"/v1/orders/" + ready.Id.String() + "/shipment", `{"carrier":"own van"}`, "order.shipped"},
		"PUT /v1/orders/{id}/operations/{operation}/record": {"/v1/orders/" + working.Id.String() + "/operations/" + working.Operations[0].Key + "/record", `{"started_at":"2026-11-30T12:00:00Z"}`, "operation.recorded"},
		"POST /v1/webhooks":                                 {"", `{"url":"` + server.URL + `/token-in-the-path"}`, "webhook.created"},
		"POST /v1/webhooks/{id}/secret":                     {"/v1/webhooks/" + hook + "/secret", "", "webhook.secret_rotated"},
		"DELETE /v1/webhooks/{id}":                          {"/v1/webhooks/" + another, "", "webhook.deleted"},
		"POST /v1/deliveries/{id}/resend":                   {"/v1/deliveries/" + deliveries.Items[0].Id.String() + "/resend", "", "delivery.resent"},
		"PUT /v1/shop/profile":                              {"", strings.Replace(document("/v1/shop/profile"), `"resin": 0.10`, `"resin": 0.5`, 1), "profile.changed"},
		"PUT /v1/shop/materials":                            {"", strings.Replace(document("/v1/shop/materials"), `"cured_density": 1200`, `"cured_density": 1210`, 1), "materials.changed"},
		"POST /v1/shop/price-books":                         {"", strings.Replace(document("/v1/shop/price-books/1"), `"margin": "0.30"`, `"margin": "0.35"`, 1), "price_book.changed"},
		"POST /v1/molds":                                    {"", fmt.Sprintf(`{"configuration_id":%q,"part":"lid","remaining_pulls":20}`, kept), "mold.registered"},
		"PATCH /v1/molds/{id}":                              {"/v1/molds/" + mold, `{"location":"rack 3"}`, "mold.changed"},
		"POST /v1/stock/moves":                              {"", `{"kind":"receive","amount":20,"lot":{"material":"` + resin + `"}}`, "lot.received"},
		"POST /v1/dealers":                                  {"", `{"name":"Fennimore Yachts"}`, "dealer.added"},
		"POST /v1/dealers/{id}/keys":                        {"/v1/dealers/" + dealer + "/keys", `{"role":"dealer","name":"window"}`, "key.made"},
		"POST /v1/keys":                                     {"", `{"role":"shop","name":"floor"}`, "key.made"},
		"POST /v1/keys/{id}/rotation":                       {"/v1/keys/" + made("/v1/keys", `{"role":"storefront","name":"window","quota":500}`) + "/rotation", `{}`, "key.rotated"},
		"DELETE /v1/keys/{id}":                              {"/v1/keys/" + made("/v1/keys", `{"role":"shop","name":"old"}`), "", "key.revoked"},
	}
	b.clock.Add(time.Second)
	quiet := map[string]request{ // work things out and keep nothing
		"POST /v1/check":              {"", small, ""},
		"POST /v1/derive":             {"", small, ""},
		"POST /v1/derive/batch":       {"", `{"configurations":[` + small + `]}`, ""},
		"POST /v1/limits":             {"", small, ""},
		"POST /v1/drawings/{drawing}": {"/v1/drawings/plan", small, ""},
	}
	for n, r := range routes {
		if r.method == http.MethodGet || r.role == open {
			continue
		}
		what := r.method + " " + r.path
		q, writes := writing[what]
		if !writes {
			var known bool
			if q, known = quiet[what]; !known {
				t.Errorf("%s is not told: add what it changes, or that it changes nothing", what)
				continue
			}
		}
		if q.path == "" {
			q.path = r.path
		}
		id := fmt.Sprintf("audited-%d", n)
		a := b.send(r.method, q.path, b.shop, q.body, "X-Request-Id", id, "If-Match", "*", "Accept", "application/json, image/*")
		if a.status >= 300 {
			t.Errorf("%s: %d %.300s", what, a.status, a.body)
			continue
		}
		list := b.audited(id)
		if !writes {
			if len(list) != 0 {
				t.Errorf("%s left %+v", what, list)
			}
			continue
		}
		i := slices.IndexFunc(list, func(e client.AuditEntry) bool { return e.Action == q.action })
		if i < 0 {
			t.Errorf("%s: no %s among %+v", what, q.action, list)
			continue
		}
		e := list[i]
		if e.By.Role != client.RoleShop || e.By.KeyId == nil || *e.By.KeyName != "first shop key" || e.RequestId == nil || *e.RequestId != id || e.Outcome != "done" ||
			e.Thing.Id == "" || !e.CreatedAt.Equal(b.clock.Now()) || len(e.Changes) == 0 {
			t.Errorf("%s: %+v", what, e)
		}
		for _, secret := range []string{"whsec_", "token-in-the-path", b.shop[12:]} {
			for _, c := range e.Changes {
				if c.After != nil && strings.Contains(*c.After, secret) {
					t.Errorf("%s tells %q", what, *c.After)
				}
			}
		}
	}
}

// TestAudit reads the list: filters, pages, CSV, and who may.
func TestAudit(t *testing.T) {
	b := newBenchWith(t, nearby)
	server := httptest.NewServer(&endpoint{status: http.StatusNoContent})
	t.Cleanup(server.Close)
	dealer, key := b.dealer("=Brackwater", record.RoleDealer)
	b.clock.Add(time.Hour)
	list := func(query string) (l client.AuditList) {
		t.Helper()
		a := b.send(http.MethodGet, "/v1/audit"+query, b.shop, "")
		if a.status != http.StatusOK {
			t.Fatalf("%s: %d %s", query, a.status, a.body)
		}
		strict(t, a.body, &l)
		return l
	}
	// The first key is made by the service itself, in no request.
	first := list("?thing=key&limit=200").Items
	if e := first[len(first)-1]; e.Action != "key.made" || e.By.KeyId != nil || e.By.KeyName != nil || e.RequestId != nil {
		t.Errorf("the first key: %+v", e)
	}
	// A dealer's webhook is in it, a dealer's quote is not; the shop's is.
	a := b.send(http.MethodPost, "/v1/webhooks", key, `{"url":"`+server.URL+`"}`)
	hook := memberText(t, a.body, "id")
	own := b.quote(key)
	shops := b.quote(b.shop)
	if l := list("?thing=webhook&thing_id=" + hook).Items; len(l) != 1 || l[0].Action != "webhook.created" || l[0].By.Role != "dealer" || *l[0].By.KeyName != "test" {
		t.Errorf("a dealer's webhook: %+v", l)
	}
	if l := list("?thing_id=" + own.Id.String()).Items; len(l) != 0 {
		t.Errorf("a dealer's quote: %+v", l)
	}
	if l := list("?thing_id=" + shops.Id.String()).Items; len(l) != 1 || l[0].Action != "quote.made" {
		t.Errorf("the shop's quote: %+v", l)
	}
	// What changed, before and after; a second revocation changes nothing.
	k := list("?thing=key&action=key.made&created_before=" + monday.Add(time.Minute).Format(time.RFC3339)).Items[0].Thing.Id
	for range 2 {
		b.clock.Add(time.Minute)
		if a := b.send(http.MethodDelete, "/v1/keys/"+k, b.shop, ""); a.status != http.StatusNoContent {
			t.Fatalf("%d %s", a.status, a.body)
		}
	}
	ended := list("?action=key.revoked&thing_id=" + k).Items
	if len(ended) != 2 || ended[0].Outcome != "unchanged" || len(ended[0].Changes) != 0 || ended[1].Outcome != "done" ||
		len(ended[1].Changes) != 1 || ended[1].Changes[0].Field != "revoked_at" || ended[1].Changes[0].Before != nil {
		t.Errorf("revoked: %+v", ended)
	}
	if a := b.send(http.MethodDelete, "/v1/keys/"+nobody, b.shop, ""); a.status != http.StatusNotFound || len(list("?thing_id="+nobody).Items) != 0 {
		t.Errorf("what was refused is in the list: %d", a.status)
	}
	// The same request again gives the same answer and no second entry.
	for range 2 {
		b.send(http.MethodPost, "/v1/dealers", b.shop, `{"name":"Fennimore Yachts"}`, "Idempotency-Key", "once", "X-Request-Id", "sent-twice")
	}
	if l := b.audited("sent-twice"); len(l) != 1 {
		t.Errorf("sent twice: %+v", l)
	}
	// Page by page.
	whole := list("?limit=200").Items
	var paged []client.AuditEntry
	for at := "?limit=2"; at != ""; {
		l := list(at)
		paged = append(paged, l.Items...)
		at = ""
		if l.NextCursor != nil {
			at = "?limit=2&cursor=" + *l.NextCursor
			b.send(http.MethodGet, "/v1/audit?action=key.made&cursor="+*l.NextCursor, b.shop, "").wants(t, 400, "cursor-refused")
		}
	}
	if len(paged) != len(whole) || len(whole) < 7 {
		t.Errorf("%d in pages, %d at once", len(paged), len(whole))
	}
	// As a table.
	table := b.send(http.MethodGet, "/v1/audit?limit=2&thing=dealer", b.shop, "", "Accept", "text/csv")
	rows, err := csv.NewReader(bytes.NewReader(table.body)).ReadAll()
	if err != nil || table.status != http.StatusOK || len(rows) != 3 || len(rows[0]) != 13 || rows[2][10] != dealer || rows[1][8] != "dealer.added" {
		t.Errorf("%d %v %v", table.status, err, rows)
	}
	b.send(http.MethodGet, "/v1/audit", b.shop, "", "Accept", "image/png").wants(t, 406, "not-acceptable")
	b.send(http.MethodGet, "/v1/audit", key, "").wants(t, 401, "key-revoked")
	_, other := b.dealer("Tern Boats", record.RoleDealer)
	b.send(http.MethodGet, "/v1/audit", other, "").wants(t, 403, "forbidden")
	b.send(http.MethodGet, "/v1/audit?key=x", b.shop, "").wants(t, 400, "invalid-request")
}
