package api

import (
	"mime"
	"net/http"
	"strconv"
	"strings"

	"hatchwright/service/drawing"
	"hatchwright/service/quantity"
)

// drawingDPI is the resolution of a PNG, dots an inch: sharp on a screen, and a
// line of 0.25 mm is still a pixel wide.
const drawingDPI = 110

// drawingFormats are the formats of a drawing, the one that is given when any
// will do first.
var drawingFormats = []struct {
	media  string
	render func(drawing.Drawing) ([]byte, error)
}{
	{"image/svg+xml", drawing.Drawing.SVG},
	{"image/png", func(d drawing.Drawing) ([]byte, error) { return d.PNG(drawingDPI) }},
}

// listDrawings lists the drawings of a kept configuration.
func (a *api) listDrawings(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	names, err := a.service.ListDrawings(c.Request().Context(), c.caller, id)
	if err != nil {
		return err
	}
	w := newWriter(quantity.Metric)
	defer w.free()
	w.object("")
	w.list("items")
	for _, n := range names {
		w.object("")
		w.text("name", n)
		w.text("href", "/v1/configurations/"+id.String()+"/drawings/"+n)
		w.list("formats")
		for _, f := range drawingFormats {
			w.text("", f.media)
		}
		w.endList()
		w.end()
	}
	w.endList()
	w.end()
	return c.send(http.StatusOK, w)
}

// getDrawing gives one drawing in the format that the Accept header asks for.
func (a *api) getDrawing(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	media := make([]string, len(drawingFormats))
	for i, f := range drawingFormats {
		media[i] = f.media
	}
	c.Response().Header().Add("Vary", "Accept")
	chosen := accepted(c.Request().Header.Get("Accept"), media)
	if chosen < 0 {
		return &httpError{problemNotAcceptable, "A drawing is given as " + strings.Join(media, " or ") + "."}
	}
	d, err := a.service.DrawConfiguration(c.Request().Context(), c.caller, id, c.Param("drawing"))
	if err != nil {
		return err
	}
	body, err := drawingFormats[chosen].render(d)
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, media[chosen], body)
}

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
