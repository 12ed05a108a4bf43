package api

import (
	"net/http"

	"hatchwright/service"
	"hatchwright/service/stockroom"
)

// listShortages tells what runs short and what to buy, as JSON or the purchases as
// CSV.
func (a *api) listShortages(c *call) error {
	i, err := c.negotiate("The list", []string{jsonType, csvType})
	if err != nil {
		return err
	}
	s, err := a.service.ListShortages(c.Request().Context(), c.caller)
	if err != nil {
		return err
	}
	if i == 1 {
		table, err := purchasesCSV(&s)
		if err != nil {
			return err
		}
		c.Response().Header().Set("Content-Disposition", `attachment; filename="purchases.csv"`)
		return c.Blob(http.StatusOK, csvType+"; charset=utf-8; header=present", table)
	}
	return c.answer(http.StatusOK, toShortages(&s))
}

type wireShortages struct {
	AsOf      moment         `json:"as_of"`
	Stale     bool           `json:"stale"`
	Shortages []wireShortage `json:"shortages"`
	Purchases []wirePurchase `json:"purchases"`
	Unsourced []text         `json:"unsourced"`
}

type wireShortage struct {
	OrderID  text     `json:"order_id"`
	Material text     `json:"material"`
	Unit     optional `json:"unit"`
	Needed   amount   `json:"needed"`
	Short    amount   `json:"short"`
	NeededOn text     `json:"needed_on"`
}

// wirePurchase is what to buy.
type wirePurchase struct {
	Material        text     `json:"material"`
	Unit            optional `json:"unit"`
	Supplier        optional `json:"supplier"`
	Short           amount   `json:"short"`
	Packs           int      `json:"packs"`
	Pack            amount   `json:"pack"`
	Amount          amount   `json:"amount"`
	Price           *price   `json:"price"`
	NeededOn        text     `json:"needed_on"`
	LeadWorkingDays int      `json:"lead_working_days"`
	OrderBy         text     `json:"order_by"`
	Late            bool     `json:"late"`
	ArrivesOn       text     `json:"arrives_on"`
	OrderIDs        []text   `json:"order_ids"`
}

func toShortages(s *service.Shortages) wireShortages {
	return wireShortages{
		AsOf: moment(s.Backlog.MadeAt), Stale: s.Backlog.Stale, Unsourced: texts(s.Unsourced),
		Shortages: rows(s.Met, func(m *stockroom.Met) wireShortage {
			return wireShortage{text(m.Order), text(m.Material), optional(s.Units[m.Material]), amount(m.Amount), amount(m.Short), text(m.On.String())}
		}),
		Purchases: rows(s.Purchases, func(p *stockroom.Purchase) wirePurchase {
			out := wirePurchase{text(p.Material), optional(s.Units[p.Material]), optional(p.Supplier), amount(p.Short), p.Packs, amount(p.Pack), amount(p.Amount), nil,
				text(p.NeededOn.String()), p.LeadDays, text(p.OrderBy.String()), p.Late, text(p.Arrives.String()), texts(p.Orders)}
			if cost, known := s.Costs[p.Material]; known {
				at := toPrice(cost)
				out.Price = &at
			}
			return out
		}),
	}
}
