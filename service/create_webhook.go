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

// NewWebhook is an endpoint to add.
type NewWebhook struct {
	URL      string
	Kinds    []string   // of events; none for all
	DealerID *uuid.UUID // the shop may name one; a dealer only itself
}

// IssuedSecret is a signing secret that was made, shown here and never again, and the
// endpoint that it signs for.
type IssuedSecret struct {
	Text    string
	Webhook record.Webhook
}

// CreateWebhook adds an endpoint. It hears of what happens from now on: a
// dealer's of that dealer's quotes and orders, the shop's own of everybody's.
func (s *Service) CreateWebhook(ctx context.Context, c Caller, n NewWebhook, claim *Claim) (Made[IssuedSecret], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return Made[IssuedSecret]{}, err
	}
	owner, err := c.owner(n.DealerID)
	if err != nil {
		return Made[IssuedSecret]{}, err
	}
	if err := s.hooks.policy.CheckURL(n.URL); err != nil {
		why := strings.TrimPrefix(err.Error(), webhook.ErrRefused.Error()+": ")
		e := badField("/url", string(order.AddressRefused), fmt.Sprintf("This address is not called: %s. Give an https:// address that is reached from the internet.", why))
		e.Cause = &order.Refusal{Reason: order.AddressRefused, Detail: err.Error()}
		return Made[IssuedSecret]{}, e
	}
	for i, k := range n.Kinds {
		if !order.Known(k) {
			return Made[IssuedSecret]{}, badField(fmt.Sprintf("/kinds/%d", i), "unknown", fmt.Sprintf("%q is no kind of event.", k))
		}
	}
	return change(ctx, s, c, claim, "webhook", func() (write[IssuedSecret], error) {
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
		return func(ctx context.Context, tx store.Registers) (IssuedSecret, error) {
			if err := s.allow(ctx, tx, c, store.CountWebhooks); err != nil {
				return IssuedSecret{}, err
			}
			w, err := tx.Webhooks().Insert(ctx, c.Scope(), w)
			if errors.Is(err, store.ErrNotFound) {
				err = unknownDealer(err)
			}
			if err != nil {
				return IssuedSecret{}, err
			}
			if err := s.emit(ctx, tx, c, pendingEvent{order.WebhookMade, order.AboutWebhook(w)}); err != nil {
				return IssuedSecret{}, err
			}
			return IssuedSecret{Text: secret, Webhook: w}, nil
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

// RotateWebhookSecret gives an endpoint another secret. The older ones go on
// signing beside it for a day.
func (s *Service) RotateWebhookSecret(ctx context.Context, c Caller, id uuid.UUID, claim *Claim) (Made[IssuedSecret], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return Made[IssuedSecret]{}, err
	}
	return change(ctx, s, c, claim, "webhook", func() (write[IssuedSecret], error) {
		return func(ctx context.Context, tx store.Registers) (IssuedSecret, error) {
			if err := s.allow(ctx, tx, c); err != nil {
				return IssuedSecret{}, err
			}
			w, err := tx.Webhooks().Get(ctx, c.Scope(), id)
			if err != nil {
				return IssuedSecret{}, err
			}
			now := s.now()
			secret, kept, err := s.makeSecret(w.ID)
			if err != nil {
				return IssuedSecret{}, err
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
				return IssuedSecret{}, &order.Refusal{Reason: order.SecretsFull,
					Detail: fmt.Sprintf("%d secrets of this endpoint are still in use. Wait until the oldest ends at %s.", mostSecrets, order.Instant(*secrets[len(secrets)-1].ExpiresAt))}
			}
			w.Secrets, w.UpdatedAt = secrets, now
			w.Version++
			if err := staleVersion(tx.Webhooks().Update(ctx, c.Scope(), w, w.Version-1)); err != nil {
				return IssuedSecret{}, err
			}
			if err := s.emit(ctx, tx, c, pendingEvent{order.WebhookRotated, order.AboutWebhook(w)}); err != nil {
				return IssuedSecret{}, err
			}
			return IssuedSecret{Text: secret, Webhook: w}, nil
		}, nil
	})
}

// DeleteWebhook removes an endpoint and what was on its way to it.
func (s *Service) DeleteWebhook(ctx context.Context, c Caller, id uuid.UUID) error {
	if err := c.Need(record.RoleDealer); err != nil {
		return err
	}
	err := s.writing(ctx, c, func(tx store.Registers) error {
		w, err := tx.Webhooks().Get(ctx, c.Scope(), id)
		if err != nil {
			return err
		}
		if err := tx.Webhooks().Delete(ctx, c.Scope(), id); err != nil {
			return err
		}
		return s.emit(ctx, tx, c, pendingEvent{order.WebhookDeleted, order.AboutWebhook(w)})
	})
	if err != nil {
		return storeFault(err, "webhook")
	}
	s.bell.ring()
	return nil
}

// ListWebhooks lists endpoints, newest first.
func (s *Service) ListWebhooks(ctx context.Context, c Caller, p store.Page) (store.Listing[record.Webhook], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return store.Listing[record.Webhook]{}, err
	}
	l, err := s.store.Webhooks().List(ctx, c.Scope(), p)
	return l, storeFault(err, "webhook")
}

// ListDeliveries lists the deliveries to an endpoint, newest first: those that are
// parked, for one, by f.State.
func (s *Service) ListDeliveries(ctx context.Context, c Caller, f store.DeliveryFilter, p store.Page) (store.Listing[record.Delivery], error) {
	if err := c.Need(record.RoleDealer); err != nil {
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
func (s *Service) ResendDelivery(ctx context.Context, c Caller, id uuid.UUID, claim *Claim) (Made[record.Delivery], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return Made[record.Delivery]{}, err
	}
	return change(ctx, s, c, claim, "delivery", func() (write[record.Delivery], error) {
		return func(ctx context.Context, tx store.Registers) (record.Delivery, error) {
			if err := s.allow(ctx, tx, c); err != nil {
				return record.Delivery{}, err
			}
			d, err := tx.Deliveries().Get(ctx, c.Scope(), id)
			if err != nil {
				return record.Delivery{}, err
			}
			if d.DeliveredAt == nil {
				first, err := tx.Deliveries().Earliest(ctx, c.Scope(), d.WebhookID, d.Subject)
				if err != nil {
					return record.Delivery{}, err
				}
				if first.ID != d.ID {
					return record.Delivery{}, &order.Refusal{Reason: order.DeliveryWaits,
						Detail: fmt.Sprintf("An earlier event of the same subject is still undelivered. Resend delivery %v first; this one follows.", first.ID)}
				}
			}
			// Its owner's word is newer than the receiver's.
			if err := tx.Webhooks().Pause(ctx, c.Scope(), d.WebhookID, time.Time{}); err != nil {
				return record.Delivery{}, err
			}
			if d, err = tx.Deliveries().Resend(ctx, c.Scope(), id, s.now()); err != nil {
				return record.Delivery{}, err
			}
			return d, nil
		}, nil
	})
}
