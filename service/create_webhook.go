package service

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/service/webhook"
	"hatchwright/store"
)

// NewWebhook is an endpoint to add. Answer writes what the caller is told; it gets
// the signing secret's text, which is shown here and never again.
type NewWebhook struct {
	URL      string
	Kinds    []string   // of events; none for all
	DealerID *uuid.UUID // the shop may name one; a dealer only itself
	Answer   func(secret string, w record.Webhook) (record.Answer, error)
}

// CreateWebhook adds an endpoint. It hears of what happens from now on: a
// dealer's of that dealer's quotes and orders, the shop's own of everybody's.
func (s *Service) CreateWebhook(ctx context.Context, c Caller, n NewWebhook, claim *Claim) (record.Answer, error) {
	if err := c.need(record.RoleDealer); err != nil {
		return record.Answer{}, err
	}
	owner, err := c.owner(n.DealerID)
	if err != nil {
		return record.Answer{}, err
	}
	if err := s.hooks.policy.CheckURL(n.URL); err != nil {
		why := strings.TrimPrefix(err.Error(), webhook.ErrRefused.Error()+": ")
		e := badField("/url", string(order.AddressRefused), fmt.Sprintf("This address is not called: %s. Give an https:// address that is reached from the internet.", why))
		e.Cause = &order.Refusal{Reason: order.AddressRefused, Detail: err.Error()}
		return record.Answer{}, e
	}
	for i, k := range n.Kinds {
		if !order.Known(k) {
			return record.Answer{}, badField(fmt.Sprintf("/kinds/%d", i), "unknown", fmt.Sprintf("%q is no kind of event.", k))
		}
	}
	return s.change(ctx, c, claim, "webhook", func() (write, error) {
		id, err := s.newID()
		if err != nil {
			return nil, err
		}
		now := s.now()
		secret, kept, err := s.makeSecret(id)
		if err != nil {
			return nil, err
		}
		w := record.Webhook{ID: id, DealerID: owner, Version: 1, URL: n.URL, Kinds: n.Kinds, Secrets: []record.WebhookSecret{kept}, CreatedAt: now, UpdatedAt: now}
		return func(ctx context.Context, tx store.Registers) (record.Answer, error) {
			if err := s.allow(ctx, tx, c, store.CountWebhooks); err != nil {
				return record.Answer{}, err
			}
			w, err := tx.Webhooks().Insert(ctx, c.Scope(), w)
			if errors.Is(err, store.ErrNotFound) {
				err = unknownDealer(err)
			}
			if err != nil {
				return record.Answer{}, err
			}
			if err := s.emit(ctx, tx, c, happening{order.WebhookMade, order.AboutWebhook(w)}); err != nil {
				return record.Answer{}, err
			}
			return n.Answer(secret, w)
		}, nil
	})
}

// makeSecret makes a signing secret of an endpoint and what is kept of it.
func (s *Service) makeSecret(endpoint uuid.UUID) (text string, kept record.WebhookSecret, err error) {
	if text, err = webhook.NewSecret(s.random); err != nil {
		return "", kept, err
	}
	kept.CreatedAt = s.now()
	kept.Sealed, err = s.hooks.vault.Seal(text, endpoint.String(), s.random)
	return text, kept, err
}

// WebhookChange is a change of an endpoint.
type WebhookChange struct {
	ID     uuid.UUID
	Answer func(secret string, w record.Webhook) (record.Answer, error)
}

// RotateWebhookSecret gives an endpoint another secret. The older ones go on
// signing beside it for a day.
func (s *Service) RotateWebhookSecret(ctx context.Context, c Caller, n WebhookChange, claim *Claim) (record.Answer, error) {
	if err := c.need(record.RoleDealer); err != nil {
		return record.Answer{}, err
	}
	return s.change(ctx, c, claim, "webhook", func() (write, error) {
		return func(ctx context.Context, tx store.Registers) (record.Answer, error) {
			if err := s.allow(ctx, tx, c); err != nil {
				return record.Answer{}, err
			}
			w, err := tx.Webhooks().Get(ctx, c.Scope(), n.ID)
			if err != nil {
				return record.Answer{}, err
			}
			now := s.now()
			secret, kept, err := s.makeSecret(w.ID)
			if err != nil {
				return record.Answer{}, err
			}
			secrets := []record.WebhookSecret{kept}
			for _, old := range w.Secrets {
				if !old.LiveAt(now) {
					continue
				}
				if end := now.Add(secretOverlap); old.ExpiresAt == nil || old.ExpiresAt.After(end) {
					old.ExpiresAt = &end
				}
				secrets = append(secrets, old)
			}
			if len(secrets) > mostSecrets {
				return record.Answer{}, &order.Refusal{Reason: order.SecretsFull,
					Detail: fmt.Sprintf("%d secrets of this endpoint are still in use. Wait until the oldest ends at %s.", mostSecrets, order.Instant(*secrets[len(secrets)-1].ExpiresAt))}
			}
			w.Secrets, w.UpdatedAt = secrets, now
			w.Version++
			if err := staleVersion(tx.Webhooks().Update(ctx, c.Scope(), w, w.Version-1)); err != nil {
				return record.Answer{}, err
			}
			if err := s.emit(ctx, tx, c, happening{order.WebhookRotated, order.AboutWebhook(w)}); err != nil {
				return record.Answer{}, err
			}
			return n.Answer(secret, w)
		}, nil
	})
}

// DeleteWebhook removes an endpoint and what was on its way to it.
func (s *Service) DeleteWebhook(ctx context.Context, c Caller, id uuid.UUID) error {
	if err := c.need(record.RoleDealer); err != nil {
		return err
	}
	_, err := s.change(ctx, c, nil, "webhook", func() (write, error) {
		return func(ctx context.Context, tx store.Registers) (record.Answer, error) {
			w, err := tx.Webhooks().Get(ctx, c.Scope(), id)
			if err != nil {
				return record.Answer{}, err
			}
			if err := tx.Webhooks().Delete(ctx, c.Scope(), id); err != nil {
				return record.Answer{}, err
			}
			return record.Answer{}, s.emit(ctx, tx, c, happening{order.WebhookDeleted, order.AboutWebhook(w)})
		}, nil
	})
	return err
}

// ListWebhooks lists endpoints, newest first.
func (s *Service) ListWebhooks(ctx context.Context, c Caller, p store.Page) (store.Listing[record.Webhook], error) {
	if err := c.need(record.RoleDealer); err != nil {
		return store.Listing[record.Webhook]{}, err
	}
	l, err := s.store.Webhooks().List(ctx, c.Scope(), p)
	return l, storeFault(err, "webhook")
}

// ListDeliveries lists the deliveries to an endpoint, newest first: those that are
// parked, for one, by f.State.
func (s *Service) ListDeliveries(ctx context.Context, c Caller, f store.DeliveryFilter, p store.Page) (store.Listing[record.Delivery], error) {
	if err := c.need(record.RoleDealer); err != nil {
		return store.Listing[record.Delivery]{}, err
	}
	if _, err := s.store.Webhooks().Get(ctx, c.Scope(), f.WebhookID); err != nil {
		return store.Listing[record.Delivery]{}, storeFault(err, "webhook")
	}
	l, err := s.store.Deliveries().List(ctx, c.Scope(), f, p)
	return l, storeFault(err, "delivery")
}

// ResendDelivery makes a delivery due now, with all its attempts before it: one
// that is parked, or one that was delivered and got lost at the receiver; a pause
// that the receiver asked for is over then. A
// delivery behind an undelivered one of the same subject is refused; that one goes
// first.
func (s *Service) ResendDelivery(ctx context.Context, c Caller, id uuid.UUID, answer func(record.Delivery) (record.Answer, error), claim *Claim) (record.Answer, error) {
	if err := c.need(record.RoleDealer); err != nil {
		return record.Answer{}, err
	}
	return s.change(ctx, c, claim, "delivery", func() (write, error) {
		return func(ctx context.Context, tx store.Registers) (record.Answer, error) {
			if err := s.allow(ctx, tx, c); err != nil {
				return record.Answer{}, err
			}
			d, err := tx.Deliveries().Get(ctx, c.Scope(), id)
			if err != nil {
				return record.Answer{}, err
			}
			if d.DeliveredAt == nil {
				first, err := tx.Deliveries().Earliest(ctx, c.Scope(), d.WebhookID, d.Subject)
				if err != nil {
					return record.Answer{}, err
				}
				if first.ID != d.ID {
					return record.Answer{}, &order.Refusal{Reason: order.DeliveryWaits,
						Detail: fmt.Sprintf("An earlier event of the same subject is still undelivered. Resend delivery %v first; this one follows.", first.ID)}
				}
			}
			// Its owner's word is newer than the receiver's.
			if err := tx.Webhooks().Pause(ctx, c.Scope(), d.WebhookID, time.Time{}); err != nil {
				return record.Answer{}, err
			}
			if d, err = tx.Deliveries().Resend(ctx, c.Scope(), id, s.now()); err != nil {
				return record.Answer{}, err
			}
			return answer(d)
		}, nil
	})
}
