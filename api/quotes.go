package api

import (
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/quantity"
	"hatchwright/service/record"
	"hatchwright/store"
)

// makeQuote freezes prices and a date for some configurations.
func (a *api) makeQuote(c *call) error {
	n := service.NewQuote{Reference: c.text("reference"), DealerID: c.bodyID("dealer_id"), Revises: c.bodyID("revises"), ValidUntil: c.bodyTime("valid_until")}
	var err error
	if n.Lines, err = c.quoteLines(); err != nil {
		return err
	}
	made, err := a.service.MakeQuote(c.Request().Context(), c.caller, n, c.claim())
	a.refused(err)
	return c.give(made.Answer, err)
}

// quoteLines takes the lines across: kept configurations by their ids, others with
// all their figures.
func (c *call) quoteLines() (list []service.NewQuoteLine, err error) {
	var asked struct {
		Lines []struct {
			Configuration json.RawMessage `json:"configuration"`
		} `json:"lines"`
	}
	if err := json.Unmarshal(c.body, &asked); err != nil {
		return nil, err
	}
	var faults []fault.Field
	for i, row := range c.object()["lines"].([]any) {
		row := row.(map[string]any)
		at := fmt.Sprintf("/lines/%d", i)
		var l service.NewQuoteLine
		if text, ok := row["configuration_id"].(string); ok {
			id, err := uuid.Parse(text)
			if err != nil {
				return nil, err // the document lets only ids through
			}
			l.ConfigurationID = &id
		}
		if n, ok := row["quantity"].(float64); ok {
			l.Quantity = int(n) // the document lets only whole numbers through
		}
		if tree, ok := row["configuration"].(map[string]any); ok {
			request, fields := crossConfiguration(tree, at+"/configuration")
			faults = append(faults, fields...)
			name, _ := row["name"].(string)
			l.Configuration = &service.NewConfiguration{Request: request, Requested: asked.Lines[i].Configuration, Name: name}
		}
		list = append(list, l)
	}
	if len(faults) > 0 {
		return nil, invalid(faults)
	}
	return list, nil
}

// listQuotes lists quotes.
func (a *api) listQuotes(c *call) error {
	f := store.QuoteFilter{DealerID: c.queryID("dealer_id"), State: record.QuoteState(c.queryText("state")), Reference: c.queryText("reference")}
	l, err := a.service.ListQuotes(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, func(w *writer, q *record.Quote) {
		w.object("")
		w.quoteFigures(q)
		w.end()
	})
}

// getQuote gives a quote.
func (a *api) getQuote(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	q, err := a.service.GetQuote(c.Request().Context(), c.caller, id)
	if err != nil {
		return err
	}
	w := newWriter(quantity.Metric)
	defer w.free()
	w.quote(&q)
	c.Response().Header().Set("ETag", versionTag(q.Version))
	return c.send(http.StatusOK, w)
}

// withdrawQuote takes a quote back.
func (a *api) withdrawQuote(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	match, err := c.match(true)
	if err != nil {
		return err
	}
	n := service.QuoteChange{ID: id, Match: match}
	made, err := a.service.WithdrawQuote(c.Request().Context(), c.caller, n, c.claim())
	return c.give(made.Answer, err)
}

// quote writes a quote with its lines.
func (w *writer) quote(q *record.Quote) {
	w.object("")
	w.quoteFigures(q)
	w.quoteLines(q)
	w.end()
}

// quoteFigures writes what a quote is in a list.
func (w *writer) quoteFigures(q *record.Quote) {
	w.text("id", q.ID.String())
	w.id("dealer_id", q.DealerID)
	w.text("state", string(q.State))
	w.integer("version", q.Version)
	w.optional("reference", q.Reference)
	w.id("revises", q.Revises)
	w.id("order_id", q.OrderID)
	w.object("revision")
	w.text("engine", q.Revision.Engine)
	w.text("catalog", q.Revision.Catalog)
	w.text("price_book", q.Revision.PriceBook)
	w.end()
	w.text("promise", q.Promise)
	w.moment("valid_until", &q.ValidUntil)
	w.money("total", q.Total)
	w.moment("created_at", &q.CreatedAt)
	w.moment("updated_at", &q.UpdatedAt)
}

// quoteLeadTime writes what a line's promise rests on, in mm; null and empty lists for
// one from before that was kept.
func (w *writer) quoteLeadTime(l *record.QuoteLeadTime) {
	if l == nil {
		w.null("lead_time")
		l = &record.QuoteLeadTime{}
	} else {
		w.object("lead_time")
		w.text("p50", l.P50)
		w.text("p80", l.P80)
		w.text("p95", l.P95)
		w.backlogStamp(&service.BacklogStamp{Version: l.Backlog, MadeAt: l.AsOf, Orders: l.Orders, Operations: l.Operations, Scenarios: l.Scenarios, Stale: l.Stale})
		w.end()
	}
	w.list("molds")
	w.molds(l.Molds)
	w.endList()
	w.list("near_molds")
	for i := range l.Near {
		w.nearMold(&l.Near[i])
	}
	w.endList()
}

func (w *writer) quoteLines(q *record.Quote) {
	w.list("lines")
	for i := range q.Lines {
		l := &q.Lines[i]
		w.object("")
		w.text("configuration_id", l.ConfigurationID.String())
		w.text("digest", l.Digest)
		w.optional("name", l.Name)
		w.integer("quantity", l.Quantity)
		w.text("promise", l.Promise)
		w.hours("working_hours", l.WorkingHours)
		w.quoteLeadTime(l.LeadTime)
		w.object("totals")
		w.money("material", l.Totals.Material)
		w.money("labor", l.Totals.Labor)
		w.money("overhead", l.Totals.Overhead)
		w.money("mold", l.Totals.Mold)
		w.money("margin", l.Totals.Margin)
		w.money("discount", l.Totals.Discount)
		w.money("price_each", l.Totals.PriceEach)
		w.money("price", l.Totals.Price)
		w.end()
		w.end()
	}
	w.endList()
}
