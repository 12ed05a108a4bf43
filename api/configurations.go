package api

import (
	"encoding/json"
	"net/http"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/drawing"
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
	return sendList(c, l, toConfigurationSummary)
}

// getConfiguration gives a kept configuration.
func (a *api) getConfiguration(c *call) error {
	k, err := a.kept(c)
	if err != nil {
		return err
	}
	return c.answer(http.StatusOK, toStoredConfiguration(&k))
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

type wireConfigurationSummary struct {
	ID         uuid.UUID    `json:"id"`
	DealerID   *uuid.UUID   `json:"dealer_id"`
	Name       optional     `json:"name"`
	Reference  optional     `json:"reference"`
	Supersedes *uuid.UUID   `json:"supersedes"`
	CreatedAt  moment       `json:"created_at"`
	Units      text         `json:"units"`
	Pattern    text         `json:"pattern"`
	Verdict    text         `json:"verdict"`
	Digest     text         `json:"digest"`
	Revision   wireRevision `json:"revision"`
}

// wireStoredConfiguration is a kept configuration with all its figures.
type wireStoredConfiguration struct {
	wireConfigurationSummary
	Configuration json.RawMessage `json:"configuration"`
}

func toConfigurationSummary(k *record.Configuration) wireConfigurationSummary {
	return wireConfigurationSummary{k.ID, k.DealerID, optional(k.Name), optional(k.Reference), k.Supersedes, moment(k.CreatedAt),
		text(k.Units), text(k.Pattern), text(k.Verdict), text(k.Digest), toRevision(k.Revision)}
}

func toStoredConfiguration(k *record.Configuration) wireStoredConfiguration {
	return wireStoredConfiguration{toConfigurationSummary(k), k.Completed}
}
