package service

import (
	"crypto/sha256"
	"encoding/hex"
)

func digest(b []byte) string {
	sum := sha256.Sum256(b)
	return "sha256:" + hex.EncodeToString(sum[:])
}
