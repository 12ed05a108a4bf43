package api

import (
	"net/http"
	"time"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
)

// createDealerKey makes a key for the dealer in the path.
func (a *api) createDealerKey(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	return a.createKey(c, &id)
}

// createShopKey makes a key of the shop's own.
func (a *api) createShopKey(c *call) error { return a.createKey(c, nil) }

func (a *api) createKey(c *call, dealer *uuid.UUID) error {
	n := service.NewKey{DealerID: dealer, Role: record.Role(c.text("role")), Name: c.text("name")}
	if quota, ok := c.object()["quota"].(float64); ok {
		n.Quota = int(quota)
	}
	n.ExpiresAt = c.bodyTime("expires_at")
	made, err := a.service.CreateKey(c.Request().Context(), c.caller, n, c.claim())
	return c.give(made.Answer, err)
}

// rotateKey makes the successor of a key.
func (a *api) rotateKey(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	r := service.Rotation{KeyID: id, Overlap: service.DefaultOverlap}
	if hours, ok := c.object()["overlap_hours"].(float64); ok {
		r.Overlap = time.Duration(hours) * time.Hour
	}
	_, r.Ends = c.object()["expires_at"]
	r.ExpiresAt = c.bodyTime("expires_at")
	made, err := a.service.RotateKey(c.Request().Context(), c.caller, r, c.claim())
	return c.give(made.Answer, err)
}

// listKeys lists keys.
func (a *api) listKeys(c *call) error {
	f := store.KeyFilter{DealerID: c.queryID("dealer_id"), Role: record.Role(c.queryText("role"))}
	l, err := a.service.ListKeys(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, func(w *writer, k *record.Key) {
		w.object("")
		w.keyFigures(k)
		w.moment("revoked_at", k.RevokedAt)
		w.moment("last_used_at", k.LastUsedAt)
		w.integer("spent_today", k.Spent)
		w.id("rotated_from", k.RotatedFrom)
		w.id("rotated_to", k.RotatedTo)
		w.end()
	})
}

// issuedKey writes a new key, but for its text.
func (w *writer) issuedKey(k *service.IssuedKey) {
	w.keyFigures(&k.Key)
	if k.Rotates == nil {
		w.null("rotates")
		return
	}
	w.object("rotates")
	w.text("id", k.Rotates.ID.String())
	w.moment("expires_at", k.Rotates.ExpiresAt)
	w.end()
}

// keyFigures writes what a new key and one in a list have in common.
func (w *writer) keyFigures(k *record.Key) {
	w.text("id", k.ID.String())
	w.id("dealer_id", k.DealerID)
	w.text("role", string(k.Role))
	w.text("name", k.Name)
	w.text("prefix", k.Prefix)
	w.moment("created_at", &k.CreatedAt)
	w.moment("expires_at", k.ExpiresAt)
	if k.Quota > 0 {
		w.integer("quota", k.Quota)
	} else {
		w.null("quota")
	}
}

// revokeKey makes a key open nothing.
func (a *api) revokeKey(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	if err := a.service.RevokeKey(c.Request().Context(), c.caller, id); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}
