package service

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

// makeKey makes a key of 256 random bits and its record.
func (s *Service) makeKey(role record.Role, dealer *uuid.UUID, name string, expires *time.Time) (text string, k record.Key, err error) {
	secret := make([]byte, keyBytes)
	if _, err := io.ReadFull(s.random, secret); err != nil {
		return "", k, fmt.Errorf("random source: %w", err)
	}
	text = keyMark + base64.RawURLEncoding.EncodeToString(secret)
	k, err = s.keyRecord(text, role, dealer, name)
	k.ExpiresAt = expires
	return text, k, err
}

func (s *Service) keyRecord(text string, role record.Role, dealer *uuid.UUID, name string) (record.Key, error) {
	id, err := s.newID()
	if err != nil {
		return record.Key{}, err
	}
	return record.Key{
		ID: id, DealerID: dealer, Role: role, Name: name, Hash: record.KeyHash(text), Prefix: text[:keyShown], CreatedAt: s.now(),
	}, nil
}

// spentOn is what a key has spent on the day of an instant. A later day, noted by a
// process whose clock is ahead, is as good.
func spentOn(k record.Key, now time.Time) int {
	if k.SpentOn < record.Day(now) {
		return 0
	}
	return k.Spent
}
