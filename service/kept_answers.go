package service

import (
	"encoding/hex"
	"encoding/json"
	"net/http"

	"hatchwright/service/record"
	"hatchwright/service/webhook"
)

// Withheld is why an answer that is given again has no secret.
type Withheld string

const (
	// WithheldSealed: it was sealed for the API key that asked first. This is another
	// one of those that came of one another.
	WithheldSealed Withheld = "sealed_for_another_key"
	// WithheldNotKept: it was never kept, since who asked first has nothing lasting to
	// seal it with: a token of the identity provider is another one each time.
	WithheldNotKept Withheld = "not_kept"
)

// Withholds says what a repeat is told that this caller's answers cannot be opened for.
func (c Caller) Withholds() Withheld {
	if c.answers == nil {
		return WithheldNotKept
	}
	return WithheldSealed
}

// seal makes of an answer what is kept of it.
func (s *Service) seal(c Caller, a record.Answer, claim record.IdempotencyClaim) (record.Answer, error) {
	if a.Bare == nil {
		return a, nil
	}
	kept := *a.Bare
	if c.answers == nil {
		return kept, nil
	}
	whole, err := json.Marshal(wholeAnswer{a.Status, a.Header, a.Body})
	if err != nil {
		return kept, err
	}
	vault, err := webhook.NewVault(c.answers[:])
	if err != nil {
		return kept, err
	}
	kept.Sealed, err = vault.Seal(string(whole), sealedFor(c, claim), s.random)
	return kept, err
}

// unseal makes of what is kept the answer to give: without its secret where this
// caller's credential does not open it.
func unseal(c Caller, kept record.Answer, claim record.IdempotencyClaim) record.Answer {
	sealed := kept.Sealed
	kept.Sealed = ""
	if sealed == "" || c.answers == nil {
		return kept
	}
	vault, err := webhook.NewVault(c.answers[:])
	if err != nil {
		return kept
	}
	text, err := vault.Open(sealed, sealedFor(c, claim))
	var whole wholeAnswer
	if err != nil || json.Unmarshal([]byte(text), &whole) != nil {
		return kept
	}
	return record.Answer{Status: whole.Status, Header: whole.Header, Body: whole.Body}
}

// wholeAnswer is an answer as it is sealed.
type wholeAnswer struct {
	Status int
	Header http.Header
	Body   []byte
}

// sealedFor is the associated data: one sealed answer opens in the place of no other.
func sealedFor(c Caller, claim record.IdempotencyClaim) string {
	b, _ := json.Marshal([]string{c.Scope().String(), claim.Caller, claim.Method, claim.Route, claim.Key, hex.EncodeToString(claim.BodyHash)}) // texts always marshal
	return string(b)
}
