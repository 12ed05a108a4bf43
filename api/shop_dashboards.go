package api

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"hatchwright/service"
	"hatchwright/service/backlog"
	"hatchwright/service/civil"
	"hatchwright/service/fault"
	"hatchwright/service/quantity"
	"hatchwright/service/schedule"
)

// dashboardMedia are what the shop's plan and load are given as.
var dashboardMedia = append([]string{jsonType}, mediaOf([]service.PictureFormat{service.FormatSVG, service.FormatPNG, service.FormatPDF})...)

// getShopSchedule gives the plan of the open work, as data or drawn.
func (a *api) getShopSchedule(c *call) error {
	return a.dashboard(c, "The schedule", a.service.DrawSchedule, func(days service.Days) (*writer, service.BacklogStamp, error) {
		s, err := a.service.ShopSchedule(c.Request().Context(), c.caller, days)
		if err != nil {
			return nil, s.Backlog, err
		}
		w := newWriter(quantity.Metric)
		w.shopSchedule(&s)
		return w, s.Backlog, nil
	})
}

// getShopLoad gives the hours planned at each center, as data or drawn.
func (a *api) getShopLoad(c *call) error {
	return a.dashboard(c, "The load", a.service.DrawLoad, func(days service.Days) (*writer, service.BacklogStamp, error) {
		l, err := a.service.ShopLoad(c.Request().Context(), c.caller, days)
		if err != nil {
			return nil, l.Backlog, err
		}
		w := newWriter(quantity.Metric)
		w.shopLoad(&l)
		return w, l.Backlog, nil
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
	w := newWriter(quantity.Metric)
	defer w.free()
	w.calibration(&k)
	return c.send(http.StatusOK, w)
}

// dashboard answers with data or with a chart of some days. What the caller has
// already is not drawn again: all of it follows from the backlog and the request.
func (a *api) dashboard(c *call, what string, draw func(ctx context.Context, who service.Caller, days service.Days, sheet int) (service.Chart, error), write func(service.Days) (*writer, service.BacklogStamp, error)) error {
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
		w, stamp, err := write(days)
		if err != nil {
			return err
		}
		defer w.free()
		if c.holds(stamp, jsonType) {
			return c.NoContent(http.StatusNotModified)
		}
		return c.send(http.StatusOK, w)
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

// backlogStamp writes what open work an answer rests on.
func (w *writer) backlogStamp(b *service.BacklogStamp) {
	w.object("backlog")
	w.optional("version", b.Version)
	w.moment("as_of", &b.MadeAt)
	w.integer("orders", b.Orders)
	w.integer("operations", b.Operations)
	w.integer("scenarios", b.Scenarios)
	w.boolean("stale", b.Stale)
	w.end()
}

// answered writes which days an answer is of, and in which zone they are.
func (w *writer) answered(days service.Days, until civil.Date, zone *time.Location) {
	w.text("from", days.From.String())
	w.text("to", days.To.String())
	w.text("planned_until", until.String())
	w.text("time_zone", zone.String())
}

func (w *writer) centers(list []backlog.CenterRow) {
	w.list("work_centers")
	for _, k := range list {
		w.object("")
		w.text("key", k.Key)
		w.text("name", k.Name)
		w.integer("posts", k.Posts)
		w.end()
	}
	w.endList()
}

func (w *writer) driver(s schedule.Share) {
	w.object("driver")
	w.text("cause", string(s.Cause))
	w.text("key", s.Key)
	w.hours("hours", s.Time.Hours())
	w.end()
}

func (w *writer) shopSchedule(s *backlog.ShopSchedule) {
	w.object("")
	w.answered(s.Days, s.Until, s.Zone)
	w.centers(s.Centers)
	w.list("operations")
	for i := range s.Operations {
		o := &s.Operations[i]
		w.object("")
		w.text("order_id", o.Job)
		w.text("key", o.Operation)
		w.text("kind", o.Kind)
		if o.Post < 0 {
			w.null("work_center")
			w.null("post")
		} else {
			w.text("work_center", o.WorkCenter)
			w.integer("post", o.Post+1)
		}
		w.instant("ready", o.Ready.In(s.Zone))
		w.instant("start", o.Start.In(s.Zone))
		w.instant("labor_end", o.LaborEnd.In(s.Zone))
		w.instant("end", o.End.In(s.Zone))
		w.list("work")
		for _, p := range o.Work {
			w.object("")
			w.instant("start", p.Start.In(s.Zone))
			w.instant("end", p.End.In(s.Zone))
			w.end()
		}
		w.endList()
		w.object("waited_for")
		w.text("cause", string(o.Cause))
		w.text("key", o.CauseKey)
		w.end()
		w.boolean("started", o.Started)
		w.boolean("critical", o.Critical)
		w.end()
	}
	w.endList()
	w.list("orders")
	for i := range s.Orders {
		o := &s.Orders[i]
		w.object("")
		w.text("order_id", o.OrderID.String())
		w.id("dealer_id", o.DealerID)
		w.optional("purchase_reference", o.Reference)
		w.text("state", string(o.State))
		w.optional("promise", o.Promise)
		w.instant("start", o.Start.In(s.Zone))
		w.instant("end", o.End.In(s.Zone))
		w.hours("late_hours", o.Late.Hours())
		w.instant("p50", o.P50.In(s.Zone))
		w.instant("p80", o.P80.In(s.Zone))
		w.instant("p95", o.P95.In(s.Zone))
		w.driver(o.Driver)
		w.end()
	}
	w.endList()
	w.list("left_out")
	for _, l := range s.Left {
		w.object("")
		w.text("order_id", l.OrderID.String())
		w.text("why", l.Why)
		w.end()
	}
	w.endList()
	w.backlogStamp(&s.Backlog)
	w.end()
}

func (w *writer) shopLoad(l *backlog.ShopLoad) {
	w.object("")
	w.answered(l.Days, l.Until, l.Zone)
	w.centers(l.Centers)
	w.list("days")
	for _, d := range l.Loads {
		w.object("")
		w.text("work_center", d.WorkCenter)
		w.text("date", d.Date.String())
		w.hours("planned_hours", d.Busy.Hours())
		w.hours("available_hours", d.Available.Hours())
		w.boolean("closed", d.Closed)
		w.end()
	}
	w.endList()
	w.backlogStamp(&l.Backlog)
	w.end()
}

func (w *writer) calibration(k *service.Calibration) {
	w.object("")
	w.list("kinds")
	for i := range k.Kinds {
		l := &k.Kinds[i]
		w.object("")
		w.text("kind", l.Kind)
		w.integer("reports", l.Observations)
		w.ratio("factor", l.Spread.Factor)
		w.ratio("spread", l.Spread.Sigma)
		w.ratio("factor_before", l.Prior.Factor)
		w.ratio("spread_before", l.Prior.Sigma)
		w.end()
	}
	w.endList()
	w.integer("refused_reports", k.Refused)
	w.object("coverage")
	w.integer("orders", k.Coverage.Finished)
	p50, p80, p95, any := k.Coverage.Shares()
	for _, r := range []struct {
		key   string
		count int
		share float64
	}{{"p50", k.Coverage.ByP50, p50}, {"p80", k.Coverage.ByP80, p80}, {"p95", k.Coverage.ByP95, p95}} {
		w.object(r.key)
		w.integer("orders", r.count)
		if any {
			w.ratio("share", r.share)
		} else {
			w.null("share")
		}
		w.end()
	}
	w.end()
	w.backlogStamp(&k.Backlog)
	w.end()
}
