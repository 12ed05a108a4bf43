package api

import (
	"net/http"

	"hatchwright/service"
	"hatchwright/service/quantity"
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
	w := newWriter(quantity.Metric)
	defer w.free()
	w.shortages(&s)
	return c.send(http.StatusOK, w)
}

func (w *writer) shortages(s *service.Shortages) {
	w.object("")
	w.moment("as_of", &s.Backlog.MadeAt)
	w.boolean("stale", s.Backlog.Stale)
	w.list("shortages")
	for i := range s.Met {
		m := &s.Met[i]
		w.object("")
		w.text("order_id", m.Order)
		w.text("material", m.Material)
		w.optional("unit", s.Units[m.Material])
		w.amount("needed", m.Amount)
		w.amount("short", m.Short)
		w.text("needed_on", m.On.String())
		w.end()
	}
	w.endList()
	w.list("purchases")
	for i := range s.Purchases {
		p := &s.Purchases[i]
		w.object("")
		w.text("material", p.Material)
		w.optional("unit", s.Units[p.Material])
		w.optional("supplier", p.Supplier)
		w.amount("short", p.Short)
		w.integer("packs", p.Packs)
		w.amount("pack", p.Pack)
		w.amount("amount", p.Amount)
		if price, known := s.Costs[p.Material]; known {
			w.money("price", price)
		} else {
			w.null("price")
		}
		w.text("needed_on", p.NeededOn.String())
		w.integer("lead_working_days", p.LeadDays)
		w.text("order_by", p.OrderBy.String())
		w.boolean("late", p.Late)
		w.text("arrives_on", p.Arrives.String())
		w.texts("order_ids", p.Orders)
		w.end()
	}
	w.endList()
	w.texts("unsourced", s.Unsourced)
	w.end()
}
