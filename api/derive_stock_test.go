package api

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/govalues/decimal"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// TestStockIsTakenFirst has resin on hand of four ages, part of it set aside: only
// what is free and good until it is used is taken before resin is bought, and the
// price stays. Shop rule: first what is there; the figures are sums by hand.
func TestStockIsTakenFirst(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	order := b.order(key).Id

	body := scenarios["equipped"]
	derive := func(query string) client.Derivation {
		t.Helper()
		var d client.Derivation
		a := b.send(http.MethodPost, "/v1/derive"+query, b.shop, body)
		if a.status != http.StatusOK {
			t.Fatalf("%d %s", a.status, a.body)
		}
		strict(t, a.body, &d)
		return d
	}
	of := func(d client.Derivation, material string) client.Purchase {
		t.Helper()
		i := slices.IndexFunc(d.Bill.Purchases, func(p client.Purchase) bool { return p.Key == material })
		if i < 0 {
			t.Fatalf("nothing of %q is needed", material)
		}
		return d.Bill.Purchases[i]
	}
	codes := func(list []client.Finding) string {
		var out []string
		for _, f := range list {
			if strings.HasPrefix(f.Code, "stock.") {
				out = append(out, f.Code+" "+f.Pointer)
			}
		}
		return strings.Join(out, ", ")
	}
	plain := derive("")
	if plain.Bill.StockOn != nil || codes(plain.Findings) != "" {
		t.Errorf("the stock was not asked: %v, %s", plain.Bill.StockOn, codes(plain.Findings))
	}
	need := of(plain, resin).Gross

	b.receive(4, "2026-11-29") // today is 2026-11-30
	b.receive(5, "2026-12-01") // laminated is later
	good := b.receive(0.75, "2027-02-01")
	if a := b.send(http.MethodPost, "/v1/stock/moves", b.shop, fmt.Sprintf(`{"kind":"reserve","amount":0.25,"lot_id":%q,"order_id":%q}`, good.Id, order)); a.status != http.StatusCreated {
		t.Fatalf("%d %s", a.status, a.body)
	}
	if a := b.send(http.MethodPost, "/v1/stock/moves", b.shop, `{"kind":"receive","amount":900,"lot":{"material":"mat-450"}}`); a.status != http.StatusCreated {
		t.Fatalf("%d %s", a.status, a.body)
	}

	check := func(name string, d client.Derivation) {
		t.Helper()
		if d.Bill.StockOn == nil || *d.Bill.StockOn != openapiDate("2026-11-30") {
			t.Errorf("%s: stock of %v", name, d.Bill.StockOn)
		}
		p := of(d, resin)
		if p.FromStock != 0.5 || math.Abs(p.Buy-(need-0.5)) > 1e-6 || p.Packs != int(math.Ceil(p.Buy/p.Pack)) || p.Cost.Amount != times(t, p.PricePerPack.Amount, p.Packs) {
			t.Errorf("%s: of %v kg with 0.5 free: %+v", name, need, p)
		}
		if m := of(d, "mat-450"); m.FromStock != m.Gross || m.Buy != 0 || m.Packs != 0 || m.Left != 0 || m.Cost.Amount != "0.00" {
			t.Errorf("%s: of mat there is enough: %+v", name, m)
		}
		if !reflect.DeepEqual(d.Bill.Totals, plain.Bill.Totals) {
			t.Errorf("%s: the price is %+v with stock and %+v without", name, d.Bill.Totals, plain.Bill.Totals)
		}
		var costs []string
		for _, p := range d.Bill.Purchases {
			costs = append(costs, p.Cost.Amount)
		}
		if sum := sumOf(t, costs...); sum != d.Bill.Spend.Amount {
			t.Errorf("%s: to spend %s, the purchases cost %s", name, d.Bill.Spend.Amount, sum)
		}
		if got := codes(d.Findings); got != "stock.ages_before_use /laminate/resin, stock.past_age /laminate/resin" {
			t.Errorf("%s: findings %s", name, got)
		}
		for _, f := range d.Findings {
			if f.Code == "stock.past_age" && (f.Measured != 1 || f.Limit != 0 || f.Unit != "d" || f.Severity != "caution" || !strings.Contains(f.Message, `lot "P-2291" was good until 2026-11-29, 1 d ago`)) {
				t.Errorf("%s: %+v", name, f)
			}
		}
		if d.Verdict != "makeable_with_cautions" {
			t.Errorf("%s: verdict %s", name, d.Verdict)
		}
	}
	taken := derive("?stock=true")
	check("derive", taken)
	if off := derive("?stock=false"); off.Bill.StockOn != nil || of(off, resin).FromStock != 0 {
		t.Errorf("stock=false took %+v", of(off, resin))
	}
	if a, z := of(plain, "mat-450"), of(taken, "mat-450"); a.Packs == 0 || sumOf(t, taken.Bill.Spend.Amount, a.Cost.Amount) != plain.Bill.Spend.Amount {
		t.Errorf("mat %+v, then %+v: spend %v, then %v", a, z, plain.Bill.Spend, taken.Bill.Spend)
	}

	// Each of a batch as if alone, and a kept one with the stock of today.
	var batch struct {
		Results []struct{ Derivation client.Derivation }
	}
	a := b.send(http.MethodPost, "/v1/derive/batch?stock=true", b.shop, `{"configurations":[`+body+`,`+body+`]}`)
	if err := json.Unmarshal(a.body, &batch); err != nil || len(batch.Results) != 2 {
		t.Fatalf("%v %.300s", err, a.body)
	}
	check("first of a batch", batch.Results[0].Derivation)
	check("second of a batch", batch.Results[1].Derivation)
	at := b.keep(key, `{"configuration":`+body+`}`).header.Get("Location")
	before := b.send(http.MethodGet, at+"/derivation", key, "")
	kept := b.send(http.MethodGet, at+"/derivation?stock=true", b.shop, "")
	var d client.Derivation
	strict(t, kept.body, &d)
	check("kept", d)
	if after := b.send(http.MethodGet, at+"/derivation", key, ""); string(after.body) != string(before.body) || strings.Contains(string(after.body), "stock.") {
		t.Error("what is kept changed with the stock")
	}
	table := b.send(http.MethodGet, at+"/derivation?stock=true", b.shop, "", "Accept", "text/csv")
	if row := "purchase,mat-450,"; !strings.Contains(string(table.body), row) || !strings.Contains(string(table.body), ",,0,m2,") {
		t.Errorf("%s", table.body)
	}

	// What is mixed today.
	for name, c := range map[string]struct {
		key  string
		want string
	}{"shop": {b.shop, "stock.past_age /laminate/resin"}} {
		var m client.Mixes
		a := b.send(http.MethodGet, at+"/mixes?temperature=22", c.key, "")
		strict(t, a.body, &m)
		if a.status != http.StatusOK || codes(m.Findings) != c.want || len(m.Mixes) == 0 {
			t.Errorf("%s: %d, %d mixes, findings %s", name, a.status, len(m.Mixes), codes(m.Findings))
		}
	}

	// The stock is the shop's alone.
	_, window := b.dealer("Fennimore Yachts", record.RoleStorefront)
	for name, a := range map[string]answer{
		"dealer":     b.send(http.MethodPost, "/v1/derive?stock=true", key, body),
		"storefront": b.send(http.MethodPost, "/v1/derive?stock=true", window, body),
		"batch":      b.send(http.MethodPost, "/v1/derive/batch?stock=true", key, `{"configurations":[`+body+`]}`),
		"kept":       b.send(http.MethodGet, at+"/derivation?stock=true", key, ""),
	} {
		p := a.problem(t)
		if a.status != http.StatusForbidden || p.Type != "/problems/forbidden" || len(p.Errors) != 1 || *p.Errors[0].Parameter != "stock" {
			t.Errorf("%s: %d %s", name, a.status, a.body)
		}
	}
	if a := b.send(http.MethodPost, "/v1/derive?stock=some", b.shop, body); a.status != http.StatusBadRequest {
		t.Errorf("%d %s", a.status, a.body)
	}
}

// times multiplies an amount of money by a count.
func times(t *testing.T, amount string, n int) string {
	t.Helper()
	list := make([]string, n)
	for i := range list {
		list[i] = amount
	}
	return sumOf(t, list...)
}

// sumOf adds amounts of money, all with their minor units.
func sumOf(t *testing.T, amounts ...string) string {
	t.Helper()
	sum := decimal.MustParse("0.00")
	for _, a := range amounts {
		d, err := decimal.Parse(a)
		if err == nil {
			sum, err = sum.Add(d)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return sum.String()
}
