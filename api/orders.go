package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"hatchwright/service"
	"hatchwright/service/order"
	"hatchwright/service/quantity"
	"hatchwright/service/record"
	"hatchwright/store"
)

// placeOrder orders an open quote.
func (a *api) placeOrder(c *call) error {
	n := service.NewOrder{QuoteID: *c.bodyID("quote_id"), PurchaseReference: c.text("purchase_reference")}
	made, err := a.service.PlaceOrder(c.Request().Context(), c.caller, n, c.claim())
	return c.give(made.Answer, err)
}

// listOrders lists orders, as JSON or as CSV.
func (a *api) listOrders(c *call) error {
	i, err := c.negotiate("The list", []string{jsonType, csvType})
	if err != nil {
		return err
	}
	f := store.OrderFilter{DealerID: c.queryID("dealer_id"), State: record.OrderState(c.queryText("state")), PurchaseReference: c.queryText("purchase_reference"),
		QuoteID: c.queryID("quote_id"), PromisedFrom: c.queryDay("promised_from"), PromisedTo: c.queryDay("promised_to")}
	l, err := a.service.ListOrders(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	if i == 1 {
		table, err := ordersCSV(l.Items)
		if err != nil {
			return err
		}
		c.linkNext(l.NextCursor)
		c.Response().Header().Set("Content-Disposition", `attachment; filename="orders.csv"`)
		return c.Blob(http.StatusOK, csvType+"; charset=utf-8; header=present", table)
	}
	return sendList(c, l, (*writer).orderSummary)
}

// getOrder gives an order with its lines and its operations.
func (a *api) getOrder(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	d, err := a.service.GetOrder(c.Request().Context(), c.caller, id)
	if err != nil {
		return err
	}
	w := newWriter(quantity.Metric)
	defer w.free()
	w.order(&d)
	c.Response().Header().Set("ETag", versionTag(d.Order.Version))
	return c.send(http.StatusOK, w)
}

// listOrderEvents lists what happened to an order.
func (a *api) listOrderEvents(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	l, err := a.service.OrderEvents(c.Request().Context(), c.caller, id, c.page())
	if err != nil {
		return err
	}
	data := make(map[*record.Event]json.RawMessage, len(l.Items))
	for i := range l.Items {
		var e struct {
			Data json.RawMessage `json:"data"`
		}
		if err := json.Unmarshal(l.Items[i].Body, &e); err != nil {
			return fmt.Errorf("event %v: %w", l.Items[i].ID, err)
		}
		data[&l.Items[i]] = e.Data
	}
	return sendList(c, l, func(w *writer, e *record.Event) {
		w.object("")
		w.text("id", e.ID.String())
		w.text("type", e.Kind)
		w.moment("timestamp", &e.CreatedAt)
		w.object("by")
		w.optional("role", string(e.Actor.Role))
		w.id("key_id", e.Actor.KeyID)
		w.end()
		w.raw("data", data[e])
		w.end()
	})
}

// orderChange is what the changes of an order have in common.
func (c *call) orderChange(matchNeeded bool) (service.OrderChange, error) {
	id, err := c.id()
	if err != nil {
		return service.OrderChange{}, err
	}
	match, err := c.match(matchNeeded)
	return service.OrderChange{ID: id, Match: match}, err
}

// holdOrder puts an order on hold.
func (a *api) holdOrder(c *call) error {
	n, err := c.orderChange(true)
	if err != nil {
		return err
	}
	made, err := a.service.HoldOrder(c.Request().Context(), c.caller, n, c.text("reason"), c.claim())
	return c.give(made.Answer, err)
}

// releaseOrder lifts a hold.
func (a *api) releaseOrder(c *call) error {
	n, err := c.orderChange(true)
	if err != nil {
		return err
	}
	made, err := a.service.ReleaseOrder(c.Request().Context(), c.caller, n, c.claim())
	return c.give(made.Answer, err)
}

// cancelOrder cancels an order.
func (a *api) cancelOrder(c *call) error {
	n, err := c.orderChange(true)
	if err != nil {
		return err
	}
	made, err := a.service.CancelOrder(c.Request().Context(), c.caller, n, c.text("reason"), c.claim())
	return c.give(made.Answer, err)
}

// shipOrder notes that an order left the shop.
func (a *api) shipOrder(c *call) error {
	n, err := c.orderChange(true)
	if err != nil {
		return err
	}
	made, err := a.service.ShipOrder(c.Request().Context(), c.caller, n, service.Shipment{Carrier: c.text("carrier"), Tracking: c.text("tracking")}, c.claim())
	return c.give(made.Answer, err)
}

// recordTries bounds how often a record that names no version is put again when
// somebody else's came in between: each time at least one of them got through, and
// a shop has few benches.
const recordTries = 8

// recordOperation writes down what the floor did.
func (a *api) recordOperation(c *call) error {
	n, err := c.orderChange(false)
	if err != nil {
		return err
	}
	work := service.Work{Operation: c.Param("operation"), StartedAt: *c.bodyTime("started_at"), FinishedAt: c.bodyTime("finished_at")}
	if hours, ok := c.object()["hours"].(float64); ok {
		work.Hours = &hours
	}
	for try := 1; ; try++ {
		made, err := a.service.RecordOperation(c.Request().Context(), c.caller, n, work, c.claim())
		var r *order.Refusal
		if n.Match == nil && try < recordTries && errors.As(err, &r) && r.Reason == order.Stale {
			continue
		}
		return c.give(made.Answer, err)
	}
}

// order writes an order with its lines and operations.
func (w *writer) order(d *service.OrderDetail) {
	w.object("")
	w.orderFigures(&d.Order)
	w.quoteLines(&d.Quote)
	done := map[string]*record.OperationRecord{}
	for i := range d.Operations {
		done[d.Operations[i].Operation] = &d.Operations[i]
	}
	w.list("operations")
	for i := range d.Quote.Lines {
		for _, o := range d.Quote.Lines[i].Operations {
			w.operation(i+1, o, done[o.Key])
		}
	}
	w.endList()
	w.reserved(d.Reserved)
	w.end()
}

// reserved writes what an order has set aside; null where it was not looked up.
func (w *writer) reserved(r *service.OrderReserved) {
	if r == nil {
		w.null("reserved")
		return
	}
	w.object("reserved")
	w.list("molds")
	for i := range r.Molds {
		m := &r.Molds[i]
		w.object("")
		w.text("mold_id", m.MoldID.String())
		w.integer("pulls", m.Pulls)
		w.integer("taken", m.Taken)
		w.end()
	}
	w.endList()
	w.list("stock")
	for i := range r.Stock {
		v := &r.Stock[i]
		w.object("")
		w.text("lot_id", v.LotID.String())
		w.text("material", v.Material)
		w.optional("unit", r.Units[v.Material])
		w.amount("amount", v.Amount)
		w.amount("used", v.Issued)
		w.end()
	}
	w.endList()
	if p := r.Plan; p == nil {
		w.null("plan")
	} else {
		w.object("plan")
		w.moment("planned_at", &p.PlannedAt)
		w.moment("p50", p.P50)
		w.moment("p80", p.P80)
		w.moment("p95", p.P95)
		w.moment("start", p.Start)
		w.moment("end", p.End)
		w.moment("finished_at", p.FinishedAt)
		w.end()
	}
	w.end()
}

// operation writes a planned operation with what the floor wrote down, if it did.
func (w *writer) operation(line int, o record.Operation, done *record.OperationRecord) {
	w.object("")
	w.text("key", o.Key)
	w.integer("line", line)
	w.text("kind", o.Kind)
	w.text("work_center", o.Center)
	w.hours("planned_hours", o.Hours)
	w.integer("crew", o.Crew)
	if done == nil {
		done = &record.OperationRecord{}
	}
	switch {
	case done.StartedAt.IsZero():
		w.text("state", "planned")
		w.null("started_at")
	case done.FinishedAt == nil:
		w.text("state", "started")
		w.moment("started_at", &done.StartedAt)
	default:
		w.text("state", "finished")
		w.moment("started_at", &done.StartedAt)
	}
	w.moment("finished_at", done.FinishedAt)
	if done.Hours == nil {
		w.null("hours")
	} else {
		w.hours("hours", *done.Hours)
	}
	w.end()
}

// orderSummary writes an order without its lines and operations.
func (w *writer) orderSummary(o *record.Order) {
	w.object("")
	w.orderFigures(o)
	w.end()
}

// orderFigures writes what an order is in a list.
func (w *writer) orderFigures(o *record.Order) {
	w.text("id", o.ID.String())
	w.id("dealer_id", o.DealerID)
	w.text("quote_id", o.QuoteID.String())
	w.text("state", string(o.State))
	w.integer("version", o.Version)
	w.optional("purchase_reference", o.PurchaseReference)
	w.id("replaces", o.Replaces)
	w.text("promise", o.Promise)
	w.money("total", o.Total)
	w.optional("held_from", string(o.HeldFrom))
	w.optional("held_by", string(o.HeldBy))
	w.optional("reason", o.Reason)
	w.optional("carrier", o.Carrier)
	w.optional("tracking", o.Tracking)
	w.moment("created_at", &o.CreatedAt)
	w.moment("updated_at", &o.UpdatedAt)
}
