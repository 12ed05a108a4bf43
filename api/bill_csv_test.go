package api

import (
	"bytes"
	"encoding/csv"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"github.com/govalues/decimal"

	"hatchwright/openapi/client"
)

// TestBillCSV reads the bill back as a spreadsheet would and adds it up: every
// line of the derivation is there, the rows come to the totals.
func TestBillCSV(t *testing.T) {
	b := newBench(t)
	for _, name := range []string{"equipped", "inches", "gutter"} {
		at := b.keep(b.shop, `{"configuration":`+scenarios[name]+`}`).header.Get("Location") + "/derivation"
		plain := b.send(http.MethodGet, at, b.shop, "")
		var d client.Derivation
		strict(t, plain.body, &d)
		got := b.send(http.MethodGet, at, b.shop, "", "Accept", "application/json;q=0.5, text/csv")
		if got.status != http.StatusOK || got.header.Get("Content-Type") != "text/csv; charset=utf-8; header=present" || !bytes.Contains(got.body, []byte("\r\n")) {
			t.Fatalf("%d %v %s", got.status, got.header, got.body)
		}
		rows, err := csv.NewReader(bytes.NewReader(got.body)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if strings.Join(rows[0], ",") != strings.Join(billColumns, ",") || len(rows) != 1+len(d.Bill.Lines)+len(d.Bill.Purchases)+len(d.Bill.Labor)+len(billTotals) {
			t.Fatalf("%d rows of %v", len(rows), rows[0])
		}
		column := map[string]int{}
		for i, c := range rows[0] {
			column[c] = i
		}
		sum := map[string]decimal.Decimal{}
		totals := map[string]string{}
		for i, r := range rows[1:] {
			if r[0] == "purchase" {
				p := d.Bill.Purchases[i-len(d.Bill.Lines)]
				if packs, err := strconv.Atoi(r[column["packs"]]); r[column["key"]] != p.Key || err != nil || packs != p.Packs || r[column["cost"]] != "" {
					t.Errorf("%q is not %+v", r, p)
				}
				continue
			}
			if r[column["currency"]] != d.Bill.Totals.Price.Currency {
				t.Errorf("%q", r)
			}
			if r[0] == "total" {
				totals[r[column["key"]]] = r[column["cost"]]
				continue
			}
			if r[0] == "material" {
				if l := d.Bill.Lines[i]; r[column["key"]] != l.Key || r[column["name"]] != l.Name || r[column["cost"]] != l.Cost.Amount || r[column["from"]] != l.From {
					t.Errorf("%q is not %+v", r, l)
				}
			}
			cost, err := decimal.Parse(r[column["cost"]])
			if err != nil {
				t.Fatal(err)
			}
			k := r[0] + " " + r[column["purpose"]]
			if sum[k], err = sum[k].Add(cost); err != nil {
				t.Fatal(err)
			}
		}
		material, err := sum["material part"].Add(sum["material consumable"])
		if err != nil {
			t.Fatal(err)
		}
		if material.String() != totals["material"] || sum["labor part"].String() != totals["labor"] {
			t.Errorf("%s: materials %v and labor %v, told are %v and %v", name, material, sum["labor part"], totals["material"], totals["labor"])
		}
		if p := b.send(http.MethodGet, at, b.shop, "", "Accept", "text/html").problem(t); p.Status != http.StatusNotAcceptable || !strings.HasSuffix(p.Detail, "application/json or text/csv.") {
			t.Errorf("%+v", p)
		}
		if again := b.send(http.MethodGet, at, b.shop, "", "Accept", "*/*"); !bytes.Equal(again.body, plain.body) {
			t.Error("any format is not JSON")
		}
	}
	if _, err := billCSV([]byte(`{"bill":{"lines":[],"labor":[],"totals":{}}}`)); err == nil {
		t.Error("a bill without totals is written")
	}
}
