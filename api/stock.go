package api

import (
	"net/http"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
)

// getStock sums what is on hand by material.
func (a *api) getStock(c *call) error {
	s, err := a.service.ListStock(c.Request().Context(), c.caller)
	if err != nil {
		return err
	}
	return c.answer(http.StatusOK, wireStock{text(s.On.String()), rows(s.Materials, toMaterialStock)})
}

type wireStock struct {
	AsOf  text                `json:"as_of"`
	Items []wireMaterialStock `json:"items"`
}

type wireMaterialStock struct {
	Material   text     `json:"material"`
	Unit       text     `json:"unit"`
	OnHand     amount   `json:"on_hand"`
	Reserved   amount   `json:"reserved"`
	Free       amount   `json:"free"`
	Expired    amount   `json:"expired"`
	Lots       int      `json:"lots"`
	NextExpiry optional `json:"next_expiry"`
}

func toMaterialStock(m *service.MaterialStock) wireMaterialStock {
	out := wireMaterialStock{text(m.Material), text(m.Unit), amount(m.OnHand), amount(m.Reserved), amount(m.Free), amount(m.Expired), m.Lots, ""}
	if m.NextEnd != nil {
		out.NextExpiry = optional(m.NextEnd.String())
	}
	return out
}

// listLots lists lots.
func (a *api) listLots(c *call) error {
	f := store.LotFilter{Material: c.queryText("material"), Held: c.queryTrue("held"), ExpiresBy: c.queryDay("expires_by")}
	l, err := a.service.ListLots(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, toLot)
}

type wireLot struct {
	ID         uuid.UUID `json:"id"`
	Material   text      `json:"material"`
	Unit       text      `json:"unit"`
	Batch      optional  `json:"batch"`
	OnHand     amount    `json:"on_hand"`
	Reserved   amount    `json:"reserved"`
	ReceivedOn text      `json:"received_on"`
	ExpiresOn  optional  `json:"expires_on"`
	CreatedAt  moment    `json:"created_at"`
	UpdatedAt  moment    `json:"updated_at"`
}

func toLot(l *record.Lot) wireLot {
	return wireLot{l.ID, text(l.Material), text(l.Unit), optional(l.Batch), amount(l.OnHand), amount(l.Reserved),
		text(l.ReceivedOn), optional(l.ExpiresOn), moment(l.CreatedAt), moment(l.UpdatedAt)}
}
