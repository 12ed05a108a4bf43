package service

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/access"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// Overlap of a key and its successor.
const (
	// DefaultOverlap is how long both open the same: time to change the key where it
	// is used.
	DefaultOverlap = 7 * 24 * time.Hour
	// LongestOverlap bounds it: a key that is being replaced is one to be rid of.
	LongestOverlap = 30 * 24 * time.Hour
)

// Rotation is a key to be replaced.
type Rotation struct {
	KeyID   uuid.UUID
	Overlap time.Duration // 0: the older key ends at once
	// ExpiresAt is when the new key ends, nil for never; it is looked at where Ends is
	// true. Else the new key lives as long as the older one was made for.
	Ends      bool
	ExpiresAt *time.Time
}

// RotateKey makes the successor of a key, for the same holder, role and quota, and
// lets the older one end after the overlap, or when it would have; for the shop. A
// key has one successor: it is what is rotated next. Without an overlap every earlier
// key of the line ends too: whoever wants a key gone at once does not want the ones
// before it to go on. The last shop key stays, as in RevokeKey.
func (s *Service) RotateKey(ctx context.Context, c Caller, r Rotation, claim *Claim) (Made[IssuedKey], error) {
	if err := c.Need(record.RoleShop); err != nil {
		return Made[IssuedKey]{}, err
	}
	now := s.now()
	if r.Overlap < 0 || r.Overlap > LongestOverlap {
		return Made[IssuedKey]{}, badField("/overlap_hours", "out_of_range", "The overlap is none to 720 hours.")
	}
	if r.Ends && r.ExpiresAt != nil && !r.ExpiresAt.After(now) {
		return Made[IssuedKey]{}, badField("/expires_at", "past", "Give a time that is still to come, null for a key that does not end, or leave it out for as long as the older one was made for.")
	}
	made, err := once(ctx, s, c, claim, "key", func() (write[IssuedKey], error) {
		text, key, err := s.makeKey("", nil, "", nil)
		if err != nil {
			return nil, err
		}
		return func(ctx context.Context, tx store.Registers) (IssuedKey, error) {
			before, err := tx.Keys().Get(ctx, c.Scope(), r.KeyID)
			if err != nil {
				return IssuedKey{}, err
			}
			if !before.LiveAt(now) {
				return IssuedKey{}, fault.New(fault.Conflict, "This key is over: nothing overlaps with it. Make a new one.")
			}
			account := before.Account()
			older := []record.Key{before} // those that end, after the overlap
			if r.Overlap == 0 {
				if older, err = tx.Keys().Line(ctx, c.Scope(), account, now); err != nil {
					return IssuedKey{}, err
				}
			}
			key.DealerID, key.Role, key.Name, key.Quota = before.DealerID, before.Role, before.Name, before.Quota
			key.RotatedFrom, key.Root = &before.ID, &account
			switch {
			case r.Ends:
				key.ExpiresAt = r.ExpiresAt
			case before.ExpiresAt != nil:
				ends := record.Moment(now.Add(before.ExpiresAt.Sub(before.CreatedAt)))
				key.ExpiresAt = &ends
			}
			if before.Role == record.RoleShop && (r.Overlap == 0 || key.ExpiresAt != nil) {
				ends := map[uuid.UUID]bool{}
				for _, k := range older {
					ends[k.ID] = true
				}
				if err := access.KeepShopKey(ctx, tx.Keys(), s.now, ends, r.Overlap == 0); err != nil {
					return IssuedKey{}, err
				}
			}
			if err := tx.Keys().Insert(ctx, c.Scope(), key); err != nil {
				if errors.Is(err, store.ErrConflict) {
					err = fault.Wrap(fault.Conflict, err, "This key has a successor already. Rotate that one, or revoke it and make a new key.")
				}
				return IssuedKey{}, err
			}
			for _, k := range older {
				ended, err := tx.Keys().Expire(ctx, c.Scope(), k.ID, now.Add(r.Overlap))
				if err != nil {
					return IssuedKey{}, err
				}
				if k.ID == before.ID {
					before = ended
				}
			}
			return IssuedKey{Text: text, Key: key, Rotates: &before}, nil
		}, nil
	})
	s.keysEnded.ring()
	return made, err
}
