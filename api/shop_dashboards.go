package api

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/http"
	"strconv"

	"hatchwright/service"
	"hatchwright/service/fault"
)

// dashboardMedia are what the shop's plan and load are given as.
var dashboardMedia = append([]string{jsonType}, mediaOf([]service.PictureFormat{service.FormatSVG, service.FormatPNG, service.FormatPDF})...)

// getShopSchedule gives the plan of the open work, as data or drawn.
func (a *api) getShopSchedule(c *call) error {
	return a.dashboard(c, "The schedule", a.service.DrawSchedule, func(days service.Days) (any, service.BacklogStamp, error) {
		s, err := a.service.ShopSchedule(c.Request().Context(), c.caller, days)
		if err != nil {
			return nil, s.Backlog, err
		}
		return toShopSchedule(&s), s.Backlog, nil
	})
}

// getShopLoad gives the hours planned at each center, as data or drawn.
func (a *api) getShopLoad(c *call) error {
	return a.dashboard(c, "The load", a.service.DrawLoad, func(days service.Days) (any, service.BacklogStamp, error) {
		l, err := a.service.ShopLoad(c.Request().Context(), c.caller, days)
		if err != nil {
			return nil, l.Backlog, err
		}
		return toShopLoad(&l), l.Backlog, nil
	})
}

// getShopCalibration gives what was learned from the floor's reports.
func (a *api) getShopCalibration(c *call) error {
	k, err := a.service.ShopCalibration(c.Request().Context(), c.caller)
	if err != nil {
		return err
	}
	if c.holds(k.Backlog, jsonType) {
		return c.NoContent(http.StatusNotModified)
	}
	return c.answer(http.StatusOK, toCalibration(&k))
}

// dashboard answers with data or with a chart of some days. What the caller has
// already is not drawn again: all of it follows from the backlog and the request.
func (a *api) dashboard(c *call, what string, draw func(ctx context.Context, who service.Caller, days service.Days, sheet int) (service.Chart, error), tell func(service.Days) (any, service.BacklogStamp, error)) error {
	i, err := c.negotiate(what, dashboardMedia)
	if err != nil {
		return err
	}
	days := service.Days{From: c.queryDate("from"), To: c.queryDate("to")}
	sheet := c.queryInt("sheet")
	if i == 0 {
		if sheet != 0 {
			return invalid([]fault.Field{{Parameter: "sheet", Code: "not_applicable", Message: "JSON has no sheets. Leave this out, or ask for a picture by Accept."}})
		}
		told, stamp, err := tell(days)
		if err != nil {
			return err
		}
		if c.holds(stamp, jsonType) {
			return c.NoContent(http.StatusNotModified)
		}
		return c.answer(http.StatusOK, told)
	}
	p, err := draw(c.Request().Context(), c.caller, days, sheet)
	if err != nil {
		return err
	}
	if c.holds(p.Backlog, dashboardMedia[i]) {
		return c.NoContent(http.StatusNotModified)
	}
	body, err := p.Render(p.Formats[i-1])
	if err != nil {
		return err
	}
	if p.Next > 0 && (sheet > 0 || p.Formats[i-1] != service.FormatPDF) { // a PDF has them all
		next := *c.Request().URL
		query := next.Query()
		query.Set("sheet", strconv.Itoa(p.Next))
		next.RawQuery = query.Encode()
		c.Response().Header().Set("Link", "<"+next.RequestURI()+`>; rel="next"`)
	}
	c.Response().Header().Set("Content-Disposition", fmt.Sprintf(`inline; filename="%s.%s"`, p.File, p.Formats[i-1]))
	return c.Blob(http.StatusOK, dashboardMedia[i], body)
}

// holds sets the validator of an answer that follows from the backlog and the request
// alone, and reports whether the caller has that answer already. It is weak, as that
// of files is.
func (c *call) holds(b service.BacklogStamp, media string) bool {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %d %t %s", b.Version, b.MadeAt.UnixNano(), b.Stale, media))
	tag := `W/"` + base64.RawURLEncoding.EncodeToString(sum[:16]) + `"`
	h := c.Response().Header()
	h.Set("ETag", tag)
	h.Set("Cache-Control", "private, no-cache")
	return matches(c.Request().Header.Values("If-None-Match"), tag)
}
