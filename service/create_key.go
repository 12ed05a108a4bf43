package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// NewKey is a key to make. Answer writes what the caller is told; it gets the
// key's text, which is kept nowhere.
type NewKey struct {
	DealerID  *uuid.UUID // nil: the shop's own
	Role      record.Role
	Name      string
	ExpiresAt *time.Time
	Quota     int // units a day; 0: no quota
	Answer    func(text string, k record.Key) (record.Answer, error)
}

// CreateKey makes a key; for the shop. A shop key belongs to no dealer, a dealer
// key to one.
func (s *Service) CreateKey(ctx context.Context, c Caller, n NewKey, claim *Claim) (record.Answer, error) {
	if err := c.need(record.RoleShop); err != nil {
		return record.Answer{}, err
	}
	if now := s.now(); n.ExpiresAt != nil && !n.ExpiresAt.After(now) {
		e := fault.New(fault.Invalid, "The key would be over before it begins.")
		e.Fields = []fault.Field{{Pointer: "/expires_at", Code: "past", Message: "Give a time that is still to come, or null for a key that does not end."}}
		return record.Answer{}, e
	}
	if n.Quota > 0 && n.Role == record.RoleShop {
		return record.Answer{}, badField("/quota", "not_for_shop_keys", "A shop key has no quota, so that the shop is never locked out. Leave it out.")
	}
	return s.once(ctx, c, claim, "dealer", func() (write, error) {
		text, key, err := s.makeKey(n.Role, n.DealerID, n.Name, n.ExpiresAt)
		if err != nil {
			return nil, err
		}
		key.Quota = n.Quota
		return func(ctx context.Context, tx store.Registers) (record.Answer, error) {
			if err := tx.Keys().Insert(ctx, c.Scope(), key); err != nil {
				return record.Answer{}, err
			}
			return n.Answer(text, key)
		}, nil
	})
}
