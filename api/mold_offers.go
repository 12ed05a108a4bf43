package api

import (
	"github.com/google/uuid"

	"hatchwright/service/quantity"
	"hatchwright/service/record"
)

// wireMoldInUse is a mold of the register, as anybody may know it who may have parts
// from it.
type wireMoldInUse struct {
	Part text      `json:"part"`
	ID   uuid.UUID `json:"id"`
	Tag  optional  `json:"tag"`
}

// wireNearMold is a hatch out of molds that are there, a little off what was asked.
type wireNearMold struct {
	Molds       []wireMoldInUse      `json:"molds"`
	Off         length               `json:"off"`
	Differences []wireMoldDifference `json:"differences"`
	Promise     text                 `json:"promise"`
	DaysSaved   int                  `json:"days_saved"`
	Price       price                `json:"price"`
	PriceSaved  price                `json:"price_saved"`
}

type wireMoldDifference struct {
	Part  text   `json:"part"`
	What  text   `json:"what"`
	By    length `json:"by"`
	Asked length `json:"asked"`
}

func toMoldInUse(m *record.QuoteMold) wireMoldInUse {
	return wireMoldInUse{text(m.Part), m.ID, optional(m.Tag)}
}

func toNearMold(n *record.QuoteNearMold, units quantity.System) wireNearMold {
	return wireNearMold{rows(n.Molds, toMoldInUse), length{n.Off, units},
		rows(n.Differences, func(d *record.QuoteMoldDifference) wireMoldDifference {
			return wireMoldDifference{text(d.Part), text(d.What), length{d.By, units}, length{d.Asked, units}}
		}),
		text(n.Promise), n.DaysSaved, toPrice(n.Price), toPrice(n.PriceSaved)}
}
