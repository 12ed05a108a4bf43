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
	return sendList(c, l, toKey)
}

// keyFigures are what a key has once it is there.
type keyFigures struct {
	ID        uuid.UUID  `json:"id"`
	DealerID  *uuid.UUID `json:"dealer_id"`
	Role      text       `json:"role"`
	Name      text       `json:"name"`
	Prefix    text       `json:"prefix"`
	CreatedAt moment     `json:"created_at"`
	ExpiresAt *moment    `json:"expires_at"`
	Quota     *int       `json:"quota"`
}

// wireKey is a key of a list.
type wireKey struct {
	keyFigures
	RevokedAt   *moment    `json:"revoked_at"`
	LastUsedAt  *moment    `json:"last_used_at"`
	SpentToday  int        `json:"spent_today"`
	RotatedFrom *uuid.UUID `json:"rotated_from"`
	RotatedTo   *uuid.UUID `json:"rotated_to"`
}

// wireIssuedKey is a key that was made, with its text or why it has none.
type wireIssuedKey struct {
	Key      text `json:"key,omitempty"`
	Withheld text `json:"withheld,omitempty"`
	keyFigures
	Rotates *wireRotatedKey `json:"rotates"`
}

// wireRotatedKey is the key that another succeeds, which ends.
type wireRotatedKey struct {
	ID        uuid.UUID `json:"id"`
	ExpiresAt moment    `json:"expires_at"`
}

func toKeyFigures(k *record.Key) keyFigures {
	return keyFigures{k.ID, k.DealerID, text(k.Role), text(k.Name), text(k.Prefix), moment(k.CreatedAt), (*moment)(k.ExpiresAt), unless(0, max(0, k.Quota))}
}

func toKey(k *record.Key) wireKey {
	return wireKey{toKeyFigures(k), (*moment)(k.RevokedAt), (*moment)(k.LastUsedAt), k.Spent, k.RotatedFrom, k.RotatedTo}
}

func toIssuedKey(k *service.IssuedKey) wireIssuedKey {
	out := wireIssuedKey{Key: text(k.Text), keyFigures: toKeyFigures(&k.Key)}
	if k.Rotates != nil {
		out.Rotates = &wireRotatedKey{k.Rotates.ID, moment(*k.Rotates.ExpiresAt)}
	}
	return out
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
