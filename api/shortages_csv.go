package api

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"hatchwright/service"
	"hatchwright/service/civil"
	"hatchwright/service/stockroom"
)

// purchaseColumns are the columns of the list to buy from; what is not known stays
// empty.
var purchaseColumns = []string{"material", "unit", "supplier", "short", "packs", "pack", "quantity", "amount", "currency", "needed_on", "lead_working_days", "order_by",
	"late", "arrives_on", "orders"}

// purchasesCSV writes what to buy as CSV (RFC 4180), with a header. Materials that
// nobody has said how to buy come last, with what is short of them alone.
func purchasesCSV(s *service.Shortages) ([]byte, error) {
	rows := [][]string{purchaseColumns}
	for i := range s.Purchases {
		p := &s.Purchases[i]
		var price, currency string
		if c, known := s.Costs[p.Material]; known {
			price, currency = c.Value.String(), c.Currency
		}
		rows = append(rows, []string{plainCell(p.Material), s.Units[p.Material], plainCell(p.Supplier), p.Short.String(), strconv.Itoa(p.Packs), p.Pack.String(), p.Amount.String(),
			price, currency, p.NeededOn.String(), strconv.Itoa(p.LeadDays), p.OrderBy.String(), strconv.FormatBool(p.Late), p.Arrives.String(), strings.Join(p.Orders, " ")})
	}
	for _, material := range s.Unsourced {
		var short stockroom.Amount
		var first civil.Date
		var orders []string
		for _, m := range s.Met {
			if m.Material != material {
				continue
			}
			if len(orders) == 0 || m.On.Compare(first) < 0 {
				first = m.On
			}
			short, orders = short+m.Short, append(orders, m.Order)
		}
		rows = append(rows, []string{plainCell(material), s.Units[material], "", short.String(), "", "", "", "", "", first.String(), "", "", "", "", strings.Join(orders, " ")})
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("write the purchases: %w", err)
	}
	return out.Bytes(), nil
}
