package api

import (
	"hatchwright/service"
	"hatchwright/service/record"
)

// createDealer adds a dealer.
func (a *api) createDealer(c *call) error {
	n := service.NewDealer{Name: c.text("name"), Email: c.text("email")}
	made, err := a.service.CreateDealer(c.Request().Context(), c.caller, n, c.claim())
	return c.give(made.Answer, err)
}

// listDealers lists dealers.
func (a *api) listDealers(c *call) error {
	l, err := a.service.ListDealers(c.Request().Context(), c.caller, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, (*writer).dealer)
}

func (w *writer) dealer(d *record.Dealer) {
	w.object("")
	w.text("id", d.ID.String())
	w.text("name", d.Name)
	w.optional("email", d.Email)
	w.moment("created_at", &d.CreatedAt)
	w.end()
}
