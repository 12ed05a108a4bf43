package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/order"
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
	return sendList(c, l, toOrderSummary)
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
	c.Response().Header().Set("ETag", versionTag(d.Order.Version))
	return c.answer(http.StatusOK, toOrder(&d))
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
	history := listPage[wireOrderEvent]{make([]wireOrderEvent, len(l.Items)), optional(l.NextCursor)}
	for i := range l.Items {
		if history.Items[i], err = toOrderEvent(&l.Items[i]); err != nil {
			return err
		}
	}
	c.linkNext(l.NextCursor)
	return c.answer(http.StatusOK, history)
}

type wireOrderEvent struct {
	ID        uuid.UUID       `json:"id"`
	Type      text            `json:"type"`
	Timestamp moment          `json:"timestamp"`
	By        wireActor       `json:"by"`
	Data      json.RawMessage `json:"data"`
}

func toOrderEvent(e *record.Event) (wireOrderEvent, error) {
	out := wireOrderEvent{ID: e.ID, Type: text(e.Kind), Timestamp: moment(e.CreatedAt), By: toActor(e.Actor)}
	var body struct {
		Data json.RawMessage `json:"data"`
	}
	if err := json.Unmarshal(e.Body, &body); err != nil {
		return out, fmt.Errorf("event %v: %w", e.ID, err)
	}
	out.Data = body.Data
	return out, nil
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

// wireOrderSummary is what an order is in a list.
type wireOrderSummary struct {
	ID                uuid.UUID  `json:"id"`
	DealerID          *uuid.UUID `json:"dealer_id"`
	QuoteID           uuid.UUID  `json:"quote_id"`
	State             text       `json:"state"`
	Version           int        `json:"version"`
	PurchaseReference optional   `json:"purchase_reference"`
	Replaces          *uuid.UUID `json:"replaces"`
	Promise           text       `json:"promise"`
	Total             price      `json:"total"`
	HeldFrom          optional   `json:"held_from"`
	HeldBy            optional   `json:"held_by"`
	Reason            optional   `json:"reason"`
	Carrier           optional   `json:"carrier"`
	Tracking          optional   `json:"tracking"`
	CreatedAt         moment     `json:"created_at"`
	UpdatedAt         moment     `json:"updated_at"`
}

// wireOrder is an order with its lines and operations.
type wireOrder struct {
	wireOrderSummary
	Lines      []wireQuoteLine      `json:"lines"`
	Operations []wireOrderOperation `json:"operations"`
	Reserved   *wireOrderReserved   `json:"reserved"`
}

// wireOrderOperation is a planned operation with what the floor wrote down, if it did.
type wireOrderOperation struct {
	Key          text    `json:"key"`
	Line         int     `json:"line"`
	Kind         text    `json:"kind"`
	WorkCenter   text    `json:"work_center"`
	PlannedHours hours   `json:"planned_hours"`
	Crew         int     `json:"crew"`
	State        text    `json:"state"`
	StartedAt    *moment `json:"started_at"`
	FinishedAt   *moment `json:"finished_at"`
	Hours        *hours  `json:"hours"`
}

// wireOrderReserved is what an order has set aside; null where it was not looked up.
type wireOrderReserved struct {
	Molds []wireReservedPulls `json:"molds"`
	Stock []wireReservedStock `json:"stock"`
	Plan  *wireOrderPlace     `json:"plan"`
}

type wireReservedPulls struct {
	MoldID uuid.UUID `json:"mold_id"`
	Pulls  int       `json:"pulls"`
	Taken  int       `json:"taken"`
}

type wireReservedStock struct {
	LotID    uuid.UUID `json:"lot_id"`
	Material text      `json:"material"`
	Unit     optional  `json:"unit"`
	Amount   amount    `json:"amount"`
	Used     amount    `json:"used"`
}

// wireOrderPlace is an order's place in the schedule.
type wireOrderPlace struct {
	PlannedAt  moment  `json:"planned_at"`
	P50        *moment `json:"p50"`
	P80        *moment `json:"p80"`
	P95        *moment `json:"p95"`
	Start      *moment `json:"start"`
	End        *moment `json:"end"`
	FinishedAt *moment `json:"finished_at"`
}

func toOrderSummary(o *record.Order) wireOrderSummary {
	return wireOrderSummary{o.ID, o.DealerID, o.QuoteID, text(o.State), o.Version, optional(o.PurchaseReference), o.Replaces, text(o.Promise), toPrice(o.Total),
		optional(o.HeldFrom), optional(o.HeldBy), optional(o.Reason), optional(o.Carrier), optional(o.Tracking), moment(o.CreatedAt), moment(o.UpdatedAt)}
}

func toOrder(d *service.OrderDetail) wireOrder {
	out := wireOrder{toOrderSummary(&d.Order), rows(d.Quote.Lines, toQuoteLine), []wireOrderOperation{}, toOrderReserved(d.Reserved)}
	done := map[string]*record.OperationRecord{}
	for i := range d.Operations {
		done[d.Operations[i].Operation] = &d.Operations[i]
	}
	for i := range d.Quote.Lines {
		for _, o := range d.Quote.Lines[i].Operations {
			out.Operations = append(out.Operations, toOrderOperation(i+1, o, done[o.Key]))
		}
	}
	return out
}

func toOrderOperation(line int, o record.Operation, done *record.OperationRecord) wireOrderOperation {
	out := wireOrderOperation{Key: text(o.Key), Line: line, Kind: text(o.Kind), WorkCenter: text(o.Center), PlannedHours: hours(o.Hours), Crew: o.Crew, State: "planned"}
	if done == nil {
		return out
	}
	out.FinishedAt, out.Hours = (*moment)(done.FinishedAt), (*hours)(done.Hours)
	if !done.StartedAt.IsZero() {
		out.State, out.StartedAt = "started", (*moment)(&done.StartedAt)
		if done.FinishedAt != nil {
			out.State = "finished"
		}
	}
	return out
}

func toOrderReserved(r *service.OrderReserved) *wireOrderReserved {
	if r == nil {
		return nil
	}
	out := &wireOrderReserved{
		Molds: rows(r.Molds, func(m *record.MoldReservation) wireReservedPulls {
			return wireReservedPulls{m.MoldID, m.Pulls, m.Taken}
		}),
		Stock: rows(r.Stock, func(v *record.Reservation) wireReservedStock {
			return wireReservedStock{v.LotID, text(v.Material), optional(r.Units[v.Material]), amount(v.Amount), amount(v.Issued)}
		}),
	}
	if p := r.Plan; p != nil {
		out.Plan = &wireOrderPlace{moment(p.PlannedAt), (*moment)(p.P50), (*moment)(p.P80), (*moment)(p.P95), (*moment)(p.Start), (*moment)(p.End), (*moment)(p.FinishedAt)}
	}
	return out
}
