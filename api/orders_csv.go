package api

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"

	"hatchwright/service/order"
	"hatchwright/service/record"
)

// orderColumns are the columns of a list of orders as CSV; what an order has not
// stays empty.
var orderColumns = []string{"id", "dealer_id", "quote_id", "state", "version", "purchase_reference", "replaces", "promise", "amount", "currency",
	"held_from", "held_by", "reason", "carrier", "tracking", "created_at", "updated_at"}

// ordersCSV writes orders as CSV (RFC 4180), with a header.
func ordersCSV(list []record.Order) ([]byte, error) {
	rows := [][]string{orderColumns}
	for i := range list {
		o := &list[i]
		var dealer, replaces string
		if o.DealerID != nil {
			dealer = o.DealerID.String()
		}
		if o.Replaces != nil {
			replaces = o.Replaces.String()
		}
		rows = append(rows, []string{o.ID.String(), dealer, o.QuoteID.String(), string(o.State), fmt.Sprint(o.Version), plainCell(o.PurchaseReference), replaces,
			o.Promise, o.Total.Value.String(), o.Total.Currency, string(o.HeldFrom), string(o.HeldBy), plainCell(o.Reason), plainCell(o.Carrier), plainCell(o.Tracking),
			order.Instant(o.CreatedAt), order.Instant(o.UpdatedAt)})
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("write the orders: %w", err)
	}
	return out.Bytes(), nil
}

// plainCell keeps a spreadsheet from taking somebody's words for a formula: an
// apostrophe in front marks text (the mitigation that OWASP gives for CSV
// injection, with the characters that it names).
func plainCell(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r\n", rune(s[0])) {
		return "'" + s
	}
	return s
}
