package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// NewKey is a key to make.
type NewKey struct {
	DealerID  *uuid.UUID // nil: the shop's own
	Role      record.Role
	Name      string
	ExpiresAt *time.Time
	Quota     int // units a day; 0: no quota
}

// IssuedKey is a key that was made, with its text, which is kept nowhere.
type IssuedKey struct {
	Text    string
	Key     record.Key
	Rotates *record.Key // the one it succeeds, with the end it now has; nil for none
}

// CreateKey makes a key; for the shop. A shop key belongs to no dealer, a dealer
// key to one.
func (s *Service) CreateKey(ctx context.Context, c Caller, n NewKey, claim *Claim) (Made[IssuedKey], error) {
	if err := c.Need(record.RoleShop); err != nil {
		return Made[IssuedKey]{}, err
	}
	if now := s.now(); n.ExpiresAt != nil && !n.ExpiresAt.After(now) {
		e := fault.New(fault.Invalid, "The key would be over before it begins.")
		e.Fields = []fault.Field{{Pointer: "/expires_at", Code: "past", Message: "Give a time that is still to come, or null for a key that does not end."}}
		return Made[IssuedKey]{}, e
	}
	if n.Quota > 0 && n.Role == record.RoleShop {
		return Made[IssuedKey]{}, badField("/quota", "not_for_shop_keys", "A shop key has no quota, so that the shop is never locked out. Leave it out.")
	}
	return once(ctx, s, c, claim, "dealer", func() (write[IssuedKey], error) {
		text, key, err := s.makeKey(n.Role, n.DealerID, n.Name, n.ExpiresAt)
		if err != nil {
			return nil, err
		}
		key.Quota = n.Quota
		return func(ctx context.Context, tx store.Registers) (IssuedKey, error) {
			if err := tx.Keys().Insert(ctx, c.Scope(), key); err != nil {
				return IssuedKey{}, err
			}
			return IssuedKey{Text: text, Key: key}, nil
		}, nil
	})
}
