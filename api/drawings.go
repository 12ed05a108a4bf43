package api

import (
	"fmt"
	"net/http"
	"strings"

	"hatchwright/service"
)

// mediaTypes are the media types of the formats, as IANA has registered them.
var mediaTypes = map[service.PictureFormat]string{
	service.FormatSVG: "image/svg+xml",
	service.FormatPNG: "image/png",
	service.FormatPDF: "application/pdf",
	service.FormatDXF: "image/vnd.dxf",
	service.FormatGLB: "model/gltf-binary",
	service.FormatSTL: "model/stl",
}

func mediaOf(formats []service.PictureFormat) []string {
	out := make([]string, len(formats))
	for i, f := range formats {
		out[i] = mediaTypes[f]
	}
	return out
}

// listDrawings lists the drawings and models of a kept configuration.
func (a *api) listDrawings(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	pictures, err := a.service.ListDrawings(c.Request().Context(), c.caller, id)
	if err != nil {
		return err
	}
	return c.answer(http.StatusOK, wireDrawings{rows(pictures, func(p *service.Picture) wireDrawing {
		return wireDrawing{text(p.Name), text(p.Title), text("/v1/configurations/" + id.String() + "/drawings/" + p.Name), texts(mediaOf(p.Formats))}
	})})
}

type wireDrawings struct {
	Items []wireDrawing `json:"items"`
}

type wireDrawing struct {
	Name    text   `json:"name"`
	Title   text   `json:"title"`
	Href    text   `json:"href"`
	Formats []text `json:"formats"`
}

// getDrawing gives one drawing of a kept configuration in the format that the
// Accept header asks for.
func (a *api) getDrawing(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	p, err := a.service.DrawConfiguration(c.Request().Context(), c.caller, id, c.Param("drawing"))
	if err != nil {
		return err
	}
	return c.picture(p)
}

// draw gives a drawing of a configuration that is not kept.
func (a *api) draw(c *call) error {
	r, err := c.configuration("")
	if err != nil {
		return err
	}
	p, err := a.service.Draw(c.Request().Context(), c.caller, r, c.Param("drawing"))
	if err != nil {
		a.refused(err)
		return err
	}
	return c.picture(p)
}

// picture answers with a picture in the format that is asked for.
func (c *call) picture(p service.Picture) error {
	media := mediaOf(p.Formats)
	i, err := c.negotiate(fmt.Sprintf("The drawing %q", p.Name), media)
	if err != nil {
		return err
	}
	body, err := p.Render(p.Formats[i])
	if err != nil {
		return err
	}
	return c.file(media[i], p.File+"."+string(p.Formats[i]), body)
}

// getPacket gives the shop packet of a kept configuration.
func (a *api) getPacket(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	media := mediaTypes[service.FormatPDF]
	if _, err := c.negotiate("The packet", []string{media}); err != nil {
		return err
	}
	p, err := a.service.WritePacket(c.Request().Context(), c.caller, id, c.queryID("order_id"))
	if err != nil {
		return err
	}
	return c.file(media, p.File+".pdf", p.PDF)
}

// negotiate returns which of the media types the Accept header likes best. what
// begins the sentence that says what there is.
func (c *call) negotiate(what string, media []string) (int, error) {
	c.Response().Header().Add("Vary", "Accept")
	header := strings.Join(c.Request().Header.Values("Accept"), ",")
	if fields := checkAccept(header); len(fields) > 0 {
		return 0, invalid(fields)
	}
	i := accepted(header, media)
	if i < 0 {
		return 0, &httpError{problemNotAcceptable, what + " is given as " + strings.Join(media, " or ") + "."}
	}
	return i, nil
}
