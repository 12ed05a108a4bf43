package api

import (
	"regexp"
	"strconv"
)

// versionTag is the ETag of a thing that counts its versions.
func versionTag(version int) string { return `"` + strconv.Itoa(version) + `"` }

// ourTag is a strong entity tag (RFC 9110, section 8.8.3) of a version. A weak one
// names none: If-Match compares strongly (section 13.1.1).
var ourTag = regexp.MustCompile(`^"([0-9]{1,9})"$`)

// match returns the version that If-Match names, nil for "*" and where the header
// may be left out and is. A tag that is none of ours matches nothing, whatever it is
// sent for, so that the answer does not tell whether that is there.
func (c *call) match(needed bool) (*int, error) {
	header := c.Request().Header.Get("If-Match")
	switch header {
	case "*":
		return nil, nil
	case "":
		if needed {
			return nil, &httpError{problemPreconditionRequired, "Read it first and send its ETag in If-Match."}
		}
		return nil, nil
	}
	if m := ourTag.FindStringSubmatch(header); m != nil {
		version, err := strconv.Atoi(m[1])
		return &version, err
	}
	return nil, &httpError{problemPreconditionFailed, `If-Match holds no ETag of this service. Send one as it was given, with its quotes, like "3"; W/"3", which a proxy may have made of it, matches nothing.`}
}
