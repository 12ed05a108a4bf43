package api

import (
	"github.com/google/uuid"

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
	return sendList(c, l, toDealer)
}

type wireDealer struct {
	ID        uuid.UUID `json:"id"`
	Name      text      `json:"name"`
	Email     optional  `json:"email"`
	CreatedAt moment    `json:"created_at"`
}

func toDealer(d *record.Dealer) wireDealer {
	return wireDealer{d.ID, text(d.Name), optional(d.Email), moment(d.CreatedAt)}
}
