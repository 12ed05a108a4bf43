package api

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// dashboardOf asks for a picture of a dashboard.
func (b *bench) dashboardOf(path, accept string, headers ...string) answer {
	b.t.Helper()
	return b.send(http.MethodGet, path, b.shop, "", append([]string{"Accept", accept}, headers...)...)
}

// TestShopSchedule reads the plan of two orders, one begun, as data and drawn.
func TestShopSchedule(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	shop := b.client(b.shop)
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)

	// An empty shop has its posts, and a chart that says so.
	b.refresh()
	empty, err := shop.GetShopScheduleWithResponse(ctx, nil)
	if err != nil || empty.JSON200 == nil || len(empty.JSON200.WorkCenters) != 5 || len(empty.JSON200.Orders)+len(empty.JSON200.Operations)+len(empty.JSON200.LeftOut) != 0 || empty.JSON200.Backlog.Stale {
		t.Fatalf("%v %s", err, empty.Body)
	}
	if a := b.dashboardOf("/v1/shop/schedule", "image/svg+xml"); a.status != http.StatusOK || !strings.Contains(string(a.body), "Nothing is planned in these days.") {
		t.Errorf("%d %.300s", a.status, a.body)
	}

	first, second := b.order(key), b.order(key)
	begun := first.Operations[0].Key
	a := b.send(http.MethodPut, "/v1/orders/"+first.Id.String()+"/operations/"+begun+"/record", b.shop, `{"started_at":"2026-11-30T12:30:00Z"}`)
	if a.status != http.StatusOK {
		t.Fatalf("%d %s", a.status, a.body)
	}
	b.refresh()
	got, err := shop.GetShopScheduleWithResponse(ctx, nil)
	if err != nil || got.JSON200 == nil {
		t.Fatalf("%v %s", err, got.Body)
	}
	s := got.JSON200
	if len(s.Orders) != 2 || s.Backlog.Orders != 2 || len(s.Operations) != s.Backlog.Operations || len(s.Operations) != len(first.Operations)+len(second.Operations) || s.TimeZone != "America/New_York" ||
		s.From != openapiDate("2026-11-30") || s.To != s.PlannedUntil || s.Backlog.Scenarios != 256 || !s.Backlog.AsOf.Equal(monday) {
		t.Errorf("%d orders, %d operations: %+v", len(s.Orders), len(s.Operations), s.Backlog)
	}
	posts := map[string]int{}
	for _, k := range s.WorkCenters {
		posts[k.Key] = k.Posts
	}
	started, critical, stopped := 0, map[string]bool{}, 0
	for i, o := range s.Operations {
		if i > 0 && o.Start.Before(s.Operations[i-1].Start) {
			t.Errorf("%s is not by start", o.Key)
		}
		if o.Started {
			started++
			if o.OrderId != first.Id || o.Key != begun {
				t.Errorf("begun: %+v", o)
			}
		}
		if o.Critical {
			critical[o.OrderId.String()] = true
		}
		if o.WorkCenter == nil || *o.Post < 1 || *o.Post > posts[*o.WorkCenter] {
			t.Errorf("%s is nowhere", o.Key)
		}
		// The pieces run from the start to the end of the labor, and none over a night.
		worked := time.Duration(0)
		for k, p := range o.Work {
			worked += p.End.Sub(p.Start)
			if !p.End.After(p.Start) || p.End.Sub(p.Start) > 5*time.Hour || k > 0 && !p.Start.After(o.Work[k-1].End) {
				t.Errorf("%s: piece %v to %v", o.Key, p.Start, p.End)
			}
		}
		if n := len(o.Work); n == 0 || !o.Work[0].Start.Equal(o.Start) || !o.Work[n-1].End.Equal(o.LaborEnd) {
			t.Errorf("%s from %v to %v is worked in %v", o.Key, o.Start, o.LaborEnd, o.Work)
		}
		if worked < o.LaborEnd.Sub(o.Start) {
			stopped++
		}
	}
	if started != 1 || len(critical) != 2 || stopped == 0 {
		t.Errorf("%d begun, %d orders with a critical chain, %d operations that stop", started, len(critical), stopped)
	}
	for _, o := range s.Orders {
		if o.DealerId == nil || o.DealerId.String() != dealer || *o.PurchaseReference != "PO-4711" || o.Promise == nil || o.P80.Before(o.P50) || o.P95.Before(o.P80) || !o.End.After(o.Start) || o.Driver.Key == "" {
			t.Errorf("%+v", o)
		}
		// Late is past the midnight that ends the promised day there, five hours behind UTC.
		late := o.End.Sub(o.Promise.Time.Add(29 * time.Hour)).Hours()
		if d := o.LateHours - max(0, late); d > 1e-3 || d < -1e-3 {
			t.Errorf("late by %v, want %v", o.LateHours, late)
		}
	}

	// Of one day there is less, of a day before there was anything nothing.
	day, before := openapiDate("2026-12-01"), openapiDate("2026-11-27")
	one, err := shop.GetShopScheduleWithResponse(ctx, &client.GetShopScheduleParams{From: &day, To: &day})
	if err != nil || one.JSON200 == nil || len(one.JSON200.Operations) == 0 || len(one.JSON200.Operations) >= len(s.Operations) {
		t.Errorf("%v %.300s", err, one.Body)
	}
	for _, o := range one.JSON200.Operations {
		if o.Start.After(monday.Add(40*time.Hour)) || o.End.Before(monday.Add(16*time.Hour)) { // midnight of 1 and 2 December there: 05:00 UTC
			t.Errorf("%s is from %v to %v", o.Key, o.Start, o.End)
		}
	}
	none, err := shop.GetShopScheduleWithResponse(ctx, &client.GetShopScheduleParams{To: &before})
	if err != nil || none.JSON200 == nil || len(none.JSON200.Operations)+len(none.JSON200.Orders) != 0 {
		t.Errorf("%v %.300s", err, none.Body)
	}

	// Drawn: SVG and PNG a sheet each, the PDF all.
	sheets := 0
	for next := "/v1/shop/schedule"; next != ""; {
		a := b.dashboardOf(next, "image/svg+xml")
		if sheets++; a.status != http.StatusOK || a.header.Get("Content-Type") != "image/svg+xml" || !strings.Contains(string(a.body), fmt.Sprintf("sheet %d of ", sheets)) || sheets > 20 {
			t.Fatalf("%s: %d %.300s", next, a.status, a.body)
		}
		if sheets == 1 && (!strings.Contains(string(a.body), "PO-4711, Brackwater Marine") || strings.Contains(string(a.body), "Nothing is planned")) {
			t.Errorf("the first sheet names no order: %.300s", a.body)
		}
		next, _, _ = strings.Cut(strings.TrimPrefix(a.header.Get("Link"), "<"), ">")
	}
	if sheets < 3 {
		t.Errorf("%d sheets", sheets)
	}
	if a := b.dashboardOf("/v1/shop/schedule", "application/pdf"); !bytes.HasPrefix(a.body, []byte("%PDF")) || bytes.Count(a.body, []byte("/Type /Page\n")) != sheets || a.header.Get("Link") != "" {
		t.Errorf("%d, %d pages of %d", a.status, bytes.Count(a.body, []byte("/Type /Page\n")), sheets)
	}
	if a := b.dashboardOf("/v1/shop/schedule?sheet=2&to=2026-12-11", "image/png"); !bytes.HasPrefix(a.body, []byte("\x89PNG")) || !strings.Contains(a.header.Get("Content-Disposition"), `"schedule-2026-11-30-2026-12-11-sheet-2.png"`) {
		t.Errorf("%d %v", a.status, a.header)
	}
}

// TestShopLoad reads the hours planned and available, as data and drawn.
func TestShopLoad(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	b.order(key)
	b.refresh()
	until := openapiDate("2026-12-31")
	got, err := b.client(b.shop).GetShopLoadWithResponse(ctx, &client.GetShopLoadParams{To: &until})
	if err != nil || got.JSON200 == nil {
		t.Fatalf("%v %s", err, got.Body)
	}
	l := got.JSON200
	if len(l.Days) != 5*32 { // each center on each day, whether there is work or not
		t.Errorf("%d rows", len(l.Days))
	}
	planned := 0.0
	for i, d := range l.Days {
		planned += d.PlannedHours
		if want := openapiDate("2026-11-30").AddDate(0, 0, i%32); !d.Date.Time.Equal(want) || d.WorkCenter != l.WorkCenters[i/32].Key || d.PlannedHours > d.AvailableHours {
			t.Errorf("row %d: %+v", i, d)
		}
		// By the example's calendar: 9 h Monday to Thursday, 4 h on Friday, closed from
		// 24 December; today, Monday, from 08:00 on, an hour less.
		hours := map[time.Weekday]float64{time.Monday: 9, time.Tuesday: 9, time.Wednesday: 9, time.Thursday: 9, time.Friday: 4}[d.Date.Weekday()]
		shut := d.Date.Day() >= 24 && d.Date.Month() == time.December
		switch {
		case i%32 == 0:
			hours = 8
		case shut:
			hours = 0
		}
		if want := hours * float64(l.WorkCenters[i/32].Posts); d.AvailableHours != want || d.Closed != shut {
			t.Errorf("row %d: %+v, want %v h", i, d, want)
		}
	}
	if planned < 10 {
		t.Errorf("%v h are planned", planned)
	}
	for _, c := range []struct{ path, says string }{{"/v1/shop/load", "hours planned of hours available"}, {"/v1/shop/load?to=2027-11-29", "there, a week"}} {
		if a := b.dashboardOf(c.path, "image/svg+xml"); a.status != http.StatusOK || !strings.Contains(string(a.body), c.says) {
			t.Errorf("%s: %d %.300s", c.path, a.status, a.body)
		}
	}
	if a := b.dashboardOf("/v1/shop/load", "application/pdf"); !bytes.HasPrefix(a.body, []byte("%PDF")) {
		t.Errorf("%d %.100s", a.status, a.body)
	}
}

// TestShopCalibration: what was learned, before and after a report.
func TestShopCalibration(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	shop := b.client(b.shop)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	b.refresh() // dates are given behind a backlog
	o := b.order(key)
	b.refresh()
	read := func() *client.ShopCalibration {
		t.Helper()
		got, err := shop.GetShopCalibrationWithResponse(ctx, nil)
		if err != nil || got.JSON200 == nil {
			t.Fatalf("%v %s", err, got.Body)
		}
		return got.JSON200
	}
	kind := o.Operations[0].Kind
	of := func(c *client.ShopCalibration) client.LearnedKind {
		for _, k := range c.Kinds {
			if k.Kind == kind {
				return k
			}
		}
		t.Fatalf("no %s", kind)
		return client.LearnedKind{}
	}
	before := read()
	if k := of(before); k.Reports != 0 || k.Factor != k.FactorBefore || k.Spread != k.SpreadBefore || before.RefusedReports != 0 || before.Coverage.Orders != 0 || before.Coverage.P80.Share != nil {
		t.Errorf("before any report: %+v %+v", k, before.Coverage)
	}
	// Every operation is finished: the first took twice its estimate, one beyond all
	// belief, the others what was planned.
	for i, k := range o.Operations {
		hours := k.PlannedHours * float64(max(1, k.Crew))
		if i == 0 {
			hours *= 2
		} else if i == len(o.Operations)-1 {
			hours *= 60
		}
		a := b.send(http.MethodPut, "/v1/orders/"+o.Id.String()+"/operations/"+strings.ReplaceAll(k.Key, " ", "%20")+"/record", b.shop, fmt.Sprintf(`{"started_at":"2026-11-30T12:30:00Z","finished_at":"2026-11-30T12:50:00Z","hours":%.6f}`, hours))
		if a.status != http.StatusOK {
			t.Fatalf("%d %s", a.status, a.body)
		}
	}
	b.refresh()
	b.refresh() // the end of the order is noted first
	after := read()
	if k := of(after); k.Reports == 0 || k.Factor <= k.FactorBefore || k.FactorBefore != of(before).Factor {
		t.Errorf("after: %+v", k)
	}
	if c := after.Coverage; after.RefusedReports != 1 || c.Orders != 1 || c.P50.Orders != 1 || c.P95.Orders != 1 || c.P80.Share == nil || *c.P80.Share != 1 {
		t.Errorf("refused %d, %+v", after.RefusedReports, c)
	}
}

// TestDashboardsRefuseAndCache: days that make no span, formats and sheets that there
// are not, and answers that the caller has already.
func TestDashboardsRefuseAndCache(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	b.order(key)
	b.refresh()
	for _, c := range []struct {
		query, accept, parameter, code string
	}{
		{"from=2026-12-02&to=2026-12-01", jsonType, "to", "turned_round"},
		{"from=2026-12-02&to=2026-12-01", "image/png", "to", "turned_round"},
		{"from=tomorrow", jsonType, "from", "wrong_form"},
		{"to=2026-02-30", jsonType, "to", "wrong_form"},
		{"from=2026-12-01T08:00:00Z", jsonType, "from", "wrong_form"},
		{"from=2026-12-01&to=2027-12-02", jsonType, "to", "span_too_long"}, // 367 days
		{"to=2199-12-31", "image/svg+xml", "to", "span_too_long"},
		{"from=2190-01-01&to=2190-01-02", jsonType, "from", "too_far"},
		{"from=2026-12-01&from=2026-12-02", jsonType, "from", "duplicate_parameter"},
		{"until=2026-12-01", jsonType, "until", "unknown_parameter"},
		{"sheet=0", "image/png", "sheet", "out_of_range"},
		{"sheet=1.5", "image/png", "sheet", "wrong_type"},
		{"sheet=99", "image/png", "sheet", "no_such_sheet"},
		{"sheet=1", jsonType, "sheet", "not_applicable"},
	} {
		for _, path := range []string{"/v1/shop/schedule", "/v1/shop/load"} {
			a := b.dashboardOf(path+"?"+c.query, c.accept)
			p := a.problem(t)
			if a.status != http.StatusBadRequest || len(p.Errors) != 1 || p.Errors[0].Parameter == nil || *p.Errors[0].Parameter != c.parameter || p.Errors[0].Code != c.code || p.Errors[0].Message == "" {
				t.Errorf("%s?%s: %d %s", path, c.query, a.status, a.body)
			}
		}
	}
	if a := b.dashboardOf("/v1/shop/schedule?from=2026-12-01&to=2027-12-01", jsonType); a.status != http.StatusOK { // 366 days
		t.Errorf("%d %s", a.status, a.body)
	}
	tags := map[string]bool{}
	media := map[string][]string{"/v1/shop/schedule": dashboardMedia, "/v1/shop/load": dashboardMedia, "/v1/shop/calibration": {jsonType}}
	for path, list := range media {
		for _, m := range list {
			a := b.dashboardOf(path, m)
			tag := a.header.Get("ETag")
			if a.status != http.StatusOK || tag == "" {
				t.Fatalf("%s as %s: %d", path, m, a.status)
			}
			tags[m+tag] = true
			if again := b.dashboardOf(path, m, "If-None-Match", tag); again.status != http.StatusNotModified || len(again.body) > 0 || again.header.Get("ETag") != tag {
				t.Errorf("%s as %s again: %d", path, m, again.status)
			}
			if same := b.dashboardOf(path, m); !bytes.Equal(same.body, a.body) {
				t.Errorf("%s as %s: the same backlog gave another answer", path, m)
			}
			for _, other := range list {
				if other != m && b.dashboardOf(path, other, "If-None-Match", tag).status != http.StatusOK {
					t.Errorf("%s: the tag of %s holds for %s", path, m, other)
				}
			}
		}
		if a := b.dashboardOf(path, "text/csv"); path != "/v1/shop/calibration" {
			a.wants(t, 406, "not-acceptable")
		}
	}
	// A new order makes all of them others.
	b.order(key)
	b.refresh()
	for path, list := range media {
		for _, m := range list {
			if tag := b.dashboardOf(path, m).header.Get("ETag"); tags[m+tag] {
				t.Errorf("%s as %s has the tag of the backlog before", path, m)
			}
		}
	}
}

// TestPacketOfAnOrder: its times are those of the shop's plan, and the packet without
// an order stays what it was.
func TestPacketOfAnOrder(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	b.order(key)
	o := b.order(key)
	at := "/v1/configurations/" + o.Lines[1].ConfigurationId.String() + "/packet"
	of := at + "?order_id=" + o.Id.String()
	b.send(http.MethodGet, of, b.shop, "").wants(t, 409, "conflict") // not planned yet
	b.refresh()
	idle, planned := b.send(http.MethodGet, at, b.shop, ""), b.send(http.MethodGet, of, b.shop, "")
	if idle.status != http.StatusOK || planned.status != http.StatusOK || bytes.Equal(idle.body, planned.body) {
		t.Fatalf("%d and %d %.300s", idle.status, planned.status, planned.body)
	}
	if again := b.send(http.MethodGet, of, b.shop, "", "If-None-Match", planned.header.Get("ETag")); again.status != http.StatusNotModified {
		t.Errorf("the same plan: %d", again.status)
	}
	// What the floor has begun and finished moves the plan, and leaves the list.
	for _, k := range o.Operations {
		if k.Line != 2 {
			continue
		}
		if a := b.send(http.MethodPut, "/v1/orders/"+o.Id.String()+"/operations/"+k.Key+"/record", b.shop, `{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T12:30:00Z","hours":0.5}`); a.status != http.StatusOK {
			t.Fatalf("%d %s", a.status, a.body)
		}
		break
	}
	b.refresh()
	if moved := b.send(http.MethodGet, of, b.shop, ""); moved.status != http.StatusOK || bytes.Equal(moved.body, planned.body) {
		t.Errorf("%d after a record", moved.status)
	}
	b.send(http.MethodGet, of, key, "").wants(t, 403, "forbidden")
	b.send(http.MethodGet, at+"?order_id="+nobody, b.shop, "").wants(t, 404, "not-found")
	if p := b.send(http.MethodGet, "/v1/configurations/"+b.keepSmall(b.shop)+"/packet?order_id="+o.Id.String(), b.shop, "").problem(t); len(p.Errors) != 1 || *p.Errors[0].Parameter != "order_id" || p.Errors[0].Code != "not_in_order" {
		t.Errorf("%+v", p)
	}
}

// refresh works the backlog out.
func (b *bench) refresh() {
	b.t.Helper()
	if _, err := b.service.RefreshBacklog(context.Background()); err != nil {
		b.t.Fatal(err)
	}
}
