package api

import (
	"encoding/json"
	"net/http"

	"hatchwright/service"
	"hatchwright/service/drawing"
	"hatchwright/service/quantity"
	"hatchwright/service/record"
	"hatchwright/store"
)

// createConfiguration derives and keeps a configuration.
func (a *api) createConfiguration(c *call) error {
	r, err := c.configuration("configuration")
	if err != nil {
		return err
	}
	var asked struct {
		Configuration json.RawMessage `json:"configuration"`
	}
	if err := json.Unmarshal(c.body, &asked); err != nil {
		return err
	}
	n := service.NewConfiguration{
		Request: r, Pointer: "/configuration", Requested: asked.Configuration,
		Name: c.text("name"), Reference: c.text("reference"), Supersedes: c.bodyID("supersedes"), DealerID: c.bodyID("dealer_id"),
	}
	made, err := a.service.StoreConfiguration(c.Request().Context(), c.caller, n, c.claim())
	a.refused(err)
	return c.give(made.Answer, err)
}

// listConfigurations lists kept configurations.
func (a *api) listConfigurations(c *call) error {
	f := store.ConfigurationFilter{
		DealerID: c.queryID("dealer_id"), Verdict: c.queryText("verdict"), Digest: c.queryText("digest"), Reference: c.queryText("reference"),
		CreatedFrom: c.queryTime("created_from"), CreatedBefore: c.queryTime("created_before"),
	}
	l, err := a.service.ListConfigurations(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, func(w *writer, k *record.Configuration) { w.stored(k, nil) })
}

// getConfiguration gives a kept configuration.
func (a *api) getConfiguration(c *call) error {
	k, err := a.kept(c)
	if err != nil {
		return err
	}
	w := newWriter(quantity.Metric)
	defer w.free()
	w.stored(&k, k.Completed)
	return c.send(http.StatusOK, w)
}

// getConfigurationDerivation gives the derivation of a kept configuration as it
// was written then, or with the stock of today taken first, or its bill as CSV.
func (a *api) getConfigurationDerivation(c *call) error {
	i, err := c.negotiate("The derivation", []string{jsonType, csvType})
	if err != nil {
		return err
	}
	if i == 1 {
		if err := c.need(record.RoleShop, "A bill tells costs"); err != nil {
			return err
		}
	}
	body, digest, err := a.keptDerivation(c)
	if err != nil {
		return err
	}
	if i == 0 {
		return c.Blob(http.StatusOK, jsonType, body)
	}
	table, err := billCSV(body)
	if err != nil {
		return err
	}
	c.Response().Header().Set("Content-Disposition", `attachment; filename="bill-`+drawing.ShortDigest(digest)+`.csv"`)
	return c.Blob(http.StatusOK, csvType+"; charset=utf-8; header=present", table)
}

func (a *api) keptDerivation(c *call) (body []byte, digest string, err error) {
	if !c.queryTrue("stock") {
		k, err := a.kept(c)
		return k.Derivation, k.Digest, err
	}
	id, err := c.id()
	if err != nil {
		return nil, "", err
	}
	r, stock, err := a.service.RevisitWithStock(c.Request().Context(), c.caller, id)
	if err != nil {
		return nil, "", err
	}
	w := newWriter(r.Configuration.Units)
	defer w.free()
	w.derivation("", r, stock)
	body, err = w.copy()
	return body, r.Digest, err
}

func (a *api) kept(c *call) (record.Configuration, error) {
	id, err := c.id()
	if err != nil {
		return record.Configuration{}, err
	}
	return a.service.GetConfiguration(c.Request().Context(), c.caller, id)
}

// stored writes a kept configuration, or its summary when completed is nil.
func (w *writer) stored(k *record.Configuration, completed []byte) {
	w.object("")
	w.text("id", k.ID.String())
	w.id("dealer_id", k.DealerID)
	w.optional("name", k.Name)
	w.optional("reference", k.Reference)
	w.id("supersedes", k.Supersedes)
	w.moment("created_at", &k.CreatedAt)
	w.text("units", k.Units)
	w.text("pattern", k.Pattern)
	w.text("verdict", k.Verdict)
	w.text("digest", k.Digest)
	w.object("revision")
	w.text("engine", k.Revision.Engine)
	w.text("catalog", k.Revision.Catalog)
	w.text("price_book", k.Revision.PriceBook)
	w.end()
	if completed != nil {
		w.raw("configuration", completed)
	}
	w.end()
}
