package api

import (
	"regexp"
	"strconv"

	"hatchwright/service/record"
)

// versionTag is the ETag of a thing that counts its versions.
func versionTag(version int) string { return `"` + strconv.Itoa(version) + `"` }

// entityTag is one strong entity tag (RFC 9110, section 8.8.3). A weak one names
// no version: If-Match compares strongly (section 13.1.1).
var entityTag = regexp.MustCompile(`^"([\x21\x23-\x7e]*)"$`)

// noVersion matches nothing: versions count from 1.
const noVersion = 0

// match returns the version that If-Match names, nil for "*" and where the header
// may be left out and is. A tag that is none of ours is a version that is not
// there, so that what is unknown stays unknown.
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
	version := noVersion
	if m := entityTag.FindStringSubmatch(header); m != nil {
		if n, err := strconv.Atoi(m[1]); err == nil {
			version = n
		}
	}
	return &version, nil
}

// made is the answer to a change, with the version it made.
func made(status, version int, location string, w *writer) (record.Answer, error) {
	body, err := w.copy()
	a := record.Answer{Status: status, Header: map[string][]string{"Etag": {versionTag(version)}}, Body: body}
	if location != "" {
		a.Header.Set("Location", location)
	}
	return a, err
}
