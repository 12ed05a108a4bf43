package api

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strconv"
)

const csvType = "text/csv"

// billColumns are the columns of a bill as CSV. Each row is a material, something
// to buy (net is then what to buy, gross what is needed), a kind of labor or a
// total; what a row has not stays empty.
var billColumns = []string{"row", "key", "name", "purpose", "net", "unit", "waste", "gross", "pack", "packs", "unit_price", "cost", "currency", "from"}

// billTotals are the totals in the order in which the price is made.
var billTotals = []string{"material", "labor", "overhead", "mold", "margin", "discount", "price_each", "price"}

// keptMoney and keptBill are the part of a kept derivation that is the bill, its
// figures as they were written.
type keptMoney struct {
	Amount   string `json:"amount"`
	Currency string `json:"currency"`
}

type keptBill struct {
	Lines []struct {
		Key          string      `json:"key"`
		Name         string      `json:"name"`
		Purpose      string      `json:"purpose"`
		Net          json.Number `json:"net"`
		Unit         string      `json:"unit"`
		Waste        json.Number `json:"waste"`
		Gross        json.Number `json:"gross"`
		Pack         json.Number `json:"pack"`
		Packs        int         `json:"packs"`
		PricePerPack keptMoney   `json:"price_per_pack"`
		Cost         keptMoney   `json:"cost"`
		From         string      `json:"from"`
	} `json:"lines"`
	Purchases []struct {
		Key   string      `json:"key"`
		Name  string      `json:"name"`
		Unit  string      `json:"unit"`
		Gross json.Number `json:"gross"`
		Buy   json.Number `json:"buy"`
		Pack  json.Number `json:"pack"`
		Packs int         `json:"packs"`
	} `json:"purchases"`
	Labor []struct {
		Kind   string      `json:"kind"`
		Center string      `json:"work_center"`
		Mold   bool        `json:"mold"`
		Hours  json.Number `json:"hours"`
		Rate   keptMoney   `json:"rate"`
		Cost   keptMoney   `json:"cost"`
	} `json:"labor"`
	Totals map[string]keptMoney `json:"totals"`
}

// billCSV writes the bill of a kept derivation as CSV (RFC 4180), with a header.
func billCSV(derivation []byte) ([]byte, error) {
	var kept struct {
		Bill keptBill `json:"bill"`
	}
	if err := json.Unmarshal(derivation, &kept); err != nil {
		return nil, fmt.Errorf("read the kept bill: %w", err)
	}
	rows := [][]string{billColumns}
	for _, l := range kept.Bill.Lines {
		rows = append(rows, []string{"material", plainCell(l.Key), plainCell(l.Name), plainCell(l.Purpose), l.Net.String(), l.Unit, l.Waste.String(), l.Gross.String(), l.Pack.String(), strconv.Itoa(l.Packs),
			l.PricePerPack.Amount, l.Cost.Amount, l.Cost.Currency, l.From})
	}
	for _, p := range kept.Bill.Purchases {
		rows = append(rows, []string{"purchase", plainCell(p.Key), plainCell(p.Name), "", p.Buy.String(), p.Unit, "", p.Gross.String(), p.Pack.String(), strconv.Itoa(p.Packs), "", "", "", ""})
	}
	for _, l := range kept.Bill.Labor {
		purpose := "part"
		if l.Mold {
			purpose = "mold"
		}
		rows = append(rows, []string{"labor", l.Kind, plainCell(l.Center), purpose, l.Hours.String(), "h", "", "", "", "", l.Rate.Amount, l.Cost.Amount, l.Cost.Currency, ""})
	}
	for _, key := range billTotals {
		m, ok := kept.Bill.Totals[key]
		if !ok {
			return nil, fmt.Errorf("the kept bill has no total %q", key)
		}
		rows = append(rows, []string{"total", key, "", "", "", "", "", "", "", "", "", m.Amount, m.Currency, ""})
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("write the bill: %w", err)
	}
	return out.Bytes(), nil
}
