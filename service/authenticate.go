package service

import (
	"context"

	"hatchwright/service/access"
	"hatchwright/service/record"
)

// Authenticate finds who holds a key, or whom a token of the identity provider
// speaks of, if there is one: a token lets a person of the shop in. What is missing or
// unknown gives one fault; who holds a key that was good is told that it was revoked
// (the cause is access.ErrRevoked) or is over (access.ErrExpired).
func (s *Service) Authenticate(ctx context.Context, key string) (Caller, error) {
	k, person, err := s.door.Find(ctx, key)
	if err != nil {
		return Caller{}, storeFault(err, "key")
	}
	if person != nil {
		return Caller{Role: record.RoleShop, Issuer: person.Issuer, Subject: person.Subject}, nil
	}
	answers, err := newAnswersKey(key)
	if err != nil {
		return Caller{}, storeFault(err, "key")
	}
	return Caller{KeyID: k.ID, KeyName: k.Name, Role: k.Role, DealerID: k.DealerID, Account: k.Account(), Quota: k.Quota, Spent: access.SpentOn(k, s.now()), answers: answers}, nil
}
