package service

import (
	"crypto/hkdf"
	"crypto/sha256"
	"fmt"
)

// An answer that shows a secret is kept sealed under a key that only its caller's
// credential gives, so that the database alone, whoever has it, opens none:
//
//	key = HKDF-SHA256(secret: the API key's text, no salt, info: answersInfo), 32 bytes
//
// (RFC 5869), and AES-256-GCM with who asked what as associated data. The database has
// the SHA-256 of the API key, which does not lead to it: HKDF takes the text as the
// message of an HMAC, not as its key, whatever its length.
const answersInfo = "hatchwright: answers kept for a caller, 1"

// answersKey seals what is kept for one caller. It stands behind a pointer in a Caller,
// so that printing one does not show it.
type answersKey [32]byte

func newAnswersKey(credential string) (*answersKey, error) {
	b, err := hkdf.Key(sha256.New, []byte(credential), nil, answersInfo, len(answersKey{}))
	if err != nil {
		return nil, fmt.Errorf("derive the key of kept answers: %w", err)
	}
	return (*answersKey)(b), nil
}
