package access

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// ErrLastShopKey is the cause of refusing to let the last shop key end.
var ErrLastShopKey = errors.New("last shop key")

// Only a shop key makes keys, so the shop keeps one, whatever is revoked or rotated.
// The rule is on the safe side three times over. A key that ends by itself does not
// stand in for one without an end, else the shop would be locked out later, on a day
// when nobody asks for anything. The successor of a rotation without an overlap does not
// count: its text is in one answer, which can be lost on its way. People of an identity
// provider do not count: keys are what opens while the provider is away or set up wrongly.

// KeepShopKey refuses to let keys end when what is left is no shop key without an end,
// or, where they end at once, no shop key at all. Call it before the transaction
// changes a key.
func KeepShopKey(ctx context.Context, keys store.Keys, now func() time.Time, ends map[uuid.UUID]bool, atOnce bool) error {
	held, err := keys.HoldShop(ctx)
	if err != nil {
		return err
	}
	// The time is taken after waiting: others may have ended keys meanwhile.
	if !lastShopKey(held, now(), ends, atOnce) {
		return nil
	}
	return fault.Wrap(fault.Conflict, ErrLastShopKey, "Without this key no shop key is left that opens for good, and only a shop key makes keys. "+
		"Make another one first: POST /v1/keys with the role shop and no expires_at, or hatchwright key new -role shop on the service's machine. "+
		"Keys that end by themselves, the new key of a rotation without an overlap, and people of an identity provider do not count.")
}

// lastShopKey tells whether the keys that end leave the shop without a key, now or
// later.
func lastShopKey(held []record.Key, now time.Time, ends map[uuid.UUID]bool, atOnce bool) bool {
	var ending, endlessEnding, left, endlessLeft int
	for _, k := range held {
		endless := 0
		if k.ExpiresAt == nil {
			endless = 1
		}
		switch {
		case !k.LiveAt(now):
		case ends[k.ID]:
			ending, endlessEnding = ending+1, endlessEnding+endless
		default:
			left, endlessLeft = left+1, endlessLeft+endless
		}
	}
	return endlessEnding > 0 && endlessLeft == 0 || atOnce && ending > 0 && left == 0
}
