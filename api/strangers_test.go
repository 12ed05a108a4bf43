package api

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

var strangers = flag.Int("strangers", 3000, "requests of the test with another dealer's ids; each is sent twice")

// asked is a store that notes what is asked of it, in order: two requests that ask
// the same take the same way through the program.
type asked struct {
	store.Store
	log *callLog
}

func (a asked) note(what string) { a.log.note(what) }

// callLog is filled by calls that may be made at once: deliveries are.
type callLog struct {
	mu    sync.Mutex
	calls []string
}

func (l *callLog) note(what string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.calls = append(l.calls, what)
}

// take returns what was noted and forgets it.
func (l *callLog) take() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := strings.Join(l.calls, ", ")
	l.calls = l.calls[:0]
	return out
}

func (a asked) Dealers() store.Dealers { a.note("dealers"); return a.Store.Dealers() }
func (a asked) Keys() store.Keys       { a.note("keys"); return a.Store.Keys() }
func (a asked) Configurations() store.Configurations {
	a.note("configurations")
	return a.Store.Configurations()
}
func (a asked) Quotes() store.Quotes         { a.note("quotes"); return a.Store.Quotes() }
func (a asked) Orders() store.Orders         { a.note("orders"); return a.Store.Orders() }
func (a asked) Events() store.Events         { a.note("events"); return a.Store.Events() }
func (a asked) Webhooks() store.Webhooks     { a.note("webhooks"); return a.Store.Webhooks() }
func (a asked) Deliveries() store.Deliveries { a.note("deliveries"); return a.Store.Deliveries() }
func (a asked) Molds() store.Molds           { a.note("molds"); return a.Store.Molds() }
func (a asked) Stock() store.Stock           { a.note("stock"); return a.Store.Stock() }
func (a asked) Plans() store.Plans           { a.note("plans"); return a.Store.Plans() }
func (a asked) Audit() store.Audit           { a.note("audit"); return a.Store.Audit() }
func (a asked) Retention() store.Retention   { a.note("retention"); return a.Store.Retention() }
func (a asked) Allowances() store.Allowances { a.note("allowances"); return a.Store.Allowances() }
func (a asked) Idempotency() store.Idempotency {
	a.note("idempotency")
	return a.Store.Idempotency()
}

func (a asked) InTx(ctx context.Context, fn func(store.Tx) error) error {
	a.note("begin")
	err := a.Store.InTx(ctx, func(tx store.Tx) error { return fn(askedTx{tx, a}) })
	a.note(fmt.Sprintf("end, failed: %t", err != nil))
	return err
}

type askedTx struct {
	store.Tx
	a asked
}

func (t askedTx) Dealers() store.Dealers { t.a.note("tx dealers"); return t.Tx.Dealers() }
func (t askedTx) Keys() store.Keys       { t.a.note("tx keys"); return t.Tx.Keys() }
func (t askedTx) Configurations() store.Configurations {
	t.a.note("tx configurations")
	return t.Tx.Configurations()
}
func (t askedTx) Quotes() store.Quotes         { t.a.note("tx quotes"); return t.Tx.Quotes() }
func (t askedTx) Orders() store.Orders         { t.a.note("tx orders"); return t.Tx.Orders() }
func (t askedTx) Events() store.Events         { t.a.note("tx events"); return t.Tx.Events() }
func (t askedTx) Webhooks() store.Webhooks     { t.a.note("tx webhooks"); return t.Tx.Webhooks() }
func (t askedTx) Deliveries() store.Deliveries { t.a.note("tx deliveries"); return t.Tx.Deliveries() }
func (t askedTx) Molds() store.Molds           { t.a.note("tx molds"); return t.Tx.Molds() }
func (t askedTx) Stock() store.Stock           { t.a.note("tx stock"); return t.Tx.Stock() }
func (t askedTx) Plans() store.Plans           { t.a.note("tx plans"); return t.Tx.Plans() }
func (t askedTx) Audit() store.Audit           { t.a.note("tx audit"); return t.Tx.Audit() }
func (t askedTx) Retention() store.Retention   { t.a.note("tx retention"); return t.Tx.Retention() }
func (t askedTx) Allowances() store.Allowances { t.a.note("tx allowances"); return t.Tx.Allowances() }
func (t askedTx) Idempotency() store.Idempotency {
	t.a.note("tx idempotency")
	return t.Tx.Idempotency()
}

// business is a dealer with something of everything.
type business struct {
	dealer, key, storefront string
	ids                     map[string][]string // by what they name
	references              []string
	operations              []string
	used                    string // an idempotency key it has used
}

// business sets a dealer up and lets it work.
func (b *bench) business(name, reference string, receiver string) business {
	b.t.Helper()
	var w business
	w.dealer, w.key = b.dealer(name, record.RoleDealer)
	made := func(a answer) string {
		b.t.Helper()
		if a.status != http.StatusCreated {
			b.t.Fatalf("%d %s", a.status, a.body)
		}
		return memberText(b.t, a.body, "id")
	}
	k := b.send(http.MethodPost, "/v1/dealers/"+w.dealer+"/keys", b.shop, `{"role":"storefront","name":"`+name+` window"}`)
	w.ids = map[string][]string{"dealer": {w.dealer}, "key": {made(k)}}
	w.storefront = memberText(b.t, k.body, "key")
	w.ids["webhook"] = []string{made(b.send(http.MethodPost, "/v1/webhooks", w.key, `{"url":"`+receiver+`"}`))}
	w.used = reference + "-placed"
	for i := range 4 {
		about := fmt.Sprintf("%s-%d", reference, i)
		w.references = append(w.references, about)
		configuration := made(b.send(http.MethodPost, "/v1/configurations", w.key, `{"name":"`+about+`","configuration":`+small+`}`))
		w.ids["configuration"] = append(w.ids["configuration"], configuration)
		quote := made(b.send(http.MethodPost, "/v1/quotes", w.key, fmt.Sprintf(`{"reference":%q,"lines":[{"configuration_id":%q}]}`, about, configuration)))
		w.ids["quote"] = append(w.ids["quote"], quote)
		if i == 0 {
			continue // stays open
		}
		o := b.send(http.MethodPost, "/v1/orders", w.key, fmt.Sprintf(`{"quote_id":%q,"purchase_reference":%q}`, quote, about), "Idempotency-Key", fmt.Sprintf("%s-%d", w.used, i))
		order := made(o)
		w.ids["order"] = append(w.ids["order"], order)
		var whole struct {
			Operations []struct{ Operation, Key string }
		}
		if err := json.Unmarshal(b.send(http.MethodGet, "/v1/orders/"+order, b.shop, "").body, &whole); err != nil {
			b.t.Fatal(err)
		}
		for _, k := range whole.Operations {
			w.operations = append(w.operations, k.Operation+k.Key)
		}
	}
	own := made(b.send(http.MethodPost, "/v1/configurations", w.key, `{"configuration":`+strings.Replace(small, "520", fmt.Sprint(500+10*len(name)), 1)+`}`)) // a size that nobody else has
	w.ids["configuration"] = append(w.ids["configuration"], own)
	m := b.mold(own, "lid", `,"tag":"`+reference+`-L","dealer_id":"`+w.dealer+`"`)
	w.ids["mold"], w.ids["set"] = []string{m.Id.String()}, []string{m.Set}
	w.ids["lot"] = []string{b.receive(30, "").Id.String()} // the shop's, for an order of this dealer's
	if a := b.send(http.MethodPost, "/v1/stock/moves", b.shop, fmt.Sprintf(`{"kind":"reserve","amount":0.5,"lot_id":%q,"order_id":%q}`, w.ids["lot"][0], w.ids["order"][0])); a.status != http.StatusCreated {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	if _, err := b.service.DeliverDue(context.Background()); err != nil {
		b.t.Fatal(err)
	}
	w.ids["delivery"] = b.listed("/v1/webhooks/"+w.ids["webhook"][0]+"/deliveries", w.key)
	w.ids["event"] = b.listed("/v1/orders/"+w.ids["order"][0]+"/events", w.key)
	for kind, ids := range w.ids {
		if len(ids) == 0 {
			b.t.Fatalf("no %s", kind)
		}
	}
	return w
}

// listed are the ids of the first page of a list.
func (b *bench) listed(path, key string) []string {
	b.t.Helper()
	var page struct{ Items []struct{ ID string } }
	a := b.send(http.MethodGet, path, key, "")
	if err := json.Unmarshal(a.body, &page); err != nil {
		b.t.Fatalf("%v %s", err, a.body)
	}
	var out []string
	for _, i := range page.Items {
		out = append(out, i.ID)
	}
	return out
}

// probe is a request with places for another's words: {{configuration}} for an id,
// {{reference}}, {{operation}}.
type probe struct {
	method, path, body string
	headers            [][2]string
	key                string
}

var gap = regexp.MustCompile(`\{\{([a-z]+)\}\}`)

// collections say what an id in a path names, by the word before it.
var collections = map[string]string{"configurations": "configuration", "quotes": "quote", "orders": "order", "webhooks": "webhook", "deliveries": "delivery", "dealers": "dealer", "keys": "key", "molds": "mold"}

// named says what an id elsewhere in a request names, by the name of its place.
var named = map[string]string{"configuration_id": "configuration", "supersedes": "configuration", "quote_id": "quote", "order_id": "order", "revises": "order", "dealer_id": "dealer",
	"key_id": "key", "lot_id": "lot", "set": "set", "Last-Event-ID": "event"}

// idPlace is where a request of a route has an id.
type idPlace struct {
	method, path   string
	in, name, kind string // in is path, query, header or body
}

// places finds every place for an id that the document gives to the routes: in paths,
// parameters and bodies. One whose name says nothing of what it names fails the test:
// whoever adds one says above what it is, and in business makes another dealer's.
func (b *bench) places(list []route) (out []idPlace) {
	b.t.Helper()
	id := func(name string, s *openapi3.SchemaRef) bool {
		return s != nil && s.Value != nil && (s.Value.Format == "uuid" || named[name] != "")
	}
	for _, r := range list {
		add := func(in, name, kind string) {
			if kind == "" {
				b.t.Fatalf("nothing says what the id %s in the %s of %s %s names: add it to collections or named, and to business", name, in, r.method, r.path)
			}
			if p := (idPlace{r.method, r.path, in, name, kind}); !slices.Contains(out, p) {
				out = append(out, p)
			}
		}
		item := b.check.doc.Paths.Value(r.path)
		operation := item.GetOperation(r.method)
		for _, p := range slices.Concat(item.Parameters, operation.Parameters) {
			switch {
			case !id(p.Value.Name, p.Value.Schema):
			case p.Value.In == "path":
				before, _, _ := strings.Cut(r.path, "/{"+p.Value.Name+"}")
				add("path", p.Value.Name, collections[before[strings.LastIndex(before, "/")+1:]])
			default:
				add(p.Value.In, p.Value.Name, named[p.Value.Name])
			}
		}
		seen := map[*openapi3.Schema]bool{}
		var walk func(s *openapi3.SchemaRef)
		walk = func(s *openapi3.SchemaRef) {
			if s == nil || s.Value == nil || seen[s.Value] {
				return
			}
			seen[s.Value] = true
			for name, member := range s.Value.Properties {
				if id(name, member) {
					add("body", name, named[name])
				}
				walk(member)
			}
			walk(s.Value.Items)
			for _, some := range []openapi3.SchemaRefs{s.Value.AllOf, s.Value.AnyOf, s.Value.OneOf} {
				for _, one := range some {
					walk(one)
				}
			}
		}
		if operation.RequestBody != nil {
			for _, media := range operation.RequestBody.Value.Content {
				walk(media.Schema)
			}
		}
	}
	return out
}

// has tells whether a request, its places not filled yet, has a word for the place.
func (p probe) has(at idPlace) bool {
	word := "{{" + at.kind + "}}"
	switch at.in {
	case "path":
		return strings.HasPrefix(p.path, strings.Split(at.path, "{"+at.name+"}")[0]+word)
	case "query":
		return strings.Contains(p.path, "?"+at.name+"="+word) || strings.Contains(p.path, "&"+at.name+"="+word)
	case "header":
		return slices.Contains(p.headers, [2]string{at.name, word})
	}
	return strings.Contains(p.body, `"`+at.name+`":"`+word+`"`)
}

// bodies are what is sent to an operation that takes a body: with places for
// another's words where the operation has one, and as an unknown member, which is
// refused, where it has none.
func bodies(anything func(kind string) string) map[string][]string {
	dealer := `{"dealer_id":"` + anything("dealer") + `"}`
	reason := []string{`{"reason":"x"}`, `{}`, `{"reason":"x","quote_id":"` + anything("quote") + `"}`}
	return map[string][]string{
		"POST /v1/check":              {dealer},
		"POST /v1/derive":             {dealer},
		"POST /v1/derive/batch":       {dealer},
		"POST /v1/limits":             {dealer},
		"POST /v1/drawings/{drawing}": {dealer},
		"POST /v1/configurations": {`{"supersedes":"` + anything("configuration") + `","configuration":` + small + `}`,
			`{"dealer_id":"` + anything("dealer") + `","configuration":` + small + `}`},
		"POST /v1/quotes": {`{"lines":[{"configuration_id":"` + anything("configuration") + `"}]}`,
			`{"revises":"` + anything("order") + `","lines":[{"configuration":` + small + `}]}`,
			`{"dealer_id":"` + anything("dealer") + `","lines":[{"configuration":` + small + `}]}`},
		"POST /v1/orders":                                   {`{"quote_id":"` + anything("quote") + `","purchase_reference":"{{reference}}"}`, `{"quote_id":"` + anything("quote") + `"}`},
		"POST /v1/orders/{id}/hold":                         reason,
		"POST /v1/orders/{id}/cancellation":                 reason,
		"POST /v1/orders/{id}/shipment":                     {`{"carrier":"{{reference}}"}`, `{}`},
		"PUT /v1/orders/{id}/operations/{operation}/record": {`{"started_at":"2026-11-30T13:00:00Z"}`},
		"POST /v1/webhooks":                                 {dealer},
		"PUT /v1/shop/profile":                              {dealer},
		"PUT /v1/shop/materials":                            {dealer},
		"POST /v1/shop/price-books":                         {dealer},
		"POST /v1/molds":                                    {`{"configuration_id":"` + anything("configuration") + `","part":"lid","remaining_pulls":1,"dealer_id":"` + anything("dealer") + `"}`},
		"PATCH /v1/molds/{id}":                              {dealer},
		"POST /v1/stock/moves":                              {`{"kind":"reserve","amount":1,"lot_id":"` + anything("lot") + `","order_id":"` + anything("order") + `"}`},
		"POST /v1/dealers":                                  {dealer},
		"POST /v1/dealers/{id}/keys":                        {dealer, `{"role":"dealer","name":"{{reference}}"}`},
		"POST /v1/keys":                                     {dealer},
		"POST /v1/keys/{id}/rotation":                       {`{"overlap_hours":1}`, `{}`},
	}
}

// parameters are values for what stands in a path and is no id.
var parameters = map[string][]string{"drawing": {"plan", "section", "model", "stack"}, "operation": {"{{operation}}"}, "version": {"1", "2"}}

// probe makes a random request of a route with places for another's words. A route
// that it does not know how to ask fails the test: whoever adds one says above what
// can be asked there.
func (b *bench) probe(r route, random *rand.Rand, keys []string) probe {
	b.t.Helper()
	one := func(list ...string) string { return list[random.IntN(len(list))] }
	anything := func(kind string) string {
		if random.IntN(5) == 0 {
			kind = one("configuration", "quote", "order", "webhook", "delivery", "event", "dealer", "key", "mold", "lot")
		}
		return "{{" + kind + "}}"
	}
	operation := b.check.doc.Paths.Value(r.path).GetOperation(r.method)
	p := probe{method: r.method, key: one(keys...)}
	parts := strings.Split(r.path, "/")
	for i, part := range parts {
		name, ok := strings.CutPrefix(part, "{")
		if !ok {
			continue
		}
		name = strings.TrimSuffix(name, "}")
		kind := collections[parts[i-1]]
		switch values := parameters[name]; {
		case name == "id" && kind != "":
			parts[i] = anything(kind)
		case len(values) > 0:
			parts[i] = one(values...)
		default:
			b.t.Fatalf("no probe for {%s} of %s %s: add it to collections or parameters", name, r.method, r.path)
		}
	}
	p.path = strings.Join(parts, "/")
	if r.method == http.MethodGet {
		q := url.Values{}
		for range random.IntN(3) {
			names := []string{"unheard_of"}
			for _, q := range operation.Parameters {
				if q.Value.In == "query" && q.Value.Name != "cursor" {
					names = append(names, q.Value.Name)
				}
			}
			name := names[min(random.IntN(len(names))+random.IntN(2), len(names)-1)]
			value := map[string]string{"state": one("open", "ordered", "received", "scheduled"), "purchase_reference": "{{reference}}", "reference": "{{reference}}",
				"limit": one("1", "200"), "promised_from": "2026-11-01", "promised_to": "2027-11-01", "temperature": "21"}[name]
			if kind := named[name]; kind != "" {
				value = anything(kind)
			}
			if value == "" {
				value = anything("order")
			}
			q.Set(name, value)
		}
		if len(q) > 0 {
			p.path += "?" + strings.NewReplacer("%7B", "{", "%7D", "}").Replace(q.Encode())
		}
	}
	if r.path == eventsPath { // refused, as a stream would not end
		p.headers = append(p.headers, [2]string{"Last-Event-ID", anything("event")})
	}
	if random.IntN(6) > 0 {
		p.headers = append(p.headers, [2]string{"If-Match", one(`"1"`, `"2"`, `*`)})
	}
	if r.method == http.MethodPost && random.IntN(4) == 0 {
		p.headers = append(p.headers, [2]string{"Idempotency-Key", "{{used}}"})
	}
	if operation.RequestBody != nil {
		list := bodies(anything)[r.method+" "+r.path]
		if len(list) == 0 {
			b.t.Fatalf("no probe for %s %s: add a body to bodies", r.method, r.path)
		}
		p.body = one(list...)
	}
	return p
}

// everyCallIsNoted holds the double against the store's interface: each register
// that a request may ask is noted, within a transaction too. The shop's documents are
// not: they are read when the service's copy has grown old, whoever asks.
func everyCallIsNoted(t *testing.T, a asked) {
	t.Helper()
	check := func(what string, value any) {
		t.Helper()
		for m := range reflect.TypeFor[store.Registers]().Methods() {
			if m.Name == "ShopDocuments" {
				continue
			}
			a.log.take()
			reflect.ValueOf(value).MethodByName(m.Name).Call(nil)
			if a.log.take() == "" {
				t.Fatalf("the store's %s are asked %s and it is not noted: add them to asked and askedTx", m.Name, what)
			}
		}
	}
	check("on their own", a)
	if err := a.InTx(t.Context(), func(tx store.Tx) error { check("in a transaction", tx); return nil }); err != nil {
		t.Fatal(err)
	}
	a.log.take()
}

// words are what the places of one request are filled with.
func (p probe) words(pick func(kind string) string) map[string]string {
	out := map[string]string{}
	all := p.method + p.path + p.body
	for _, h := range p.headers {
		all += h[1]
	}
	for _, m := range gap.FindAllStringSubmatch(all, -1) {
		if _, there := out[m[1]]; !there {
			out[m[1]] = pick(m[1])
		}
	}
	return out
}

// told is an answer without what is new in every answer and without the words that
// were asked with.
type told struct {
	status int
	text   string
	header string
	calls  string
	took   time.Duration
}

// Requests of every route with the ids, references and keys of another dealer: the
// answer is word for word, header for header, and call for call to the store, what
// the same request gets with words that nobody has; nothing of the other dealer is
// in any answer, and nothing of either dealer changes.
//
// On PostgreSQL with the tag row_security_alone the store's own filters are off:
// then it is row-level security that holds.
func TestStrangersIdsAreNobodys(t *testing.T) {
	var log callLog
	o := nearby
	var double asked
	o.wrap = func(s store.Store) store.Store { double = asked{s, &log}; return double }
	b := newBenchWith(t, o)
	everyCallIsNoted(t, double)
	receiver := httptest.NewServer(&endpoint{status: http.StatusNoContent})
	t.Cleanup(receiver.Close)
	ours := b.business("Brackwater Marine", "BM", receiver.URL)
	theirs := b.business("Fennimore Yachts", "FY", receiver.URL)
	var secrets []string
	for _, ids := range theirs.ids {
		secrets = append(secrets, ids...)
	}
	secrets = append(append(secrets, theirs.references...), "Fennimore", theirs.used, theirs.key, theirs.storefront)
	state := func() string {
		var all strings.Builder
		for _, w := range []business{ours, theirs} {
			for _, path := range []string{"/v1/configurations?limit=200", "/v1/quotes?limit=200", "/v1/orders?limit=200", "/v1/webhooks?limit=200", "/v1/molds?limit=200"} {
				all.Write(b.send(http.MethodGet, path, w.key, "").body)
			}
			for _, id := range w.ids["order"] {
				all.Write(b.send(http.MethodGet, "/v1/orders/"+id+"/events?limit=200", w.key, "").body)
			}
		}
		return all.String()
	}
	before := state()

	client := &http.Client{Transport: b.check.next}
	ask := func(p probe, words map[string]string) told {
		fill := func(s string) string {
			return gap.ReplaceAllStringFunc(s, func(m string) string { return words[strings.Trim(m, "{}")] })
		}
		r, err := http.NewRequest(p.method, b.server.URL+fill(p.path), strings.NewReader(fill(p.body)))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+p.key)
		if p.body != "" {
			r.Header.Set("Content-Type", "application/json")
		}
		for _, h := range p.headers {
			r.Header.Set(h[0], fill(h[1]))
		}
		log.take()
		start := time.Now()
		response, err := client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer response.Body.Close()
		body, err := io.ReadAll(response.Body)
		if err != nil {
			t.Fatal(err)
		}
		out := told{status: response.StatusCode, took: time.Since(start), calls: log.take()}
		id := response.Header.Get("X-Request-Id")
		var names []string
		for _, name := range slices.Sorted(maps.Keys(response.Header)) {
			if name != "Date" && name != "X-Request-Id" && !strings.HasPrefix(name, "Ratelimit") && name != "Content-Length" {
				names = append(names, name+": "+response.Header.Get(name))
			}
		}
		blank := []string{id, ""}
		for kind, w := range words {
			blank = append(blank, w, "<"+kind+">")
		}
		clean := strings.NewReplacer(blank...)
		out.header, out.text = clean.Replace(strings.Join(names, "\n")), clean.Replace(string(body))
		return out
	}

	keys := []string{ours.key, ours.key, ours.key, ours.storefront}
	for _, k := range keys { // the first use of a key is noted
		b.send(http.MethodPost, "/v1/check", k, small)
	}
	random := rand.New(rand.NewPCG(7, 2026))
	seen, asks := map[string]int{}, 0 // with another's words, by route; in all
	statuses := map[int]int{}
	var took [2][]time.Duration
	var closed []route // those that take a key
	for _, r := range routes {
		if r.role != open {
			closed = append(closed, r)
		}
	}
	places, met := b.places(closed), map[idPlace]int{}
	uncovered := func(p probe, r route) bool { // whether it has a word in a place of the route's that had none yet, or all had one
		left := slices.DeleteFunc(slices.Clone(places), func(at idPlace) bool { return at.method != r.method || at.path != r.path || met[at] > 0 })
		return len(left) == 0 || slices.ContainsFunc(left, p.has)
	}
	const each = 10 // times that every route is asked before chance decides
	count := *strangers
	if testing.Short() {
		count /= 3
	}
	for i := range max(count, each*len(closed)) {
		r := closed[i%len(closed)]
		for i >= each*len(closed) {
			r = closed[random.IntN(len(closed))]
			if r.role != record.RoleShop || random.IntN(4) == 0 { // a dealer is refused there before anything is looked at
				break
			}
		}
		p := b.probe(r, random, keys)
		for tries := 0; i < each*len(closed) && tries < 1000 && (len(p.words(func(string) string { return "" })) == 0 || !uncovered(p, r)); tries++ {
			p = b.probe(r, random, keys) // until it has a place for another's word, each place in its turn
		}
		other := p.words(func(kind string) string {
			switch kind {
			case "reference":
				return theirs.references[random.IntN(len(theirs.references))]
			case "operation":
				return theirs.operations[random.IntN(len(theirs.operations))]
			case "used":
				return fmt.Sprintf("%s-%d", theirs.used, 1+random.IntN(3))
			}
			return theirs.ids[kind][random.IntN(len(theirs.ids[kind]))]
		})
		none := p.words(func(kind string) string {
			switch kind {
			case "reference":
				return fmt.Sprintf("XX-%d", random.IntN(4))
			case "operation":
				return other[kind] // a dealer may not record at all
			case "used":
				return "nobody-" + uuid.NewString()
			}
			return uuid.Must(uuid.NewV7()).String()
		})
		// Which goes first is drawn, so that neither is always the warm one.
		var a, z told
		if random.IntN(2) == 0 {
			a, z = ask(p, other), ask(p, none)
		} else {
			z, a = ask(p, none), ask(p, other)
		}
		took[0], took[1] = append(took[0], a.took), append(took[1], z.took)
		asks++
		if len(other) > 0 {
			seen[r.method+" "+r.path]++
		}
		for _, at := range places {
			if at.method == r.method && at.path == r.path && p.has(at) {
				met[at]++
			}
		}
		statuses[a.status]++
		if a.status != z.status || a.text != z.text || a.header != z.header || a.calls != z.calls {
			t.Fatalf("request %d, %s %s %s %v\nwith another's %v: %d %s\n%s\nstore: %s\nwith nobody's %v: %d %s\n%s\nstore: %s", i, p.method, p.path, p.body, p.headers,
				other, a.status, a.text, a.header, a.calls, none, z.status, z.text, z.header, z.calls)
		}
		if a.status >= 500 {
			t.Fatalf("request %d, %s %s: %d %s", i, p.method, p.path, a.status, a.text)
		}
		for _, s := range secrets {
			if strings.Contains(a.text, s) || strings.Contains(a.header, s) {
				t.Fatalf("request %d, %s %s: another's %q is in the answer %s", i, p.method, p.path, s, a.text)
			}
		}
	}
	if after := state(); after != before {
		t.Errorf("something changed:\n%s\n%s", before, after)
	}
	for _, r := range closed {
		if seen[r.method+" "+r.path] == 0 {
			t.Errorf("%s %s was never asked with anything of another's", r.method, r.path)
		}
	}
	kinds := map[string]int{}
	for _, at := range places {
		if kinds[at.kind] += met[at]; met[at] == 0 {
			t.Errorf("the id %s in the %s of %s %s was never another's", at.name, at.in, at.method, at.path)
		}
	}
	for i := range took {
		slices.Sort(took[i])
	}
	at := func(i int, q float64) time.Duration { return took[i][int(q*float64(len(took[i])-1))] }
	t.Logf("%s, own filters %t: %d requests, each twice, on %d routes, with another's ids in %d places %v; answers %v; median %v with another's and %v with nobody's words, 95 %% within %v and %v", *engine, ownFilters(), asks, len(seen), len(places), kinds, statuses,
		at(0, 0.5), at(1, 0.5), at(0, 0.95), at(1, 0.95))
}
