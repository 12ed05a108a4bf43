package api

import (
	"net/http"

	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
)

// createWebhook adds an endpoint.
func (a *api) createWebhook(c *call) error {
	n := service.NewWebhook{URL: c.text("url"), DealerID: c.bodyID("dealer_id")}
	kinds, _ := c.object()["kinds"].([]any)
	for _, k := range kinds {
		n.Kinds = append(n.Kinds, k.(string))
	}
	made, err := a.service.CreateWebhook(c.Request().Context(), c.caller, n, c.claim())
	return c.give(made.Answer, err)
}

// listWebhooks lists endpoints.
func (a *api) listWebhooks(c *call) error {
	l, err := a.service.ListWebhooks(c.Request().Context(), c.caller, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, func(w *writer, h *record.Webhook) {
		w.object("")
		w.webhookFigures(h)
		w.end()
	})
}

// deleteWebhook removes an endpoint.
func (a *api) deleteWebhook(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	if err := a.service.DeleteWebhook(c.Request().Context(), c.caller, id); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// rotateWebhookSecret gives an endpoint another secret.
func (a *api) rotateWebhookSecret(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	made, err := a.service.RotateWebhookSecret(c.Request().Context(), c.caller, id, c.claim())
	return c.give(made.Answer, err)
}

// listDeliveries lists the deliveries to an endpoint.
func (a *api) listDeliveries(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	f := store.DeliveryFilter{WebhookID: id, State: record.DeliveryState(c.queryText("state"))}
	l, err := a.service.ListDeliveries(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, (*writer).delivery)
}

// resendDelivery makes a delivery due now.
func (a *api) resendDelivery(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	made, err := a.service.ResendDelivery(c.Request().Context(), c.caller, id, c.claim())
	return c.give(made.Answer, err)
}

// webhookFigures writes an endpoint; of its secrets only when they began and end.
func (w *writer) webhookFigures(h *record.Webhook) {
	w.text("id", h.ID.String())
	w.id("dealer_id", h.DealerID)
	w.text("url", h.URL)
	w.texts("kinds", h.Kinds)
	w.list("secrets")
	for i := range h.Secrets {
		w.object("")
		w.moment("created_at", &h.Secrets[i].CreatedAt)
		w.moment("expires_at", h.Secrets[i].ExpiresAt)
		w.end()
	}
	w.endList()
	w.moment("paused_until", h.PausedUntil)
	w.moment("failing_since", h.FailingSince)
	w.moment("disabled_at", h.DisabledAt)
	w.optional("disabled_reason", h.DisabledReason)
	w.moment("created_at", &h.CreatedAt)
	w.moment("updated_at", &h.UpdatedAt)
}

func (w *writer) delivery(d *record.Delivery) {
	w.object("")
	w.text("id", d.ID.String())
	w.text("webhook_id", d.WebhookID.String())
	w.text("event_id", d.EventID.String())
	w.text("event_type", d.EventKind)
	w.text("subject_id", d.Subject.String())
	w.text("state", string(d.State))
	w.integer("attempts", d.Attempts)
	if d.State == record.DeliveryPending {
		w.moment("next_at", &d.NextAt)
	} else {
		w.null("next_at")
	}
	w.moment("attempted_at", d.AttemptedAt)
	if d.LastStatus == 0 {
		w.null("last_status")
	} else {
		w.integer("last_status", d.LastStatus)
	}
	w.optional("last_error", d.LastError)
	w.moment("delivered_at", d.DeliveredAt)
	w.moment("created_at", &d.CreatedAt)
	w.end()
}
