package service

import (
	"time"

	"github.com/google/uuid"

	"hatchwright/service/access"
	"hatchwright/service/record"
)

// makeKey makes a key of 256 random bits and its record.
func (s *Service) makeKey(role record.Role, dealer *uuid.UUID, name string, expires *time.Time) (text string, k record.Key, err error) {
	if text, err = access.NewText(s.random); err != nil {
		return "", k, err
	}
	k, err = s.keyRecord(text, role, dealer, name)
	k.ExpiresAt = expires
	return text, k, err
}

func (s *Service) keyRecord(text string, role record.Role, dealer *uuid.UUID, name string) (record.Key, error) {
	id, err := s.newID()
	if err != nil {
		return record.Key{}, err
	}
	return access.NewKey(id, text, role, dealer, name, s.now()), nil
}
