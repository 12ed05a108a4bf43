package api

import (
	"net/http"

	"hatchwright/service/quantity"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// getStock sums what is on hand by material.
func (a *api) getStock(c *call) error {
	s, err := a.service.ListStock(c.Request().Context(), c.caller)
	if err != nil {
		return err
	}
	w := newWriter(quantity.Metric)
	defer w.free()
	w.object("")
	w.text("as_of", s.On.String())
	w.list("items")
	for i := range s.Materials {
		m := &s.Materials[i]
		w.object("")
		w.text("material", m.Material)
		w.text("unit", m.Unit)
		w.amount("on_hand", m.OnHand)
		w.amount("reserved", m.Reserved)
		w.amount("free", m.Free)
		w.amount("expired", m.Expired)
		w.integer("lots", m.Lots)
		if m.NextEnd == nil {
			w.null("next_expiry")
		} else {
			w.text("next_expiry", m.NextEnd.String())
		}
		w.end()
	}
	w.endList()
	w.end()
	return c.send(http.StatusOK, w)
}

// listLots lists lots.
func (a *api) listLots(c *call) error {
	f := store.LotFilter{Material: c.queryText("material"), Held: c.queryTrue("held"), ExpiresBy: c.queryDay("expires_by")}
	l, err := a.service.ListLots(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, (*writer).lot)
}

// lot writes a lot.
func (w *writer) lot(l *record.Lot) {
	w.object("")
	w.text("id", l.ID.String())
	w.text("material", l.Material)
	w.text("unit", l.Unit)
	w.optional("batch", l.Batch)
	w.amount("on_hand", l.OnHand)
	w.amount("reserved", l.Reserved)
	w.text("received_on", l.ReceivedOn)
	w.optional("expires_on", l.ExpiresOn)
	w.moment("created_at", &l.CreatedAt)
	w.moment("updated_at", &l.UpdatedAt)
	w.end()
}

// amount writes an amount of the stock, all its decimals.
func (w *writer) amount(k string, a stockroom.Amount) {
	w.key(k)
	w.buf = append(w.buf, a.String()...)
}
