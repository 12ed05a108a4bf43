package access

import (
	"encoding/base64"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// keyMark begins every key, so that one is known for what it is where it should
// not be; keyShown is how much of a key is kept in the clear to tell keys apart:
// the mark and six characters, 36 of its 256 bits.
const (
	keyMark  = "hw_"
	keyBytes = 32
	keyShown = len(keyMark) + 6
)

// NewText makes the text of a key of 256 random bits.
func NewText(random io.Reader) (string, error) {
	secret := make([]byte, keyBytes)
	if _, err := io.ReadFull(random, secret); err != nil {
		return "", fmt.Errorf("random source: %w", err)
	}
	return keyMark + base64.RawURLEncoding.EncodeToString(secret), nil
}

// NewKey is the record of a key by its text.
func NewKey(id uuid.UUID, text string, role record.Role, dealer *uuid.UUID, name string, now time.Time) record.Key {
	return record.Key{ID: id, DealerID: dealer, Role: role, Name: name, Hash: record.KeyHash(text), Prefix: text[:keyShown], CreatedAt: now}
}

// SpentOn is what a key has spent on the day of an instant. A later day, noted by a
// process whose clock is ahead, is as good.
func SpentOn(k record.Key, now time.Time) int {
	if k.SpentOn < record.Day(now) {
		return 0
	}
	return k.Spent
}
