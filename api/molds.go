package api

import (
	"net/http"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/store"
)

// registerMold puts a mold into the register.
func (a *api) registerMold(c *call) error {
	n := service.NewMold{ConfigurationID: *c.bodyID("configuration_id"), Part: part.Part(c.text("part")), Tag: c.text("tag"), RemainingPulls: c.count("remaining_pulls"),
		Pulls: c.count("pulls"), DealerID: c.bodyID("dealer_id"), Location: c.text("location"), Note: c.text("note")}
	made, err := a.service.RegisterMold(c.Request().Context(), c.caller, n, c.claim())
	return c.give(made.Answer, err)
}

// listMolds lists the molds that the caller may have parts from.
func (a *api) listMolds(c *call) error {
	f := store.MoldFilter{DealerID: c.queryID("dealer_id"), State: record.MoldState(c.queryText("state")), Part: c.queryText("part"), Set: c.queryText("set")}
	l, err := a.service.ListMolds(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, func(m *record.Mold) wireRegisteredMold { return toRegisteredMold(m, c.caller) })
}

// getMold gives a mold.
func (a *api) getMold(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	m, err := a.service.GetMold(c.Request().Context(), c.caller, id)
	if err != nil {
		return err
	}
	if c.caller.May(record.RoleShop) { // versions count what others take from it
		c.Response().Header().Set("ETag", versionTag(m.Version))
	}
	return c.answer(http.StatusOK, toRegisteredMold(&m, c.caller))
}

// changeMold changes what is in the body and leaves the rest.
func (a *api) changeMold(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	match, err := c.match(true)
	if err != nil {
		return err
	}
	n := service.MoldChange{ID: id, Match: match, Tag: c.patch("tag"), Location: c.patch("location"), Note: c.patch("note")}
	if _, given := c.object()["remaining_pulls"]; given {
		left := c.count("remaining_pulls")
		n.RemainingPulls = &left
	}
	if s := record.MoldState(c.text("state")); s != "" {
		n.State = &s
	}
	made, err := a.service.ChangeMold(c.Request().Context(), c.caller, n)
	return c.give(made.Answer, err)
}

// count returns the whole number at a key of the body, 0 where it is left out.
func (c *call) count(key string) int {
	x, _ := c.object()[key].(float64)
	return int(x)
}

// patch returns the text that a key of the body changes a thing to: nil where it is
// left out, "" where it is null.
func (c *call) patch(key string) *string {
	if _, given := c.object()[key]; !given {
		return nil
	}
	text := c.text(key)
	return &text
}

// wireRegisteredMold is a mold of the register, lengths in mm.
type wireRegisteredMold struct {
	ID              uuid.UUID  `json:"id"`
	Version         int        `json:"version"`
	DealerID        *uuid.UUID `json:"dealer_id"`
	Tag             optional   `json:"tag"`
	ConfigurationID *uuid.UUID `json:"configuration_id"`
	Part            text       `json:"part"`
	Set             text       `json:"set"`
	Fingerprint     text       `json:"fingerprint"`
	Length          length     `json:"length"`
	Width           length     `json:"width"`
	LeastRadius     length     `json:"least_radius"`
	RemainingPulls  int        `json:"remaining_pulls"`
	Pulls           int        `json:"pulls"`
	State           text       `json:"state"`
	Location        optional   `json:"location"`
	Note            optional   `json:"note"`
	CreatedAt       moment     `json:"created_at"`
	UpdatedAt       moment     `json:"updated_at"`
}

// toRegisteredMold keeps the configurations of others from dealers.
func toRegisteredMold(m *record.Mold, to service.Caller) wireRegisteredMold {
	out := wireRegisteredMold{ID: m.ID, Version: m.Version, DealerID: m.DealerID, Tag: optional(m.Tag), Part: text(m.Part), Set: text(m.Set), Fingerprint: text(m.Fingerprint),
		Length: length{mm: m.Long}, Width: length{mm: m.Short}, LeastRadius: length{mm: m.LeastRadius}, RemainingPulls: m.RemainingPulls, Pulls: m.Pulls, State: text(m.State),
		Location: optional(m.Location), Note: optional(m.Note), CreatedAt: moment(m.CreatedAt), UpdatedAt: moment(m.UpdatedAt)}
	if to.Role == record.RoleShop || m.DealerID != nil {
		out.ConfigurationID = m.ConfigurationID
	}
	return out
}
