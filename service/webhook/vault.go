package webhook

import (
	"crypto/aes"
	"crypto/cipher"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strings"
)

// secretBytes is the length of a signing secret; the specification asks for 24 to
// 64 bytes.
const secretBytes = 32

// prefix marks a secret's text (Standard Webhooks, "Signature scheme").
const prefix = "whsec_"

// NewSecret makes a signing secret from a random source, as its holder gets it:
// whsec_ and base64.
func NewSecret(random io.Reader) (string, error) {
	raw := make([]byte, secretBytes)
	if _, err := io.ReadFull(random, raw); err != nil {
		return "", fmt.Errorf("make a webhook secret: %w", err)
	}
	return prefix + base64.StdEncoding.EncodeToString(raw), nil
}

// Vault keeps secrets so that they can be read again.
type Vault struct {
	seal cipher.AEAD // nil: in the clear
	open []cipher.AEAD
}

// Forms of a sealed secret: the scheme, a colon, the rest.
const (
	schemeClear = "clear:"
	schemeGCM   = "aes256gcm:"
)

// InTheClear tells whether a secret was kept without a key.
func InTheClear(sealed string) bool { return strings.HasPrefix(sealed, schemeClear) }

// ErrSealed says that a secret was sealed with a key that is not at hand.
var ErrSealed = errors.New("sealed with a key that is not at hand")

// NewVault makes a vault of 32-byte keys: the first seals, all of them open, so
// that a key can be changed. Without a key secrets are kept in the clear.
func NewVault(keys ...[]byte) (*Vault, error) {
	v := &Vault{}
	for i, k := range keys {
		if len(k) != 32 {
			return nil, fmt.Errorf("webhook key %d has %d bytes: give 32 random bytes", i+1, len(k))
		}
		block, err := aes.NewCipher(k)
		if err != nil {
			return nil, fmt.Errorf("webhook key %d: %w", i+1, err)
		}
		gcm, err := cipher.NewGCM(block)
		if err != nil {
			return nil, fmt.Errorf("webhook key %d: %w", i+1, err)
		}
		v.open = append(v.open, gcm)
	}
	if len(v.open) > 0 {
		v.seal = v.open[0]
	}
	return v, nil
}

// Seals tells whether secrets are sealed at all.
func (v *Vault) Seals() bool { return v.seal != nil }

// Seal seals a secret for one endpoint, named by owner. A nonce is 96 random bits
// (NIST SP 800-38D, 8.2.2): safe for 2^32 secrets under a key.
func (v *Vault) Seal(secret, owner string, random io.Reader) (string, error) {
	if v.seal == nil {
		return schemeClear + secret, nil
	}
	nonce := make([]byte, v.seal.NonceSize())
	if _, err := io.ReadFull(random, nonce); err != nil {
		return "", fmt.Errorf("seal a webhook secret: %w", err)
	}
	return schemeGCM + base64.StdEncoding.EncodeToString(v.seal.Seal(nonce, nonce, []byte(secret), []byte(owner))), nil
}

// Open reads a sealed secret of an endpoint. The error matches ErrSealed when no
// key opens it, be it because it was moved from another endpoint.
func (v *Vault) Open(sealed, owner string) (string, error) {
	if secret, ok := strings.CutPrefix(sealed, schemeClear); ok {
		return secret, nil
	}
	text, ok := strings.CutPrefix(sealed, schemeGCM)
	if !ok {
		return "", errors.New("open a webhook secret: it is in no form that is known")
	}
	raw, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		return "", fmt.Errorf("open a webhook secret: %w", err)
	}
	for _, gcm := range v.open {
		if len(raw) < gcm.NonceSize() {
			break
		}
		if plain, err := gcm.Open(nil, raw[:gcm.NonceSize()], raw[gcm.NonceSize():], []byte(owner)); err == nil {
			return string(plain), nil
		}
	}
	return "", fmt.Errorf("open a webhook secret: %w", ErrSealed)
}
