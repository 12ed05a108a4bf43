package api

import (
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"
)

// uncompressed tells the answers that are not compressed on their way: streams, which
// nothing may collect, and the assets of the reference page, which lie compressed in the
// binary. A browser undoes one compression, not two.
func uncompressed(c echo.Context) bool {
	return streams(c) || strings.HasPrefix(c.Request().URL.Path, assetsPath)
}

// plainUnlessAsked takes Accept-Encoding away where it does not take gzip: what looks for
// the word alone would send gzip to one that refuses it.
func plainUnlessAsked(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if h := c.Request().Header; !takesGzip(strings.Join(h.Values("Accept-Encoding"), ",")) {
			h.Del("Accept-Encoding")
		}
		return next(c)
	}
}

// takesGzip reads Accept-Encoding (RFC 9110, section 12.5.3). Without a word on gzip, or
// with a weight that cannot be read, it is not sent: plain is understood by all.
func takesGzip(header string) bool {
	any := false
	for part := range strings.SplitSeq(header, ",") {
		coding, parameter, _ := strings.Cut(part, ";")
		weight := 1.0
		if name, value, ok := strings.Cut(parameter, "="); ok && strings.EqualFold(strings.TrimSpace(name), "q") {
			var err error
			if weight, err = strconv.ParseFloat(strings.TrimSpace(value), 64); err != nil {
				weight = 0
			}
		}
		switch strings.ToLower(strings.TrimSpace(coding)) {
		case "gzip":
			return weight > 0
		case "*":
			any = weight > 0
		}
	}
	return any
}
