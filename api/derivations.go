package api

import (
	"errors"
	"net/http"

	"hatchwright/service"
	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/record"
)

// configuration takes the configuration in the body, or in a member of it, across.
func (c *call) configuration(member string) (part.Request, error) {
	tree, at := c.object(), ""
	if member != "" {
		tree, at = tree[member].(map[string]any), "/"+member
	}
	r, fields := crossConfiguration(tree, at)
	if len(fields) > 0 {
		return r, invalid(fields)
	}
	return r, nil
}

// checkConfiguration rules on a configuration.
func (a *api) checkConfiguration(c *call) error {
	r, err := c.configuration("")
	if err != nil {
		return err
	}
	ruling, err := a.service.CheckConfiguration(c.Request().Context(), c.caller, r)
	if err != nil {
		return err
	}
	a.ruled(ruling.Verdict)
	w := newWriter(ruling.Configuration.Units)
	defer w.free()
	w.object("")
	w.ruling(&ruling)
	w.end()
	return c.send(http.StatusOK, w)
}

// derive works a configuration out.
func (a *api) derive(c *call) error {
	r, err := c.configuration("")
	if err != nil {
		return err
	}
	stock, err := a.stock(c)
	if err != nil {
		return err
	}
	result, err := a.service.DeriveAndPlace(c.Request().Context(), c.caller, r, c.leadTimeOptions())
	if err != nil {
		a.refused(err)
		return err
	}
	if stock != nil {
		if err := stock.Take(result.Result, &result.Due.Bill); err != nil {
			return err
		}
	}
	a.ruled(result.Verdict)
	w := newWriter(result.Configuration.Units)
	defer w.free()
	w.derivation("", result, stock)
	return c.send(http.StatusOK, w)
}

// stock is what is on hand where the caller asks for it to be taken first; nil where
// it does not.
func (a *api) stock(c *call) (*service.StockAtHand, error) {
	if !c.queryTrue("stock") {
		return nil, nil
	}
	return a.service.StockAtHand(c.Request().Context(), c.caller)
}

// MostShorten is how many ways to shorten a lead time are tried: more than a shop can
// do at once.
const MostShorten = 5

// leadTimeOptions are what the query asks for beside the date.
func (c *call) leadTimeOptions() service.LeadTimeOptions {
	o := service.LeadTimeOptions{Near: c.caller.May(record.RoleDealer)} // offered to no storefront
	if c.queryTrue("shorten") {
		o.Shorten = MostShorten
	}
	return o
}

func (a *api) ruled(v finding.Verdict) { a.metrics.verdicts.WithLabelValues(string(v)).Inc() }

func (a *api) refused(err error) {
	var n *service.NotMakeableError
	if errors.As(err, &n) {
		a.ruled(n.Ruling.Verdict)
	}
}
