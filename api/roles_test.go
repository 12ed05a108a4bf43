package api

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
	"hatchwright/openapi/client"
	"hatchwright/service"
	"hatchwright/service/record"
)

// below puts names under a pointer.
func below(at, names string) (out []string) {
	for _, n := range strings.Fields(names) {
		out = append(out, at+"/"+n)
	}
	return out
}

// What each role is told, by pointer: what stands there is told whole, what stands
// nowhere is not told. * is any row. This is the contract, written by hand; the
// document and the answers are both held against it.
var (
	ruled      = "configuration digest verdict findings"
	front      = slices.Concat(below("", ruled+" geometry cautions"), below("/laminate", "lid/mass receiver/mass"), below("/bill/totals", "price_each price"), below("/lead_time", "promise"))
	dealers    = slices.Concat(front, below("/lead_time", "p50 p80 p95 near_molds"))
	aProblem   = below("", ruled+" type title status detail request_id errors")
	summary    = "id dealer_id name reference supersedes created_at units pattern verdict digest"
	aQuote     = "id dealer_id state version reference revises order_id promise valid_until total created_at updated_at"
	quoteLines = slices.Concat(below("/lines/*", "configuration_id digest name quantity promise near_molds"), below("/lines/*/lead_time", "p50 p80 p95"), below("/lines/*/totals", "price_each price"))
	anOrder    = below("", "id dealer_id quote_id state version purchase_reference replaces promise total held_from held_by reason carrier tracking created_at updated_at")
	eventData  = below("/data", "order_id quote_id webhook_id dealer_id state version reference purchase_reference revises replaces replaced_by promise promised_before valid_until total reason carrier tracking url")
	anEvent    = slices.Concat(below("", "id type timestamp"), eventData)
	aMold      = below("", "id dealer_id tag configuration_id part set length width least_radius state")
	whole      = []string{""}
)

func under(at string, list []string) (out []string) {
	for _, p := range list {
		out = append(out, at+p)
	}
	return out
}

func page(list []string) []string {
	return slices.Concat(under("/items/*", list), []string{"/next_cursor"})
}

// toldTo is the contract by route; storefronts and dealers. nil: the role may not ask.
var toldTo = map[string][2][]string{
	"POST /v1/check":                                 {below("", ruled), below("", ruled)},
	"POST /v1/derive":                                {front, dealers},
	"POST /v1/derive/batch":                          {slices.Concat(under("/results/*/derivation", front), under("/results/*/problem", aProblem)), slices.Concat(under("/results/*/derivation", dealers), under("/results/*/problem", aProblem))},
	"POST /v1/limits":                                {below("", ruled+" numbers choices"), below("", ruled+" numbers choices")},
	"POST /v1/drawings/{drawing}":                    {whole, whole},
	"POST /v1/configurations":                        {nil, below("", summary+" configuration")},
	"GET /v1/configurations":                         {nil, page(below("", summary))},
	"GET /v1/configurations/{id}":                    {nil, below("", summary+" configuration")},
	"GET /v1/configurations/{id}/derivation":         {nil, dealers},
	"GET /v1/configurations/{id}/drawings":           {nil, whole},
	"GET /v1/configurations/{id}/drawings/{drawing}": {nil, whole},
	"POST /v1/quotes":                                {nil, slices.Concat(below("", aQuote), quoteLines)},
	"GET /v1/quotes":                                 {nil, page(below("", aQuote))},
	"GET /v1/quotes/{id}":                            {nil, slices.Concat(below("", aQuote), quoteLines)},
	"POST /v1/quotes/{id}/withdrawal":                {nil, slices.Concat(below("", aQuote), quoteLines)},
	"POST /v1/orders":                                {nil, slices.Concat(anOrder, quoteLines)},
	"GET /v1/orders":                                 {nil, page(anOrder)},
	"GET /v1/orders/{id}":                            {nil, slices.Concat(anOrder, quoteLines)},
	"GET /v1/orders/{id}/events":                     {nil, page(slices.Concat(below("", "id type timestamp by"), eventData))},
	"POST /v1/orders/{id}/hold":                      {nil, anOrder},
	"POST /v1/orders/{id}/release":                   {nil, anOrder},
	"POST /v1/orders/{id}/cancellation":              {nil, anOrder},
	"POST /v1/webhooks":                              {nil, whole},
	"GET /v1/webhooks":                               {nil, whole},
	"DELETE /v1/webhooks/{id}":                       {nil, whole},
	"POST /v1/webhooks/{id}/secret":                  {nil, whole},
	"GET /v1/webhooks/{id}/deliveries":               {nil, whole},
	"POST /v1/deliveries/{id}/resend":                {nil, whole},
	"GET /v1/events":                                 {nil, whole},
	"GET /v1/molds":                                  {nil, page(aMold)},
	"GET /v1/molds/{id}":                             {nil, aMold},
}

// covers reports whether a pointer lies at or below one of a list.
func covers(list []string, pointer string) bool {
	asked := strings.Split(pointer, "/")
	return slices.ContainsFunc(list, func(p string) bool {
		parts := strings.Split(p, "/")
		if len(parts) > len(asked) {
			return false
		}
		for i, part := range parts {
			if part != "*" && part != asked[i] {
				return false
			}
		}
		return true
	})
}

// leaves are the pointers of everything in a JSON value that holds nothing further.
func leaves(t *testing.T, body []byte) (out []string) {
	t.Helper()
	var tree any
	if err := json.Unmarshal(body, &tree); err != nil {
		t.Fatalf("%v: %.300s", err, body)
	}
	var walk func(at string, v any)
	walk = func(at string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, x := range v {
				walk(at+"/"+k, x)
			}
		case []any:
			for i, x := range v {
				walk(fmt.Sprint(at, "/", i), x)
			}
		default:
			out = append(out, at)
		}
	}
	walk("", tree)
	return out
}

// list writes a view as pointers: of what is told whole, the pointer to it.
func (v *view) list(at string) (out []string) {
	switch {
	case v == nil:
		return []string{at}
	case v.members == nil:
		return v.each.list(at + "/*")
	}
	for name, sub := range v.members {
		out = append(out, sub.list(at+"/"+name)...)
	}
	return out
}

func sameSet(t *testing.T, what string, got, want []string) {
	t.Helper()
	for _, p := range got {
		if !slices.Contains(want, p) {
			t.Errorf("%s: %q is told, and the contract does not tell it", what, p)
		}
	}
	for _, p := range want {
		if !slices.Contains(got, p) {
			t.Errorf("%s: the contract tells %q, and it is not told", what, p)
		}
	}
}

// TestDocumentTellsRoles holds the document against the table of routes, the drawings
// and the contract above, each both ways.
func TestDocumentTellsRoles(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	asked := map[string]bool{}
	for _, r := range routes {
		if r.role == open {
			continue
		}
		name := r.method + " " + r.path
		asked[name] = true
		t.Run(name, func(t *testing.T) {
			item := doc.Paths.Value(r.path)
			if got := item.GetOperation(r.method).Extensions[roleKey]; got != string(r.role) {
				t.Errorf("x-role %v, the table of routes has %s", got, r.role)
			}
			op, err := newOperation(doc, item, r)
			if err != nil {
				t.Fatal(err)
			}
			for i, role := range parted {
				want := toldTo[name][i]
				if may := reaches(role, r.role); may != (want != nil) {
					t.Errorf("a %s may ask: %t; the contract: %t", role, may, want != nil)
				}
				for status, s := range op.answers {
					if want != nil {
						sameSet(t, fmt.Sprintf("a %s, %d", role, status), s[role].list(""), want)
					}
				}
			}
		})
	}
	for name := range toldTo {
		if !asked[name] {
			t.Errorf("the contract has %s, which is no route", name)
		}
	}
	for i, role := range parted {
		sameSet(t, fmt.Sprintf("a problem for a %s", role), mustTold(t).problem[role].list(""), aProblem)
		if i == 1 {
			sameSet(t, "an event for a dealer", mustTold(t).event[role].list(""), anEvent)
		}
	}
	open := map[string]bool{}
	for _, name := range doc.Components.Parameters["Drawing"].Value.Extensions[rolesKey].(map[string]any)["storefront"].([]any) {
		open[name.(string)] = true
	}
	for _, name := range []string{"plan", "section", "exploded", "model-parts", "model-lid", "model-receiver", "fit", "stack", "router", "mold-lid", "mold-receiver", "sheet-1", "template-lid", "model", "model-mold-lid", "model-mold-receiver"} {
		if for_ := service.RoleOfPicture(name); (for_ == record.RoleStorefront) != open[name] {
			t.Errorf("the drawing %s is for a %s; the document tells it everybody: %t", name, for_, open[name])
		}
		delete(open, name)
	}
	for name := range open {
		t.Errorf("the document tells everybody the drawing %s, which is none", name)
	}
}

func mustTold(t *testing.T) toldSchemas {
	t.Helper()
	s, err := schemasTold()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// shopWords are what an answer to others must not have in it: the money that only the
// shop may know, as it stands in the shop's own answers.
func shopWords(t *testing.T, derivation []byte) (out []string) {
	t.Helper()
	var d client.Derivation
	strict(t, derivation, &d)
	known := map[string]bool{d.Bill.Totals.Price.Amount: true, d.Bill.Totals.PriceEach.Amount: true, "0.00": true}
	add := func(m client.Money) {
		if !known[m.Amount] {
			known[m.Amount] = true
			out = append(out, `"`+m.Amount+`"`)
		}
	}
	totals := d.Bill.Totals
	for _, m := range []*client.Money{totals.Material, totals.Labor, totals.Overhead, totals.Mold, totals.Margin, d.Bill.Spend} {
		add(*m)
	}
	for _, l := range d.Bill.Lines {
		add(l.PricePerPack)
		add(l.Cost)
	}
	for _, l := range d.Bill.Labor {
		add(l.Rate)
		add(l.Cost)
	}
	if len(out) < 20 {
		t.Fatalf("only %d amounts to look for", len(out))
	}
	return out
}

// TestEveryRouteByRole asks every route with every role, and fails on anything in an
// answer that the contract above does not tell that role: bodies, problems, the rows
// of a batch, calls of endpoints, the stream, tables, drawings and headers. The shop is
// told all that the document has, so that there is something to keep from the others.
func TestEveryRouteByRole(t *testing.T) {
	b := newBenchWith(t, nearby)
	ctx := context.Background()
	b.busy()
	dealer, key := b.dealer("Fennimore Yachts", record.RoleDealer)
	window := memberText(t, b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, `{"role":"storefront","name":"web"}`).body, "key")
	keys := map[record.Role]string{record.RoleStorefront: window, record.RoleDealer: key, record.RoleShop: b.shop}
	receiver := &endpoint{status: http.StatusNoContent}
	server := httptest.NewServer(receiver)
	t.Cleanup(server.Close)

	late := strings.Replace(detailed, `"needed_by": null`, `"needed_by": "2026-12-01"`, 1)
	none := strings.Replace(small, `{`, `{"lid":{"gap":0.2},`, 1)
	secrets := shopWords(t, b.send(http.MethodPost, "/v1/derive", b.shop, late).body)

	// judge holds an answer against what a role may be told.
	judge := func(t *testing.T, role record.Role, want []string, a answer) {
		t.Helper()
		if role == record.RoleShop {
			return
		}
		if strings.HasPrefix(a.header.Get("Content-Type"), problemType) {
			want = aProblem
		}
		if strings.Contains(a.header.Get("Content-Type"), "json") {
			for _, p := range leaves(t, a.body) {
				if !covers(want, p) {
					t.Errorf("a %s is told %s", role, p)
				}
			}
		}
		for _, s := range secrets {
			if strings.Contains(string(a.body), s) {
				t.Errorf("a %s is told %s somewhere: %.300s", role, s, a.body)
			}
		}
	}
	forbidden := func(t *testing.T, role, need record.Role, a answer) {
		t.Helper()
		if p := a.problem(t); a.status != http.StatusForbidden || p.Type != "/problems/forbidden" || !strings.Contains(p.Detail, "takes a "+string(need)+" key") {
			t.Errorf("a %s gets %d %s, want 403 that says it takes a %s key", role, a.status, a.body, need)
		}
		judge(t, role, nil, a)
	}

	// What is asked of each route that others than the shop may ask; ids are of things
	// that the role may have, made anew for each.
	type ask struct{ path, body, match string }
	made := func(path, body string) string {
		t.Helper()
		a := b.send(http.MethodPost, path, key, body)
		if a.status != http.StatusCreated {
			t.Fatalf("%s: %d %s", path, a.status, a.body)
		}
		return memberText(t, a.body, "id")
	}
	configuration := func() string { return made("/v1/configurations", `{"configuration":`+late+`}`) }
	quote := func() string { return made("/v1/quotes", `{"lines":[{"configuration":`+late+`}]}`) }
	order := func() string { return made("/v1/orders", `{"quote_id":"`+quote()+`"}`) }
	change := func(o, what string) {
		t.Helper()
		if a := b.send(http.MethodPost, "/v1/orders/"+o+"/"+what, key, `{"reason":"boat delayed"}`, "If-Match", "*"); a.status != http.StatusOK {
			t.Fatalf("%s: %d %s", what, a.status, a.body)
		}
	}
	hook := func() string { return made("/v1/webhooks", `{"url":"`+server.URL+`"}`) }
	delivery := func() string {
		t.Helper()
		h := hook()
		receiver.answer(http.StatusServiceUnavailable)
		order()
		if _, err := b.service.DeliverDue(ctx); err != nil {
			t.Fatal(err)
		}
		receiver.answer(http.StatusNoContent)
		return b.listed("/v1/webhooks/"+h+"/deliveries", key)[0]
	}
	mold := b.mold(b.keepAs(key, small), "lid", `,"note":"chipped","location":"rack 3"`).Id.String()
	worked := func() string { // an order with a record of the floor
		t.Helper()
		o := order()
		var all client.Order
		strict(t, b.send(http.MethodGet, "/v1/orders/"+o, b.shop, "").body, &all)
		if a := b.send(http.MethodPut, "/v1/orders/"+o+"/operations/"+all.Operations[0].Key+"/record", b.shop, `{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T12:30:00Z","hours":0.7}`); a.status != http.StatusOK {
			t.Fatalf("%d %s", a.status, a.body)
		}
		return o
	}
	asks := map[string]func() ask{
		"POST /v1/check":                                 func() ask { return ask{"/v1/check", late, ""} },
		"POST /v1/derive":                                func() ask { return ask{"/v1/derive", late, ""} },
		"POST /v1/derive/batch":                          func() ask { return ask{"/v1/derive/batch", batch(late, none, `{"units":"mm"}`), ""} },
		"POST /v1/limits":                                func() ask { return ask{"/v1/limits", small, ""} },
		"POST /v1/drawings/{drawing}":                    func() ask { return ask{"/v1/drawings/plan", small, ""} },
		"POST /v1/configurations":                        func() ask { return ask{"/v1/configurations", `{"configuration":` + late + `}`, ""} },
		"GET /v1/configurations":                         func() ask { return ask{"/v1/configurations", "", ""} },
		"GET /v1/configurations/{id}":                    func() ask { return ask{"/v1/configurations/" + configuration(), "", ""} },
		"GET /v1/configurations/{id}/derivation":         func() ask { return ask{"/v1/configurations/" + configuration() + "/derivation", "", ""} },
		"GET /v1/configurations/{id}/drawings":           func() ask { return ask{"/v1/configurations/" + configuration() + "/drawings", "", ""} },
		"GET /v1/configurations/{id}/drawings/{drawing}": func() ask { return ask{"/v1/configurations/" + configuration() + "/drawings/section", "", ""} },
		"POST /v1/quotes": func() ask {
			return ask{"/v1/quotes", `{"lines":[{"configuration":` + late + `},{"configuration":` + small + `}]}`, ""}
		},
		"GET /v1/quotes":                    func() ask { return ask{"/v1/quotes", "", ""} },
		"GET /v1/quotes/{id}":               func() ask { return ask{"/v1/quotes/" + quote(), "", ""} },
		"POST /v1/quotes/{id}/withdrawal":   func() ask { return ask{"/v1/quotes/" + quote() + "/withdrawal", "", "*"} },
		"POST /v1/orders":                   func() ask { return ask{"/v1/orders", `{"quote_id":"` + quote() + `"}`, ""} },
		"GET /v1/orders":                    func() ask { return ask{"/v1/orders", "", ""} },
		"GET /v1/orders/{id}":               func() ask { return ask{"/v1/orders/" + worked(), "", ""} },
		"GET /v1/orders/{id}/events":        func() ask { return ask{"/v1/orders/" + worked() + "/events", "", ""} },
		"POST /v1/orders/{id}/hold":         func() ask { return ask{"/v1/orders/" + order() + "/hold", `{"reason":"boat delayed"}`, "*"} },
		"POST /v1/orders/{id}/release":      func() ask { o := order(); change(o, "hold"); return ask{"/v1/orders/" + o + "/release", "", "*"} },
		"POST /v1/orders/{id}/cancellation": func() ask { return ask{"/v1/orders/" + order() + "/cancellation", `{"reason":"boat sold"}`, "*"} },
		"POST /v1/webhooks":                 func() ask { return ask{"/v1/webhooks", `{"url":"` + server.URL + `/anybody"}`, ""} },
		"GET /v1/webhooks":                  func() ask { return ask{"/v1/webhooks", "", ""} },
		"DELETE /v1/webhooks/{id}":          func() ask { return ask{"/v1/webhooks/" + hook(), "", ""} },
		"POST /v1/webhooks/{id}/secret":     func() ask { return ask{"/v1/webhooks/" + hook() + "/secret", "", ""} },
		"GET /v1/webhooks/{id}/deliveries":  func() ask { return ask{"/v1/webhooks/" + hook() + "/deliveries", "", ""} },
		"POST /v1/deliveries/{id}/resend":   func() ask { return ask{"/v1/deliveries/" + delivery() + "/resend", "", ""} },
		"GET /v1/molds":                     func() ask { return ask{"/v1/molds", "", ""} },
		"GET /v1/molds/{id}":                func() ask { return ask{"/v1/molds/" + mold, "", ""} },
	}
	for _, r := range routes {
		name := r.method + " " + r.path
		if r.role == open || r.path == eventsPath { // the stream: below
			continue
		}
		for i, role := range append(slices.Clone(parted), record.RoleShop) {
			t.Run(name+" as "+string(role), func(t *testing.T) {
				if !reaches(role, r.role) {
					path := strings.NewReplacer("{id}", mold, "{drawing}", "plan", "{operation}", "1-x", "{version}", "1").Replace(r.path)
					forbidden(t, role, r.role, b.send(r.method, path, keys[role], ""))
					return
				}
				make := asks[name]
				if make == nil {
					if role != record.RoleShop {
						t.Fatal("this is not asked: add it to asks, and what it tells to the contract")
					}
					return
				}
				q := make()
				var headers []string
				if q.match != "" {
					headers = []string{"If-Match", q.match}
				}
				a := b.send(r.method, q.path, keys[role], q.body, headers...)
				if a.status >= 300 {
					t.Fatalf("%d %s", a.status, a.body)
				}
				if role == record.RoleShop {
					b.toldWhole(t, r, a)
					return
				}
				judge(t, role, toldTo[name][i], a)
			})
		}
	}

	t.Run("problems", func(t *testing.T) {
		for role, k := range keys {
			judge(t, role, nil, b.send(http.MethodPost, "/v1/derive", k, none))
			judge(t, role, nil, b.send(http.MethodPost, "/v1/derive", k, `{"units":"mm"}`))
			judge(t, role, nil, b.send(http.MethodPost, "/v1/drawings/plan", k, none))
		}
		var whole map[string]json.RawMessage
		if err := json.Unmarshal(b.send(http.MethodPost, "/v1/derive", b.shop, none).body, &whole); err != nil || whole["revision"] == nil {
			t.Errorf("the shop's problem has no revision: %v %v", err, slices.Sorted(maps.Keys(whole)))
		}
	})

	t.Run("what the query asks for", func(t *testing.T) {
		for _, role := range parted {
			for _, query := range []string{"shorten=true", "stock=true"} {
				forbidden(t, role, record.RoleShop, b.send(http.MethodPost, "/v1/derive?"+query, keys[role], small))
				forbidden(t, role, record.RoleShop, b.send(http.MethodPost, "/v1/derive/batch?"+query, keys[role], batch(small)))
			}
		}
	})

	t.Run("tables", func(t *testing.T) {
		at := "/v1/configurations/" + configuration() + "/derivation"
		forbidden(t, record.RoleDealer, record.RoleShop, b.send(http.MethodGet, at, key, "", "Accept", "text/csv"))
		other := map[string]string{"amount": "total", "currency": "total"} // named otherwise in JSON
		for _, column := range orderColumns {
			if n := other[column]; n != "" {
				column = n
			}
			if !covers(anOrder, "/"+column) {
				t.Errorf("the table of orders has %s", column)
			}
		}
		judge(t, record.RoleDealer, nil, b.send(http.MethodGet, "/v1/orders", key, "", "Accept", "text/csv"))
	})

	t.Run("drawings", func(t *testing.T) {
		id := configuration()
		at := "/v1/configurations/" + id + "/drawings"
		var all, mine client.DrawingList
		strict(t, b.send(http.MethodGet, at, b.shop, "").body, &all)
		strict(t, b.send(http.MethodGet, at, key, "").body, &mine)
		listed := map[string]bool{}
		for _, d := range mine.Items {
			listed[d.Name] = true
		}
		kept := 0
		for _, d := range all.Items {
			may := slices.Contains([]string{"plan", "section", "exploded", "model-parts", "model-lid", "model-receiver"}, d.Name)
			if listed[d.Name] != may {
				t.Errorf("%s is listed for a dealer: %t", d.Name, listed[d.Name])
			}
			for role, a := range map[record.Role]answer{record.RoleDealer: b.send(http.MethodGet, at+"/"+d.Name, key, ""), record.RoleStorefront: b.send(http.MethodPost, "/v1/drawings/"+d.Name, window, late)} {
				if !may {
					forbidden(t, role, record.RoleShop, a)
					kept++
					continue
				}
				if a.status != http.StatusOK || strings.Contains(string(a.body), "USD") || strings.HasPrefix(d.Name, "model") && strings.Contains(strings.ToLower(string(a.body)), "mold") {
					t.Errorf("%s for a %s: %d", d.Name, role, a.status)
				}
			}
		}
		if kept < 12 {
			t.Errorf("only %d refused", kept)
		}
		if p := b.send(http.MethodGet, at+"/portrait", key, "").problem(t); p.Status != http.StatusNotFound || strings.Contains(p.Detail, "mold") || !strings.Contains(p.Detail, "model-parts") {
			t.Errorf("an unknown drawing: %+v", p)
		}
	})

	t.Run("headers", func(t *testing.T) {
		if tag := b.send(http.MethodGet, "/v1/molds/"+mold, key, "").header.Get("ETag"); tag != "" {
			t.Errorf("a dealer is told the mold's version %s", tag)
		}
		if b.send(http.MethodGet, "/v1/molds/"+mold, b.shop, "").header.Get("ETag") == "" {
			t.Error("the shop is not told the mold's version")
		}
	})

	t.Run("repeats", func(t *testing.T) {
		q := quote()
		body := `{"quote_id":"` + q + `"}`
		first := b.send(http.MethodPost, "/v1/orders", key, body, "Idempotency-Key", "by role")
		again := b.send(http.MethodPost, "/v1/orders", key, body, "Idempotency-Key", "by role")
		if first.status != http.StatusCreated || string(first.body) != string(again.body) {
			t.Errorf("%d %s, then %d %s", first.status, first.body, again.status, again.body)
		}
		judge(t, record.RoleDealer, toldTo["POST /v1/orders"][1], again)
	})

	t.Run("refused orders", func(t *testing.T) {
		for kind, p := range map[string]*problem{"mold": problemMoldTaken, "stock": problemStockTaken} {
			if p.outside == "" {
				t.Errorf("%s: the detail tells of the shop's molds and stock", kind)
			}
		}
	})

	t.Run("calls and stream", func(t *testing.T) {
		hook()
		stream := b.stream(key, "")
		own := b.send(http.MethodPost, "/v1/webhooks", b.shop, `{"url":"`+server.URL+`/shop"}`)
		if own.status != http.StatusCreated {
			t.Fatalf("%d %s", own.status, own.body)
		}
		receiver.mu.Lock()
		receiver.calls, receiver.bodies = nil, nil
		receiver.mu.Unlock()
		worked()
		for range 50 {
			if n, err := b.service.DeliverDue(ctx); err != nil {
				t.Fatal(err)
			} else if n == 0 {
				break
			}
		}
		receiver.mu.Lock()
		defer receiver.mu.Unlock()
		recorded := map[record.Role]int{}
		for i, body := range receiver.bodies {
			role := record.RoleDealer
			if strings.HasSuffix(receiver.calls[i].URL.Path, "/anybody") { // made above, by a dealer and by the shop
				continue
			}
			if strings.HasSuffix(receiver.calls[i].URL.Path, "/shop") {
				role = record.RoleShop
			}
			if strings.Contains(string(body), `"operation.recorded"`) {
				recorded[role]++
				if told := strings.Contains(string(body), `"hours":0.7`); told != (role == record.RoleShop) {
					t.Errorf("the call of a %s tells the hours: %t: %s", role, told, body)
				}
			}
			judge(t, role, anEvent, answer{header: http.Header{"Content-Type": {jsonType}}, body: body})
		}
		if recorded[record.RoleDealer] == 0 || recorded[record.RoleShop] == 0 {
			t.Errorf("calls of the record: %v", recorded)
		}
		for streamed := 0; streamed == 0; {
			select {
			case e, open := <-stream.events:
				if !open {
					t.Fatal("the stream ended before a record of the floor")
				}
				if e.comment {
					continue
				}
				body, err := json.Marshal(e.data)
				if err != nil {
					t.Fatal(err)
				}
				judge(t, record.RoleDealer, anEvent, answer{header: http.Header{"Content-Type": {jsonType}}, body: body})
				if e.kind == "operation.recorded" {
					streamed++
				}
			case <-time.After(time.Minute): // far longer than it takes
				t.Fatal("no record of the floor in the stream")
			}
		}
	})
}

// toldWhole fails on a member of an object with x-roles that the shop is not told.
func (b *bench) toldWhole(t *testing.T, r route, a answer) {
	t.Helper()
	response := b.check.doc.Paths.Value(r.path).GetOperation(r.method).Responses.Status(a.status)
	if response == nil || response.Value.Content[jsonType] == nil || len(a.body) == 0 || a.body[0] != '{' {
		return
	}
	var tree any
	if err := json.Unmarshal(a.body, &tree); err != nil {
		t.Fatal(err)
	}
	var walk func(at string, ref *openapi3.SchemaRef, v any)
	walk = func(at string, ref *openapi3.SchemaRef, v any) {
		s := ref.Value
		for _, of := range s.AllOf {
			walk(at, of, v)
		}
		switch v := v.(type) {
		case map[string]any:
			_, parted := s.Extensions[rolesKey]
			for name, sub := range s.Properties {
				if x, there := v[name]; there {
					walk(at+"/"+name, sub, x)
				} else if parted && ref.Ref != "#/components/schemas/EventData" && ref.Ref != "#/components/schemas/Problem" { // these say only what applies
					t.Errorf("the shop is not told %s/%s", at, name)
				}
			}
		case []any:
			for _, x := range v {
				walk(at+"/*", s.Items, x)
			}
		}
	}
	walk("", response.Value.Content[jsonType].Schema, tree)
}

// TestTell cuts JSON that the service writes, and some that it does not.
func TestTell(t *testing.T) {
	v := &view{members: map[string]*view{"a": nil, "b": {each: &view{members: map[string]*view{"c": nil}}}, "d": {members: map[string]*view{"e": nil}}}}
	s := views{record.RoleStorefront: v}
	for text, want := range map[string]string{
		`{}`: `{}`,
		`{"x":{"a":1},"a":{"x":[1,"}",null]},"y":2}`:                          `{"a":{"x":[1,"}",null]}}`,
		`{"x":"\"a\":","a":1.50}`:                                             `{"a":1.50}`,
		`{"b":[{"c":1,"x":2},{"x":[{}]},{"c":"\\"}],"x":true}`:                `{"b":[{"c":1},{},{"c":"\\"}]}`,
		"{\n \"x\" : [ 1 , 2 ] ,\n \"d\" : { \"x\" : {} , \"e\" : [ 1 ] }\n}": `{"d":{"e":[ 1 ]}}`,
		`{"d":null,"b":[],"x":null}`:                                          `{"d":null,"b":[]}`,
		`{"\u0061":1,"a":2}`:                                                  `{"a":2}`,
	} {
		got, err := s.told(record.RoleStorefront, []byte(text))
		if err != nil || string(got) != want {
			t.Errorf("of %s is told %s, %v; want %s", text, got, err, want)
		}
		if got, err := s.told(record.RoleShop, []byte(text)); err != nil || string(got) != text {
			t.Errorf("the shop is told %s, %v of %s", got, err, text)
		}
		if got, err := s.told("", []byte(text)); err != nil || string(got) != want {
			t.Errorf("who has no role is told %s, %v of %s", got, err, text)
		}
	}
	for _, text := range []string{`{"x":1`, `{"a"`, `{"a":1}}`, `{"d":[1]}`, `{"x":[}`, `{"x":"`, `{"a":}`, `{1:2}`} {
		if got, err := s.told(record.RoleStorefront, []byte(text)); err == nil {
			t.Errorf("%s is told as %s", text, got)
		}
	}
}
