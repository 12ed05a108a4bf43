package api

import (
	"mime"
	"strconv"
	"strings"
)

// accepted returns which of the media types an Accept header (RFC 9110, section
// 12.5.1) likes best, the earlier of equals; -1 for none. An empty header takes
// anything. The most specific range that matches a type decides its weight.
func accepted(header string, media []string) int {
	if strings.TrimSpace(header) == "" {
		return 0
	}
	best, bestWeight := -1, 0.0
	for i, m := range media {
		specific, weight := -1, 0.0
		for _, part := range strings.Split(header, ",") {
			kind, parameters, err := mime.ParseMediaType(part)
			if err != nil {
				continue
			}
			rank := -1
			switch major, _, _ := strings.Cut(m, "/"); kind {
			case m:
				rank = 2
			case major + "/*":
				rank = 1
			case "*/*":
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
