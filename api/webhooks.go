package api

import (
	"net/http"

	"github.com/google/uuid"

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
	return sendList(c, l, toWebhook)
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
	return sendList(c, l, toDelivery)
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

// wireWebhook is an endpoint; of its secrets only when they began and end.
type wireWebhook struct {
	ID             uuid.UUID           `json:"id"`
	DealerID       *uuid.UUID          `json:"dealer_id"`
	URL            text                `json:"url"`
	Kinds          []text              `json:"kinds"`
	Secrets        []wireWebhookSecret `json:"secrets"`
	PausedUntil    *moment             `json:"paused_until"`
	FailingSince   *moment             `json:"failing_since"`
	DisabledAt     *moment             `json:"disabled_at"`
	DisabledReason optional            `json:"disabled_reason"`
	CreatedAt      moment              `json:"created_at"`
	UpdatedAt      moment              `json:"updated_at"`
}

type wireWebhookSecret struct {
	CreatedAt moment  `json:"created_at"`
	ExpiresAt *moment `json:"expires_at"`
}

// wireIssuedWebhook is an endpoint with its new secret or why that is not there.
type wireIssuedWebhook struct {
	Secret   text `json:"secret,omitempty"`
	Withheld text `json:"withheld,omitempty"`
	wireWebhook
}

func toWebhook(h *record.Webhook) wireWebhook {
	return wireWebhook{h.ID, h.DealerID, text(h.URL), texts(h.Kinds),
		rows(h.Secrets, func(s *record.WebhookSecret) wireWebhookSecret {
			return wireWebhookSecret{moment(s.CreatedAt), (*moment)(s.ExpiresAt)}
		}),
		(*moment)(h.PausedUntil), (*moment)(h.FailingSince), (*moment)(h.DisabledAt), optional(h.DisabledReason), moment(h.CreatedAt), moment(h.UpdatedAt)}
}

type wireDelivery struct {
	ID          uuid.UUID `json:"id"`
	WebhookID   uuid.UUID `json:"webhook_id"`
	EventID     uuid.UUID `json:"event_id"`
	EventType   text      `json:"event_type"`
	SubjectID   uuid.UUID `json:"subject_id"`
	State       text      `json:"state"`
	Attempts    int       `json:"attempts"`
	NextAt      *moment   `json:"next_at"`
	AttemptedAt *moment   `json:"attempted_at"`
	LastStatus  *int      `json:"last_status"`
	LastError   optional  `json:"last_error"`
	DeliveredAt *moment   `json:"delivered_at"`
	CreatedAt   moment    `json:"created_at"`
}

func toDelivery(d *record.Delivery) wireDelivery {
	out := wireDelivery{ID: d.ID, WebhookID: d.WebhookID, EventID: d.EventID, EventType: text(d.EventKind), SubjectID: d.Subject, State: text(d.State),
		Attempts: d.Attempts, AttemptedAt: (*moment)(d.AttemptedAt), LastStatus: unless(0, d.LastStatus), LastError: optional(d.LastError),
		DeliveredAt: (*moment)(d.DeliveredAt), CreatedAt: moment(d.CreatedAt)}
	if d.State == record.DeliveryPending {
		out.NextAt = (*moment)(&d.NextAt)
	}
	return out
}
