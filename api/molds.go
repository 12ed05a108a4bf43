package api

import (
	"net/http"

	"hatchwright/service"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
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
	return sendList(c, l, func(w *writer, m *record.Mold) { w.registeredMold(m, c.caller) })
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
	w := newWriter(quantity.Metric)
	defer w.free()
	w.registeredMold(&m, c.caller)
	if c.caller.May(record.RoleShop) { // versions count what others take from it
		c.Response().Header().Set("ETag", versionTag(m.Version))
	}
	return c.send(http.StatusOK, w)
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

// registeredMold writes a mold, lengths in mm. The configurations of others it keeps
// from dealers.
func (w *writer) registeredMold(m *record.Mold, to service.Caller) {
	w.object("")
	w.text("id", m.ID.String())
	w.integer("version", m.Version)
	w.id("dealer_id", m.DealerID)
	w.optional("tag", m.Tag)
	if to.Role == record.RoleShop || m.DealerID != nil {
		w.id("configuration_id", m.ConfigurationID)
	} else {
		w.null("configuration_id")
	}
	w.text("part", m.Part)
	w.text("set", m.Set)
	w.text("fingerprint", m.Fingerprint)
	w.length("length", m.Long)
	w.length("width", m.Short)
	w.length("least_radius", m.LeastRadius)
	w.integer("remaining_pulls", m.RemainingPulls)
	w.integer("pulls", m.Pulls)
	w.text("state", string(m.State))
	w.optional("location", m.Location)
	w.optional("note", m.Note)
	w.moment("created_at", &m.CreatedAt)
	w.moment("updated_at", &m.UpdatedAt)
	w.end()
}
