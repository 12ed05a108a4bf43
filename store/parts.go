package store

import (
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"

	"github.com/google/uuid"
)

// Part is a piece of a derivation as it is kept: once for each owner, however many of its
// configurations have it.
type Part struct {
	Hash string // of the text, SHA-256 in hex
	Body []byte // the text, deflated (RFC 1951)
}

// Parts takes a derivation apart: what comes before the lead time, the lead time, and what
// comes after it. The same configuration worked out on another day differs in the lead
// time alone. The texts of the parts one after the other are the derivation, byte for
// byte, whatever it is.
func Parts(derivation []byte) ([]Part, error) {
	from, to := leadTime(derivation)
	var out []Part
	for _, text := range [][]byte{derivation[:from], derivation[from:to], derivation[to:]} {
		if len(text) == 0 && len(derivation) > 0 {
			continue
		}
		sum := sha256.Sum256(text)
		var b bytes.Buffer
		w, err := flate.NewWriter(&b, flate.DefaultCompression)
		if err != nil {
			return nil, err
		}
		if _, err := w.Write(text); err != nil {
			return nil, err
		}
		if err := w.Close(); err != nil {
			return nil, err
		}
		out = append(out, Part{hex.EncodeToString(sum[:]), b.Bytes()})
		if len(derivation) == 0 {
			break
		}
	}
	return out, nil
}

// Whole puts the bodies of parts together again.
func Whole(bodies [][]byte) ([]byte, error) {
	out := []byte{}
	for _, b := range bodies {
		text, err := io.ReadAll(flate.NewReader(bytes.NewReader(b)))
		if err != nil {
			return nil, fmt.Errorf("a part of a derivation cannot be read: %w", err)
		}
		out = append(out, text...)
	}
	return out, nil
}

// leadTime finds the value of the outermost object's member "lead_time", from its first
// byte to behind its last; nothing at the end of the text where there is none.
func leadTime(text []byte) (from, to int) {
	const name = `"lead_time":`
	depth := 0
	for i := 0; i < len(text); i++ {
		switch text[i] {
		case '{', '[':
			depth++
		case '}', ']':
			depth--
			if from > 0 && depth == 1 {
				return from, i + 1
			}
		case '"':
			if depth == 1 && from == 0 && bytes.HasPrefix(text[i:], []byte(name+"{")) {
				from = i + len(name)
				i = from - 1
				continue
			}
			for i++; i < len(text) && text[i] != '"'; i++ {
				if text[i] == '\\' {
					i++
				}
			}
		}
	}
	return len(text), len(text)
}

// PartsOwner is whose parts they are: nobody shares with another dealer, so that none can
// tell what another has.
func PartsOwner(dealer *uuid.UUID) string {
	if dealer == nil {
		return HouseScope().String()
	}
	return dealer.String()
}
