package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"hatchwright/openapi"
	"hatchwright/openapi/client"
	"hatchwright/service/order"
	"hatchwright/service/record"
)

// quote makes a quote of a small hatch.
func (b *bench) quote(key string) client.Quote {
	b.t.Helper()
	a := b.send(http.MethodPost, "/v1/quotes", key, `{"reference":"BM-1182","lines":[{"name":"Forepeak","configuration":`+small+`},{"configuration":`+small+`,"quantity":2}]}`)
	if a.status != http.StatusCreated {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	var q client.Quote
	strict(b.t, a.body, &q)
	if a.header.Get("Location") != "/v1/quotes/"+q.Id.String() || a.header.Get("ETag") != `"1"` {
		b.t.Errorf("headers %v", a.header)
	}
	return q
}

// order orders a new quote. Its operations are those that the shop reads.
func (b *bench) order(key string) client.Order {
	b.t.Helper()
	a := b.send(http.MethodPost, "/v1/orders", key, fmt.Sprintf(`{"quote_id":%q,"purchase_reference":"PO-4711"}`, b.quote(key).Id))
	if a.status != http.StatusCreated {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	var o, whole client.Order
	strict(b.t, a.body, &o)
	strict(b.t, b.send(http.MethodGet, "/v1/orders/"+o.Id.String(), b.shop, "").body, &whole)
	o.Operations = whole.Operations
	return o
}

// wants checks that an answer is a problem of a kind.
func (a answer) wants(t *testing.T, status int, problem string) {
	t.Helper()
	if p := a.problem(t); a.status != status || p.Type != "/problems/"+problem {
		t.Errorf("got %d %s (%s), want %d %s", a.status, p.Type, p.Detail, status, problem)
	}
}

const nobody = "01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55"

func TestQuotes(t *testing.T) {
	b := newBench(t)
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	_, other := b.dealer("Fennimore Yachts", record.RoleDealer)
	q := b.quote(key)
	if q.State != "open" || q.DealerId.String() != dealer || len(q.Lines) != 2 || q.Lines[0].Quantity != 1 || q.Lines[1].Quantity != 2 || *q.Lines[0].Name != "Forepeak" || !q.ValidUntil.Equal(monday.Add(14*24*time.Hour)) {
		t.Errorf("%+v", q)
	}
	// A quote says what a derivation says at the same moment.
	var d client.Derivation
	strict(t, b.send(http.MethodPost, "/v1/derive", key, small).body, &d)
	if q.Lines[0].Totals != d.Bill.Totals || q.Lines[0].Digest != d.Digest {
		t.Errorf("quoted %+v, derived %+v", q.Lines[0].Totals, d.Bill.Totals)
	}
	at := "/v1/quotes/" + q.Id.String()
	var again client.Quote
	read := b.send(http.MethodGet, at, key, "")
	strict(t, read.body, &again)
	if again.Total != q.Total || read.header.Get("ETag") != `"1"` {
		t.Errorf("read back %+v", again)
	}
	// The configurations that came along are kept and can be quoted by their ids.
	a := b.send(http.MethodPost, "/v1/quotes", key, fmt.Sprintf(`{"lines":[{"configuration_id":%q,"quantity":2}],"valid_until":"2026-12-02T12:00:00Z"}`, q.Lines[0].ConfigurationId))
	var kept client.Quote
	strict(t, a.body, &kept)
	if a.status != http.StatusCreated || kept.Lines[0].Digest != q.Lines[1].Digest || kept.Lines[0].Totals != q.Lines[1].Totals {
		t.Errorf("%d %s", a.status, a.body)
	}
	for name, c := range map[string]struct {
		body    string
		status  int
		problem string
		at      string
	}{
		"no lines":        {`{"lines":[]}`, 400, "invalid-request", "/lines"},
		"both":            {fmt.Sprintf(`{"lines":[{"configuration_id":%q,"configuration":%s}]}`, nobody, small), 400, "invalid-request", "/lines/0"},
		"neither":         {`{"lines":[{"quantity":2}]}`, 400, "invalid-request", "/lines/0"},
		"unknown":         {fmt.Sprintf(`{"lines":[{"configuration_id":%q}]}`, nobody), 404, "not-found", "/lines/0/configuration_id"},
		"past":            {`{"valid_until":"2026-11-30T12:00:00Z","lines":[{"configuration":` + small + `}]}`, 400, "invalid-request", "/valid_until"},
		"too long":        {`{"valid_until":"2027-01-30T12:00:00Z","lines":[{"configuration":` + small + `}]}`, 400, "invalid-request", "/valid_until"},
		"unknown field":   {`{"lines":[{"configuration":{"unit":"mm"}}]}`, 400, "invalid-request", "/lines/0/configuration"},
		"another's order": {fmt.Sprintf(`{"revises":%q,"lines":[{"configuration":%s}]}`, nobody, small), 404, "not-found", "/revises"},
		"not makeable":    {`{"lines":[{"configuration":` + strings.Replace(small, `{`, `{"lid":{"gap":0.2},`, 1) + `}]}`, 422, "not-makeable", ""},
	} {
		a := b.send(http.MethodPost, "/v1/quotes", key, c.body)
		p := a.problem(t)
		if a.status != c.status || p.Type != "/problems/"+c.problem || c.at != "" && (len(p.Errors) == 0 || !strings.HasPrefix(p.Errors[0].Pointer, c.at)) {
			t.Errorf("%s: %d %s", name, a.status, a.body)
		}
	}
	// Withdrawal.
	b.send(http.MethodPost, at+"/withdrawal", key, "").wants(t, 428, "precondition-required")
	b.send(http.MethodPost, at+"/withdrawal", key, "", "If-Match", `"2"`).wants(t, 412, "precondition-failed")
	b.send(http.MethodPost, at+"/withdrawal", other, "", "If-Match", `"1"`).wants(t, 404, "not-found")
	if a := b.send(http.MethodPost, at+"/withdrawal", key, "", "If-Match", `"1"`); a.status != 200 || memberText(t, a.body, "state") != "withdrawn" || a.header.Get("ETag") != `"2"` {
		t.Errorf("%d %s", a.status, a.body)
	}
	b.send(http.MethodPost, "/v1/orders", key, fmt.Sprintf(`{"quote_id":%q}`, q.Id)).wants(t, 409, "quote-withdrawn")
	// Time.
	b.clock.Add(3 * 24 * time.Hour)
	if a := b.send(http.MethodGet, "/v1/quotes/"+kept.Id.String(), key, ""); memberText(t, a.body, "state") != "expired" {
		t.Errorf("after its time: %s", a.body)
	}
	b.send(http.MethodPost, "/v1/orders", key, fmt.Sprintf(`{"quote_id":%q}`, kept.Id)).wants(t, 409, "quote-expired")
	var l client.QuoteList
	strict(t, b.send(http.MethodGet, "/v1/quotes?state=expired&limit=1", key, "").body, &l)
	if len(l.Items) != 1 || l.Items[0].Id != kept.Id || l.NextCursor != nil {
		t.Errorf("%+v", l)
	}
	strict(t, b.send(http.MethodGet, "/v1/quotes", other, "").body, &l)
	if len(l.Items) != 0 {
		t.Errorf("another dealer sees %+v", l)
	}
	b.send(http.MethodGet, at, other, "").wants(t, 404, "not-found")
}

// TestOrderThroughTheShop takes an order from its quote to its shipment, through
// the generated client.
func TestOrderThroughTheShop(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	_, other := b.dealer("Fennimore Yachts", record.RoleDealer)
	dealer, shop := b.client(key), b.client(b.shop)
	o := b.order(key)
	if o.State != "received" || *o.PurchaseReference != "PO-4711" || len(o.Lines) != 2 || len(o.Operations) == 0 || o.Operations[0].State != "planned" {
		t.Fatalf("%+v", o)
	}
	at := "/v1/orders/" + o.Id.String()
	b.send(http.MethodPost, "/v1/orders", key, fmt.Sprintf(`{"quote_id":%q}`, o.QuoteId)).wants(t, 409, "quote-ordered")
	b.send(http.MethodPost, "/v1/orders", other, fmt.Sprintf(`{"quote_id":%q}`, o.QuoteId)).wants(t, 404, "not-found")
	tag := `"1"`
	hold, err := dealer.HoldOrderWithResponse(ctx, o.Id, &client.HoldOrderParams{IfMatch: &tag}, client.Reasoned{Reason: "boat delayed"})
	if err != nil || hold.JSON200 == nil || hold.JSON200.State != "on_hold" || *hold.JSON200.Reason != "boat delayed" || *hold.JSON200.HeldFrom != "received" {
		t.Fatalf("%v %s", err, hold.Body)
	}
	if stale, err := dealer.ReleaseOrderWithResponse(ctx, o.Id, &client.ReleaseOrderParams{IfMatch: &tag}); err != nil || stale.StatusCode() != 412 {
		t.Errorf("%v %s", err, stale.Body)
	}
	for _, tag := range []string{`W/"2"`, `nonsense`, `2`, `"two"`, `"2", "3"`} {
		a := b.send(http.MethodPost, at+"/release", key, "", "If-Match", tag)
		a.wants(t, 412, "precondition-failed")
		if p := a.problem(t); !strings.Contains(p.Detail, "with its quotes") {
			t.Errorf("If-Match %s: %s", tag, p.Detail)
		}
		nothing := b.send(http.MethodPost, "/v1/orders/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/release", key, "", "If-Match", tag)
		if nothing.status != a.status || nothing.problem(t).Detail != a.problem(t).Detail {
			t.Errorf("If-Match %s tells what is there: %d", tag, nothing.status)
		}
	}
	b.send(http.MethodPost, at+"/release", key, "").wants(t, 428, "precondition-required")
	tag = hold.HTTPResponse.Header.Get("ETag")
	free, err := dealer.ReleaseOrderWithResponse(ctx, o.Id, &client.ReleaseOrderParams{IfMatch: &tag})
	if err != nil || free.JSON200 == nil || free.JSON200.State != "received" || free.JSON200.Reason != nil {
		t.Fatalf("%v %s", err, free.Body)
	}
	b.send(http.MethodPost, at+"/release", key, "", "If-Match", "*").wants(t, 409, "order-state")
	b.send(http.MethodPost, at+"/shipment", b.shop, "{}", "If-Match", "*").wants(t, 409, "order-state")
	b.send(http.MethodPost, at+"/hold", key, `{"reason":""}`, "If-Match", "*").wants(t, 400, "invalid-request")
	b.send(http.MethodPost, at+"/hold", key, `{"reason":"   "}`, "If-Match", "*").wants(t, 400, "invalid-request")

	// The floor.
	record := func(operation, body string) answer {
		return b.send(http.MethodPut, at+"/operations/"+operation+"/record", b.shop, body)
	}
	first := o.Operations[0].Key
	record("9-nothing", `{"started_at":"2026-11-30T12:00:00Z"}`).wants(t, 404, "operation-unknown")
	record(first, `{"started_at":"2026-11-30T18:00:00Z"}`).wants(t, 400, "operation-times")
	record(first, `{"started_at":"2026-11-30T12:00:00Z","hours":1}`).wants(t, 400, "operation-times")
	if a := record(first, `{"started_at":"2026-11-30T12:00:00Z"}`); a.status != 200 || memberText(t, a.body, "state") != "in_work" {
		t.Fatalf("%d %s", a.status, a.body)
	}
	b.send(http.MethodPost, at+"/cancellation", key, `{"reason":"changed my mind"}`, "If-Match", "*").wants(t, 403, "order-role")
	for i, op := range o.Operations {
		body := fmt.Sprintf(`{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T12:30:00Z","hours":%d.25}`, i)
		a := record(op.Key, body)
		want := "in_work"
		if i == len(o.Operations)-1 {
			want = "ready"
		}
		if a.status != 200 || memberText(t, a.body, "state") != want {
			t.Fatalf("%s: %d %s", op.Key, a.status, a.body)
		}
		if i == 0 { // the same again changes nothing
			if same := record(op.Key, body); same.status != 200 || !bytes.Equal(same.body, a.body) {
				t.Errorf("%d %s", same.status, same.body)
			}
			record(op.Key, `{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T12:31:00Z"}`).wants(t, 409, "operation-recorded")
		}
	}
	got, err := shop.GetOrderWithResponse(ctx, o.Id)
	if err != nil || got.JSON200 == nil || *got.JSON200.Operations[1].Hours != 1.25 || got.JSON200.Operations[1].State != "finished" || got.JSON200.State != "ready" {
		t.Fatalf("%v %s", err, got.Body)
	}
	tag = got.HTTPResponse.Header.Get("ETag")
	by := "own van"
	sent, err := shop.ShipOrderWithResponse(ctx, o.Id, &client.ShipOrderParams{IfMatch: &tag}, client.NewShipment{Carrier: &by})
	if err != nil || sent.JSON200 == nil || sent.JSON200.State != "shipped" || *sent.JSON200.Carrier != by {
		t.Fatalf("%v %s", err, sent.Body)
	}
	b.send(http.MethodPost, at+"/cancellation", b.shop, `{"reason":"too late"}`, "If-Match", "*").wants(t, 409, "order-closed")

	// The history has all of it, newest first, over pages.
	var kinds []string
	params := &client.ListOrderEventsParams{}
	limit := 7
	params.Limit = &limit
	for {
		l, err := dealer.ListOrderEventsWithResponse(ctx, o.Id, params)
		if err != nil || l.JSON200 == nil {
			t.Fatalf("%v %s", err, l.Body)
		}
		for _, e := range l.JSON200.Items {
			kinds = append(kinds, string(e.Type))
			if *e.Data.OrderId != o.Id || e.By.Role == nil || e.By.KeyId == nil {
				t.Errorf("%+v", e)
			}
		}
		if l.JSON200.NextCursor == nil {
			break
		}
		params.Cursor = l.JSON200.NextCursor
	}
	slices.Reverse(kinds)
	want := []string{"order.received", "order.held", "order.released", "order.started"}
	for range len(o.Operations) + 1 {
		want = append(want, "operation.recorded")
	}
	want = append(want, "order.ready", "order.shipped")
	if !slices.Equal(kinds, want) {
		t.Errorf("history %v, want %v", kinds, want)
	}
	for _, path := range []string{at, at + "/events"} {
		b.send(http.MethodGet, path, other, "").wants(t, 404, "not-found")
	}
	b.send(http.MethodPost, at+"/hold", other, `{"reason":"x"}`, "If-Match", "*").wants(t, 404, "not-found")
}

func TestListOrders(t *testing.T) {
	b := newBench(t)
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	_, other := b.dealer("Fennimore Yachts", record.RoleDealer)
	mine := b.order(key)
	b.clock.Add(time.Second)
	theirs := b.order(other)
	b.clock.Add(time.Second)
	if a := b.send(http.MethodPost, "/v1/orders/"+mine.Id.String()+"/cancellation", key, `{"reason":"boat sold"}`, "If-Match", `"1"`); a.status != 200 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	late := b.order(key)
	day := late.Promise.Format(time.DateOnly)
	after := late.Promise.AddDate(0, 0, 1).Format(time.DateOnly)
	for _, c := range []struct {
		key, query string
		want       []client.Order
	}{
		{key, "", []client.Order{late, mine}},
		{other, "", []client.Order{theirs}},
		{b.shop, "", []client.Order{late, theirs, mine}},
		{b.shop, "?dealer_id=" + dealer, []client.Order{late, mine}},
		{key, "?state=cancelled", []client.Order{mine}},
		{key, "?state=received", []client.Order{late}},
		{key, "?purchase_reference=PO-4711&state=received", []client.Order{late}},
		{key, "?purchase_reference=PO-9", nil},
		{key, "?quote_id=" + late.QuoteId.String(), []client.Order{late}},
		{key, "?promised_from=" + day + "&promised_to=" + day, []client.Order{late, mine}},
		{key, "?promised_from=" + after, nil},
	} {
		a := b.send(http.MethodGet, "/v1/orders"+c.query, c.key, "")
		var l client.OrderList
		strict(t, a.body, &l)
		var got, want []string
		for _, o := range l.Items {
			got = append(got, o.Id.String())
		}
		for _, o := range c.want {
			want = append(want, o.Id.String())
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q: %v, want %v", c.query, got, want)
		}
	}
	var page client.OrderList
	strict(t, b.send(http.MethodGet, "/v1/orders?limit=1", key, "").body, &page)
	cursor := *page.NextCursor
	for _, bad := range []string{"/v1/orders?state=cancelled&cursor=" + cursor, "/v1/quotes?cursor=" + cursor, "/v1/orders?cursor=" + cursor[:len(cursor)-2]} {
		b.send(http.MethodGet, bad, key, "").wants(t, 400, "cursor-refused")
	}
	b.send(http.MethodGet, "/v1/orders?cursor="+cursor, other, "").wants(t, 400, "cursor-refused")
	for _, bad := range []string{"/v1/orders?promised_from=2026-02-30x", "/v1/orders?promised_from=2026-02-30", "/v1/orders?promised_from=2026-12-02&promised_to=2026-12-01", "/v1/orders?state=lost"} {
		b.send(http.MethodGet, bad, key, "").wants(t, 400, "invalid-request")
	}
}

// The list as CSV has the same orders on the same pages, and no cell that a
// spreadsheet would work out.
func TestOrdersAsCSV(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	first := b.order(key)
	b.clock.Add(time.Second)
	a := b.send(http.MethodPost, "/v1/orders", key, fmt.Sprintf(`{"quote_id":%q,"purchase_reference":"=1+1, \"x\""}`, b.quote(key).Id))
	second := memberText(t, a.body, "id")
	one := b.send(http.MethodGet, "/v1/orders?limit=1", key, "", "Accept", "text/csv")
	link := one.header.Get("Link")
	if one.status != 200 || !strings.HasPrefix(one.header.Get("Content-Type"), "text/csv") || !strings.HasSuffix(link, `>; rel="next"`) {
		t.Fatalf("%d %v", one.status, one.header)
	}
	two := b.send(http.MethodGet, strings.TrimSuffix(strings.TrimPrefix(link, "<"), `>; rel="next"`), key, "", "Accept", "text/csv")
	read := func(a answer) [][]string {
		rows, err := csv.NewReader(bytes.NewReader(a.body)).ReadAll()
		if err != nil || len(rows) != 2 || !slices.Equal(rows[0], orderColumns) {
			t.Fatalf("%v %s", err, a.body)
		}
		return rows
	}
	if row := read(one)[1]; row[0] != second || row[5] != `'=1+1, "x"` {
		t.Errorf("%q", row)
	}
	if row := read(two)[1]; row[0] != first.Id.String() || row[3] != "received" || row[7] != first.Promise.Format(time.DateOnly) || row[8] != first.Total.Amount || two.header.Get("Link") != "" {
		t.Errorf("%q", row)
	}
	b.send(http.MethodGet, "/v1/orders", key, "", "Accept", "image/png").wants(t, 406, "not-acceptable")
}

// A quote that revises an order takes its place.
func TestRevisedOrder(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	old := b.order(key)
	a := b.send(http.MethodPost, "/v1/quotes", key, fmt.Sprintf(`{"revises":%q,"lines":[{"configuration":%s,"quantity":3}]}`, old.Id, small))
	placed := b.send(http.MethodPost, "/v1/orders", key, fmt.Sprintf(`{"quote_id":%q}`, memberText(t, a.body, "id")))
	if placed.status != 201 || memberText(t, placed.body, "replaces") != old.Id.String() {
		t.Fatalf("%d %s", placed.status, placed.body)
	}
	if got := b.send(http.MethodGet, "/v1/orders/"+old.Id.String(), key, ""); memberText(t, got.body, "state") != "cancelled" {
		t.Errorf("%s", got.body)
	}
	b.send(http.MethodPost, "/v1/quotes", key, fmt.Sprintf(`{"revises":%q,"lines":[{"configuration":%s}]}`, old.Id, small)).wants(t, 409, "order-closed")
}

// Sixty-four clients post the same order with the same key: one order, and the same
// answer, byte for byte, to everyone who gets one.
func TestOneOrderOfMany(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	body := fmt.Sprintf(`{"quote_id":%q}`, b.quote(key).Id)
	answers := make([]answer, 64)
	var all sync.WaitGroup
	for i := range answers {
		all.Go(func() { answers[i] = b.send(http.MethodPost, "/v1/orders", key, body, "Idempotency-Key", "one") })
	}
	all.Wait()
	var first []byte
	for _, a := range answers {
		switch {
		case a.status == 201 && (first == nil || bytes.Equal(first, a.body)):
			first = a.body
		case a.status == 409:
			a.wants(t, 409, "request-in-progress")
		default:
			t.Errorf("%d %s", a.status, a.body)
		}
	}
	again := b.send(http.MethodPost, "/v1/orders", key, body, "Idempotency-Key", "one")
	if again.status != 201 || !bytes.Equal(again.body, first) || again.header.Get("ETag") != `"1"` || again.header.Get("Location") == "" {
		t.Errorf("%d %s", again.status, again.body)
	}
	var l client.OrderList
	strict(t, b.send(http.MethodGet, "/v1/orders", key, "").body, &l)
	if len(l.Items) != 1 {
		t.Errorf("%d orders", len(l.Items))
	}
}

// The document's words and its table of steps are the code's.
func TestOrderWordsAreTheDocuments(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	words := func(schema string) (list []string) {
		for _, w := range doc.Components.Schemas[schema].Value.Enum {
			list = append(list, w.(string))
		}
		return list
	}
	var kinds, states []string
	for _, k := range order.Kinds {
		kinds = append(kinds, string(k.Kind))
	}
	for _, s := range record.OrderStates {
		states = append(states, string(s))
	}
	if got := words("EventType"); !slices.Equal(got, kinds) {
		t.Errorf("event types %v, want %v", got, kinds)
	}
	if got := words("OrderState"); !slices.Equal(got, states) {
		t.Errorf("states %v, want %v", got, states)
	}
	if tag := doc.Tags.Get("orders"); tag == nil || !strings.Contains(tag.Description, strings.TrimSpace(order.Table())) {
		t.Error("the document's table of steps is not the code's")
	}
	for reason, p := range byReason {
		if problems[p.name] != p {
			t.Errorf("%s leads to a problem without a page", reason)
		}
	}
}
