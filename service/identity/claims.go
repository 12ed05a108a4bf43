package identity

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
)

// deciding are the claims that a token is judged by (RFC 7519, section 4.1).
var deciding = []string{"iss", "sub", "aud", "exp", "nbf", "iat"}

// deepest bounds how deep claims may nest; providers nest three deep or so.
const deepest = 50

// unambiguous tells whether claims can be read in one way only. A name that comes twice
// in one object is read by some as the first and by others as the last (RFC 7519,
// section 4, lets a reader refuse it); and Go's decoder takes a name in other letters,
// as Exp, for the claim, whose case counts (section 10.1.1).
func unambiguous(claims []byte) bool {
	d := json.NewDecoder(bytes.NewReader(claims))
	return once(d, 0)
}

// once reads a value and tells whether each of its objects has each name once.
func once(d *json.Decoder, depth int) bool {
	t, err := d.Token()
	if err != nil || depth > deepest {
		return false
	}
	open, nested := t.(json.Delim)
	if !nested {
		return true
	}
	seen := map[string]bool{}
	for d.More() {
		if open == '{' {
			t, err := d.Token()
			name, ok := t.(string)
			if err != nil || !ok || seen[name] {
				return false
			}
			seen[name] = true
			if depth == 0 && slices.ContainsFunc(deciding, func(c string) bool { return name != c && strings.EqualFold(name, c) }) {
				return false
			}
		}
		if !once(d, depth+1) {
			return false
		}
	}
	_, err = d.Token()
	return err == nil
}
