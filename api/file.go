package api

import (
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"strings"
)

// file answers with a file that can be asked for again: 304 to a GET whose
// If-None-Match knows it already.
func (c *call) file(media, name string, body []byte) error {
	h := c.Response().Header()
	tag := weakTag(body)
	h.Set("ETag", tag)
	h.Set("Content-Disposition", `inline; filename="`+name+`"`) // names are of a-z, 0-9, - and .
	if c.operation.method == http.MethodGet {
		// A browser may keep it, and asks each time whether it still holds.
		h.Set("Cache-Control", "private, no-cache")
		if matches(c.Request().Header.Values("If-None-Match"), tag) {
			return c.NoContent(http.StatusNotModified)
		}
	}
	return c.Blob(http.StatusOK, media, body)
}

// weakTag is a validator of a body: half of its SHA-256. It is weak (RFC 9110,
// section 8.8.1) because the compressed answer bears the same.
func weakTag(body []byte) string {
	sum := sha256.Sum256(body)
	return `W/"` + base64.RawURLEncoding.EncodeToString(sum[:16]) + `"`
}

// matches reports whether a list of entity tags (RFC 9110, section 13.1.2) has the
// tag, by weak comparison. Tags of this service hold no comma.
func matches(list []string, tag string) bool {
	opaque := func(t string) string { return strings.TrimPrefix(strings.TrimSpace(t), "W/") }
	for _, header := range list {
		for t := range strings.SplitSeq(header, ",") {
			if strings.TrimSpace(t) == "*" || opaque(t) == opaque(tag) {
				return true
			}
		}
	}
	return false
}
