package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/oapi-codegen/runtime/types"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

const resin = "general-purpose polyester"

// receive takes a lot of resin in, good until a day; "" for as the catalog says.
func (b *bench) receive(amount float64, until string) client.Lot {
	b.t.Helper()
	more := ""
	if until != "" {
		more = fmt.Sprintf(`,"received_on":"2026-11-01","expires_on":%q`, until)
	}
	a := b.send(http.MethodPost, "/v1/stock/moves", b.shop, fmt.Sprintf(`{"kind":"receive","amount":%v,"lot":{"material":%q,"batch":"P-2291"%s}}`, amount, resin, more))
	var m client.StockMoved
	if a.status != http.StatusCreated {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	strict(b.t, a.body, &m)
	return m.Lots[0]
}

// TestStock takes material in, sets it aside, uses it up and counts it, through the
// generated client.
func TestStock(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	shop := b.client(b.shop)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	order := b.order(key).Id

	old, soon := b.receive(4, "2026-11-29"), b.receive(5, "2026-12-31") // today is 2026-11-30
	b.clock.Add(time.Minute)
	late := b.receive(20.5, "")
	if *late.ExpiresOn != openapiDate("2027-02-28") || late.ReceivedOn != openapiDate("2026-11-30") || late.Unit != "kg" || *late.Batch != "P-2291" || late.OnHand != 20.5 {
		t.Errorf("90 days of shelf life: %+v", late)
	}
	stock := func() client.MaterialStock {
		t.Helper()
		s, err := shop.GetStockWithResponse(ctx)
		if err != nil || s.JSON200 == nil || len(s.JSON200.Items) != 1 || s.JSON200.AsOf != openapiDate("2026-11-30") {
			t.Fatalf("%v %s", err, s.Body)
		}
		return s.JSON200.Items[0]
	}
	if s := stock(); s.OnHand != 29.5 || s.Expired != 4 || s.Free != 25.5 || s.Reserved != 0 || s.Lots != 3 || *s.NextExpiry != openapiDate("2026-12-31") || s.Unit != "kg" {
		t.Errorf("%+v", s)
	}

	// What expires first is set aside first, and never what is past its date.
	material := resin
	reserved, err := shop.MoveStockWithResponse(ctx, nil, client.NewStockMove{Kind: "reserve", Amount: 7.25, Material: &material, OrderId: &order})
	if err != nil || reserved.JSON201 == nil || len(reserved.JSON201.Moves) != 2 || len(reserved.JSON201.Lots) != 2 {
		t.Fatalf("%v %s", err, reserved.Body)
	}
	for i, m := range reserved.JSON201.Moves {
		want := map[string]float64{soon.Id.String(): 5, late.Id.String(): 2.25}[m.LotId.String()]
		if m.Amount != want || m.ReservedChange != want || m.OnHandChange != 0 || reserved.JSON201.Lots[i].Reserved != want || reserved.JSON201.Lots[i].Id != m.LotId || *m.By.Role != "shop" {
			t.Errorf("%+v %+v", m, reserved.JSON201.Lots[i])
		}
	}
	enter := func(body string) answer { return b.send(http.MethodPost, "/v1/stock/moves", b.shop, body) }
	move := func(lot client.Lot, kind string, amount any, more string) answer {
		return enter(fmt.Sprintf(`{"kind":%q,"lot_id":%q,"amount":%v%s}`, kind, lot.Id, amount, more))
	}
	forOrder := fmt.Sprintf(`,"order_id":%q`, order)
	was := stock()
	for name, c := range map[string]struct {
		answer  answer
		status  int
		problem string
		at      string
	}{
		"more than there is":     {move(late, "scrap", 21, ""), 409, "stock-below", "/amount"},
		"more than is free":      {enter(fmt.Sprintf(`{"kind":"reserve","amount":19,"material":%q%s}`, resin, forOrder)), 409, "stock-below", "/amount"},
		"what is set aside":      {move(late, "issue", 19, ""), 409, "stock-reserved", "/amount"},
		"counted below":          {move(soon, "count", -1, ""), 409, "stock-reserved", "/amount"},
		"more than it has":       {move(soon, "release", 5.000001, forOrder), 409, "stock-free", "/amount"},
		"past its date":          {move(old, "reserve", 1, forOrder), 409, "stock-expired", "/lot_id"},
		"nothing":                {move(late, "scrap", 0, ""), 400, "stock-amount", "/amount"},
		"less than nothing":      {move(late, "return", -1, ""), 400, "stock-amount", "/amount"},
		"a tenth of a millionth": {move(late, "scrap", "1e-7", ""), 400, "stock-amount", "/amount"},
		"unknown material":       {enter(`{"kind":"receive","amount":1,"lot":{"material":"plaster"}}`), 400, "stock-material", "/lot/material"},
		"beyond all measure":     {move(late, "return", "1e10", ""), 400, "invalid-request", "/amount"},
		"unknown kind":           {move(late, "lend", 1, ""), 400, "invalid-request", "/kind"},
		"of nothing":             {enter(`{"kind":"scrap","amount":1}`), 400, "invalid-request", ""},
		"of two things":          {move(late, "reserve", 1, forOrder+`,"material":"x"`), 400, "invalid-request", ""},
		"receipt into a lot":     {move(late, "receive", 1, ""), 400, "invalid-request", "/lot"},
		"scrap of a material":    {enter(`{"kind":"scrap","amount":1,"material":"x"}`), 400, "invalid-request", "/material"},
		"reserved for nobody":    {move(late, "reserve", 1, ""), 400, "invalid-request", "/order_id"},
		"no such order":          {move(late, "reserve", 1, `,"order_id":"`+nobody+`"`), 404, "not-found", "/order_id"},
		"no such lot":            {enter(`{"kind":"scrap","amount":1,"lot_id":"` + nobody + `"}`), 404, "not-found", "/lot_id"},
		"received tomorrow":      {enter(`{"kind":"receive","amount":1,"lot":{"material":"body filler","received_on":"2026-12-01"}}`), 400, "invalid-request", "/lot/received_on"},
		"expired on receipt":     {enter(`{"kind":"receive","amount":1,"lot":{"material":"body filler","expires_on":"2026-11-29"}}`), 400, "invalid-request", "/lot/expires_on"},
		"a field too many":       {enter(`{"kind":"receive","amount":1,"lot":{"material":"body filler","shelf":2}}`), 400, "invalid-request", "/lot/shelf"},
		"a text for an amount":   {move(late, "scrap", `"1"`, ""), 400, "invalid-request", "/amount"},
	} {
		p := c.answer.problem(t)
		if c.answer.status != c.status || p.Type != "/problems/"+c.problem || len(p.Errors) == 0 || p.Errors[0].Pointer != c.at || p.Errors[0].Message == "" {
			t.Errorf("%s: %d %s", name, c.answer.status, c.answer.body)
		}
	}
	if is := stock(); is.OnHand != was.OnHand || is.Reserved != was.Reserved || is.Lots != was.Lots {
		t.Errorf("what was refused changed the stock from %+v to %+v", was, is)
	}

	// Once only.
	body := fmt.Sprintf(`{"kind":"issue","lot_id":%q,"amount":2,"note":"lid 1"%s}`, soon.Id, forOrder)
	first := b.send(http.MethodPost, "/v1/stock/moves", b.shop, body, "Idempotency-Key", "use 1")
	again := b.send(http.MethodPost, "/v1/stock/moves", b.shop, body, "Idempotency-Key", "use 1")
	if first.status != 201 || !bytes.Equal(first.body, again.body) {
		t.Errorf("%d %s, then %d %s", first.status, first.body, again.status, again.body)
	}
	if a := move(late, "count", -0.25, ""); a.status != http.StatusCreated {
		t.Errorf("%d %s", a.status, a.body)
	}
	if a := move(old, "scrap", 4, ""); a.status != http.StatusCreated {
		t.Errorf("%d %s", a.status, a.body)
	}
	if s := stock(); s.OnHand != 23.25 || s.Reserved != 5.25 || s.Free != 18 || s.Expired != 0 || s.Lots != 2 {
		t.Errorf("%+v", s)
	}

	// Lots and the book, narrowed and page by page.
	held, day := true, openapiDate("2026-12-31")
	for name, c := range map[string]struct {
		filter client.ListLotsParams
		lots   int
	}{"all": {client.ListLotsParams{}, 3}, "held": {client.ListLotsParams{Held: &held}, 2}, "expiring": {client.ListLotsParams{ExpiresBy: &day}, 2}, "of another": {client.ListLotsParams{Material: pointer("body filler")}, 0}} {
		l, err := shop.ListLotsWithResponse(ctx, &c.filter)
		if err != nil || l.JSON200 == nil || len(l.JSON200.Items) != c.lots {
			t.Errorf("%s: %v %s", name, err, l.Body)
		}
	}
	kind := client.StockMoveKind("reserve")
	from := monday.Add(time.Minute)
	for name, c := range map[string]struct {
		filter client.ListStockMovesParams
		moves  int
	}{
		"all": {client.ListStockMovesParams{}, 8}, "lot": {client.ListStockMovesParams{LotId: &soon.Id}, 3}, "order": {client.ListStockMovesParams{OrderId: &order}, 3},
		"kind": {client.ListStockMovesParams{Kind: &kind}, 2}, "material": {client.ListStockMovesParams{Material: pointer("body filler")}, 0},
		"from": {client.ListStockMovesParams{CreatedFrom: &from}, 6}, "before": {client.ListStockMovesParams{CreatedBefore: &from}, 2},
	} {
		l, err := shop.ListStockMovesWithResponse(ctx, &c.filter)
		if err != nil || l.JSON200 == nil || len(l.JSON200.Items) != c.moves {
			t.Errorf("%s: %v %s", name, err, l.Body)
		}
	}
	var sum float64
	seen, cursor, two := map[string]bool{}, (*client.Cursor)(nil), 3
	for {
		l, err := shop.ListStockMovesWithResponse(ctx, &client.ListStockMovesParams{Limit: &two, Cursor: cursor})
		if err != nil || l.JSON200 == nil {
			t.Fatalf("%v %s", err, l.Body)
		}
		for _, m := range l.JSON200.Items {
			seen[m.Id.String()] = true
			sum += m.OnHandChange
		}
		if cursor = l.JSON200.NextCursor; cursor == nil {
			break
		}
	}
	if len(seen) != 8 || sum != 23.25 {
		t.Errorf("%d moves add up to %v kg", len(seen), sum)
	}
	for _, path := range []string{"/v1/stock", "/v1/stock/lots", "/v1/stock/moves", "/v1/stock/shortages"} {
		b.send(http.MethodGet, path, key, "").wants(t, 403, "forbidden")
	}

	// An order that uses nothing any more gets nothing set aside.
	closed := b.order(key)
	if a := b.send(http.MethodPost, "/v1/orders/"+closed.Id.String()+"/cancellation", b.shop, `{"reason":"boat sold"}`, "If-Match", "*"); a.status != http.StatusOK {
		t.Fatalf("%d %s", a.status, a.body)
	}
	kept := stock()
	a := move(late, "reserve", 1, fmt.Sprintf(`,"order_id":%q`, closed.Id))
	a.wants(t, http.StatusConflict, "order-closed")
	if p := a.problem(t); len(p.Errors) != 1 || p.Errors[0].Pointer != "/order_id" {
		t.Errorf("%s", a.body)
	}
	if is := stock(); is.Reserved != kept.Reserved {
		t.Errorf("for an order that is closed %v are set aside, want %v", is.Reserved, kept.Reserved)
	}
}

// TestShortages: what an order needs beyond what the stock holds is to be bought, in
// whole packs and in time, and is for sale in the list as CSV.
func TestShortages(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	shop := b.client(b.shop)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	b.receive(0.001, "")
	order := b.order(key).Id
	if _, err := b.service.RefreshBacklog(ctx); err != nil {
		t.Fatal(err)
	}
	got, err := shop.ListShortagesWithResponse(ctx)
	if err != nil || got.JSON200 == nil || got.JSON200.Stale {
		t.Fatalf("%v %s", err, got.Body)
	}
	s := got.JSON200
	if len(s.Shortages) == 0 || len(s.Purchases) == 0 {
		t.Fatalf("nothing is short: %s", got.Body)
	}
	short := map[string]float64{}
	for _, r := range s.Shortages {
		if r.OrderId != order || r.Short > r.Needed || r.Short <= 0 {
			t.Errorf("%+v", r)
		}
		short[r.Material] += r.Short
	}
	for _, p := range s.Purchases {
		if d := p.Short - short[p.Material]; d > 1e-9 || d < -1e-9 || p.Amount < p.Short || p.Amount != float64(p.Packs)*p.Pack || p.OrderBy.After(p.NeededOn.Time) || p.OrderIds[0] != order {
			t.Errorf("%+v, short %v", p, short[p.Material])
		}
		// A pack of resin is 20 kg for 118.00, four working days away.
		if p.Material == resin && (p.Packs != 1 || p.Pack != 20 || p.Price.Amount != "118.00" || *p.Supplier != "Sound Composites Supply" || p.LeadWorkingDays != 4 || *p.Unit != "kg") {
			t.Errorf("%+v", p)
		}
	}
	if short[resin] == 0 {
		t.Errorf("resin is not short: %v", short)
	}
	a := b.send(http.MethodGet, "/v1/stock/shortages", b.shop, "", "Accept", "text/csv")
	rows, err := csv.NewReader(bytes.NewReader(a.body)).ReadAll()
	if err != nil || len(rows) != 1+len(s.Purchases)+len(s.Unsourced) || strings.Join(rows[0], ",") != strings.Join(purchaseColumns, ",") || !strings.HasPrefix(a.header.Get("Content-Type"), "text/csv") {
		t.Fatalf("%v %s", err, a.body)
	}
	for i, p := range s.Purchases {
		r := rows[1+i]
		if r[0] != p.Material || r[7] != p.Price.Amount || r[11] != p.OrderBy.String() || r[14] != order.String() {
			t.Errorf("row %q of %+v", r, p)
		}
	}
	b.send(http.MethodGet, "/v1/stock/shortages", b.shop, "", "Accept", "application/pdf").wants(t, 406, "not-acceptable")
}

// openapiDate is a day as the generated client has it.
func openapiDate(text string) types.Date {
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err) // written in the tests
	}
	return types.Date{Time: day}
}
