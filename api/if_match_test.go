package api

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"hatchwright/openapi"
	"hatchwright/service/record"
)

// TestStaleChangesTellTheVersion: on every route that takes If-Match a version that
// is not the present one is refused with the present one as ETag and in words, and a
// tag that is none of ours, or a thing of nobody's, tells none.
func TestStaleChangesTellTheVersion(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater", record.RoleDealer)
	read := func(path, key string) (body, tag string) {
		t.Helper()
		a := b.send(http.MethodGet, path, key, "")
		if a.status != http.StatusOK || a.header.Get("ETag") == "" {
			t.Fatalf("%s: %d %s", path, a.status, a.body)
		}
		return string(a.body), a.header.Get("ETag")
	}
	quote := b.quote(key)
	o := b.order(key)
	order := "/v1/orders/" + o.Id.String()
	receiver := b.mold(b.keepSmall(b.shop), "receiver", "")
	mold := "/v1/molds/" + receiver.Id.String()
	for _, c := range [][4]string{ // so that no version is the first
		{http.MethodPatch, mold, b.shop, `{"location":"rack 1"}`},
		{http.MethodPost, order + "/hold", key, `{"reason":"boat delayed"}`},
		{http.MethodPost, order + "/release", key, ""},
	} {
		if a := b.send(c[0], c[1], c[2], c[3], "If-Match", "*"); a.status != http.StatusOK {
			t.Fatalf("%s: %d %s", c[1], a.status, a.body)
		}
	}
	profile, _ := read("/v1/shop/profile", b.shop)
	materials, _ := read("/v1/shop/materials", b.shop)
	work := fmt.Sprintf(`{"started_at":%q}`, b.clock.Now().Format("2006-01-02T15:04:05Z"))
	type route struct{ thing, path, key, body string }
	routes := map[string]route{
		"POST /v1/quotes/{id}/withdrawal":                   {"/v1/quotes/" + quote.Id.String(), "/v1/quotes/" + quote.Id.String() + "/withdrawal", key, ""},
		"POST /v1/orders/{id}/hold":                         {order, order + "/hold", key, `{"reason":"boat delayed"}`},
		"POST /v1/orders/{id}/release":                      {order, order + "/release", key, ""},
		"POST /v1/orders/{id}/cancellation":                 {order, order + "/cancellation", key, `{"reason":"changed my mind"}`},
		"POST /v1/orders/{id}/shipment":                     {order, order + "/shipment", b.shop, `{}`},
		"PUT /v1/orders/{id}/operations/{operation}/record": {order, order + "/operations/" + strings.ReplaceAll(o.Operations[0].Key, " ", "%20") + "/record", b.shop, work},
		"PUT /v1/shop/profile":                              {"/v1/shop/profile", "/v1/shop/profile", b.shop, profile},
		"PUT /v1/shop/materials":                            {"/v1/shop/materials", "/v1/shop/materials", b.shop, materials},
		"PATCH /v1/molds/{id}":                              {mold, mold, b.shop, `{"location":"rack 2"}`},
	}
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	for path, item := range doc.Paths.Map() {
		for method, operation := range item.Operations() {
			if operation.Parameters.GetByInAndName("header", "If-Match") == nil {
				continue
			}
			name := method + " " + path
			c, ok := routes[name]
			if !ok {
				t.Errorf("%s takes If-Match and is not tried", name)
				continue
			}
			delete(routes, name)
			_, tag := read(c.thing, c.key)
			a := b.send(method, c.path, c.key, c.body, "If-Match", `"99"`)
			a.wants(t, 412, "precondition-failed")
			if got := a.header.Get("ETag"); got != tag || !strings.Contains(a.problem(t).Detail, tag) {
				t.Errorf("%s: ETag %s, %q, want %s in both", name, got, a.problem(t).Detail, tag)
			}
			odd := b.send(method, c.path, c.key, c.body, "If-Match", `"x"`)
			odd.wants(t, 412, "precondition-failed")
			if got := odd.header.Get("ETag"); got != "" {
				t.Errorf("%s: a tag that is none of ours is told the version %s", name, got)
			}
			if _, now := read(c.thing, c.key); now != tag {
				t.Errorf("%s: refused, and %s became %s", name, tag, now)
			}
		}
	}
	for name := range routes {
		t.Errorf("%s takes no If-Match", name)
	}
	_, other := b.dealer("Saltmarsh", record.RoleDealer)
	if a := b.send(http.MethodPost, order+"/hold", other, `{"reason":"x"}`, "If-Match", `"99"`); a.status != http.StatusNotFound || a.header.Get("ETag") != "" {
		t.Errorf("another's order: %d, ETag %s", a.status, a.header.Get("ETag"))
	}
}

// TestChangesOfAnOrderRepeat: hold, release and cancellation sent again with their
// Idempotency-Key get the first answer, byte for byte, and happen once; without the
// key the second is told that the order changed.
func TestChangesOfAnOrderRepeat(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater", record.RoleDealer)
	at := "/v1/orders/" + b.order(key).Id.String()
	events := func() int {
		return strings.Count(string(b.send(http.MethodGet, at+"/events", key, "").body), `"type":"order.`)
	}
	for i, c := range []struct{ step, body string }{{"hold", `{"reason":"boat delayed"}`}, {"release", ""}, {"cancellation", `{"reason":"boat sold"}`}} {
		before := events()
		match := fmt.Sprintf(`"%d"`, i+1)
		first := b.send(http.MethodPost, at+"/"+c.step, key, c.body, "If-Match", match, "Idempotency-Key", c.step)
		again := b.send(http.MethodPost, at+"/"+c.step, key, c.body, "If-Match", match, "Idempotency-Key", c.step)
		if first.status != http.StatusOK || again.status != http.StatusOK || string(first.body) != string(again.body) || again.header.Get("ETag") != fmt.Sprintf(`"%d"`, i+2) {
			t.Errorf("%s: %d %s, again %d %s", c.step, first.status, first.body, again.status, again.body)
		}
		b.send(http.MethodPost, at+"/"+c.step, key, c.body, "If-Match", match).wants(t, 412, "precondition-failed")
		if n := events() - before; n != 1 {
			t.Errorf("%s happened %d times", c.step, n)
		}
	}
}
