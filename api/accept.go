package api

import (
	"mime"
	"strconv"
	"strings"

	"hatchwright/service/fault"
)

// accepted returns which of the media types an Accept header (RFC 9110, section
// 12.5.1) likes best, the earlier of equals; -1 for none. An empty header takes
// anything. The most specific range that matches a type decides its weight.
func accepted(header string, media []string) int {
	if len(ranges(header)) == 0 {
		return 0
	}
	best, bestWeight := -1, 0.0
	for i, m := range media {
		specific, weight := -1, 0.0
		for _, part := range ranges(header) {
			kind, parameters, err := mime.ParseMediaType(part)
			if err != nil {
				continue // checkAccept has told of it
			}
			rank := -1
			switch major, _, _ := strings.Cut(m, "/"); kind {
			case m:
				rank = 2
			case major + "/*":
				rank = 1
			case "*/*", "*": // some old clients write the second
				rank = 0
			}
			if rank <= specific {
				continue
			}
			q := 1.0
			if text, ok := parameters["q"]; ok {
				if q, err = strconv.ParseFloat(text, 64); err != nil || !(q >= 0 && q <= 1) {
					continue
				}
			}
			specific, weight = rank, q
		}
		if weight > bestWeight {
			best, bestWeight = i, weight
		}
	}
	return best
}

// checkAccept says what of an Accept header cannot be read. A range that is left out
// gives a format that nobody asked for.
func checkAccept(header string) []fault.Field {
	for _, part := range ranges(header) {
		kind, parameters, err := mime.ParseMediaType(part)
		weight, given := parameters["q"]
		q, qErr := strconv.ParseFloat(weight, 64)
		switch {
		case err != nil || kind != "*" && !strings.Contains(kind, "/"):
			return []fault.Field{{Parameter: "Accept", Code: "wrong_form", Message: "This has a part that is no range of media types; write them like text/csv, application/json;q=0.5."}}
		case given && (qErr != nil || !(q >= 0 && q <= 1)):
			return []fault.Field{{Parameter: "Accept", Code: "out_of_range", Message: "The weight q of a range must be from 0 to 1, like q=0.5."}}
		}
	}
	return nil
}

// ranges takes a header that is a list apart at the commas that do not stand in quotes,
// and leaves empty parts out (RFC 9110, section 5.6.1).
func ranges(header string) (list []string) {
	quoted, escaped, from := false, false, 0
	add := func(part string) {
		if strings.TrimSpace(part) != "" {
			list = append(list, part)
		}
	}
	for i := range len(header) {
		switch c := header[i]; {
		case escaped:
			escaped = false
		case quoted && c == '\\':
			escaped = true
		case c == '"':
			quoted = !quoted
		case c == ',' && !quoted:
			add(header[from:i])
			from = i + 1
		}
	}
	add(header[from:])
	return list
}
