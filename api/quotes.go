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
	return sendList(c, l, toQuoteSummary)
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
	c.Response().Header().Set("ETag", versionTag(q.Version))
	return c.answer(http.StatusOK, toQuote(&q))
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

// wireQuoteSummary is what a quote is in a list.
type wireQuoteSummary struct {
	ID         uuid.UUID    `json:"id"`
	DealerID   *uuid.UUID   `json:"dealer_id"`
	State      text         `json:"state"`
	Version    int          `json:"version"`
	Reference  optional     `json:"reference"`
	Revises    *uuid.UUID   `json:"revises"`
	OrderID    *uuid.UUID   `json:"order_id"`
	Revision   wireRevision `json:"revision"`
	Promise    text         `json:"promise"`
	ValidUntil moment       `json:"valid_until"`
	Total      price        `json:"total"`
	CreatedAt  moment       `json:"created_at"`
	UpdatedAt  moment       `json:"updated_at"`
}

// wireQuote is a quote with its lines.
type wireQuote struct {
	wireQuoteSummary
	Lines []wireQuoteLine `json:"lines"`
}

// wireQuoteLine has no lead time and no molds where it is from before they were kept.
type wireQuoteLine struct {
	ConfigurationID uuid.UUID          `json:"configuration_id"`
	Digest          text               `json:"digest"`
	Name            optional           `json:"name"`
	Quantity        int                `json:"quantity"`
	Promise         text               `json:"promise"`
	WorkingHours    hours              `json:"working_hours"`
	LeadTime        *wireQuoteLeadTime `json:"lead_time"`
	Molds           []wireMoldInUse    `json:"molds"`
	NearMolds       []wireNearMold     `json:"near_molds"`
	Totals          wireTotals         `json:"totals"`
}

// wireQuoteLeadTime is what a line's promise rests on.
type wireQuoteLeadTime struct {
	P50     text             `json:"p50"`
	P80     text             `json:"p80"`
	P95     text             `json:"p95"`
	Backlog wireBacklogStamp `json:"backlog"`
}

type wireTotals struct {
	Material  price `json:"material"`
	Labor     price `json:"labor"`
	Overhead  price `json:"overhead"`
	Mold      price `json:"mold"`
	Margin    price `json:"margin"`
	Discount  price `json:"discount"`
	PriceEach price `json:"price_each"`
	Price     price `json:"price"`
}

func toQuoteSummary(q *record.Quote) wireQuoteSummary {
	return wireQuoteSummary{q.ID, q.DealerID, text(q.State), q.Version, optional(q.Reference), q.Revises, q.OrderID, toRevision(q.Revision),
		text(q.Promise), moment(q.ValidUntil), toPrice(q.Total), moment(q.CreatedAt), moment(q.UpdatedAt)}
}

func toQuote(q *record.Quote) wireQuote {
	return wireQuote{toQuoteSummary(q), rows(q.Lines, toQuoteLine)}
}

func toQuoteLine(l *record.QuoteLine) wireQuoteLine {
	t := &l.Totals
	out := wireQuoteLine{ConfigurationID: l.ConfigurationID, Digest: text(l.Digest), Name: optional(l.Name), Quantity: l.Quantity, Promise: text(l.Promise),
		WorkingHours: hours(l.WorkingHours), Molds: []wireMoldInUse{}, NearMolds: []wireNearMold{},
		Totals: wireTotals{toPrice(t.Material), toPrice(t.Labor), toPrice(t.Overhead), toPrice(t.Mold), toPrice(t.Margin), toPrice(t.Discount), toPrice(t.PriceEach), toPrice(t.Price)}}
	if d := l.LeadTime; d != nil {
		stamp := service.BacklogStamp{Version: d.Backlog, MadeAt: d.AsOf, Orders: d.Orders, Operations: d.Operations, Scenarios: d.Scenarios, Stale: d.Stale}
		out.LeadTime = &wireQuoteLeadTime{text(d.P50), text(d.P80), text(d.P95), toBacklogStamp(&stamp)}
		out.Molds = rows(d.Molds, toMoldInUse)
		out.NearMolds = rows(d.Near, func(n *record.QuoteNearMold) wireNearMold { return toNearMold(n, quantity.Metric) })
	}
	return out
}
