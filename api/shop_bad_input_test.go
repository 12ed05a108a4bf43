package api

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"hatchwright/service/record"
)

// TestShopBadInput sends what a shop gets wrong, line by line: each is refused with
// the place and the mend, and nothing has changed afterwards.
func TestShopBadInput(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	o := b.order(key)
	old, good := b.receive(4, "2026-11-29"), b.receive(5, "2026-12-31") // today is 2026-11-30
	floor := func(i int) string {
		return "/v1/orders/" + o.Id.String() + "/operations/" + url.PathEscape(o.Operations[i].Key) + "/record"
	}
	finished := `{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T12:30:00Z","hours":0.5}`
	if a := b.send(http.MethodPut, floor(0), b.shop, finished); a.status != http.StatusOK {
		t.Fatalf("%d %s", a.status, a.body)
	}
	b.refresh()
	profile := string(b.send(http.MethodGet, "/v1/shop/profile", b.shop, "").body)
	// as is the profile with one thing changed.
	as := func(old, changed string) string {
		t.Helper()
		if strings.Count(profile, old) == 0 {
			t.Fatalf("the profile has no %q", old)
		}
		return strings.Replace(profile, old, changed, 1)
	}
	from, to := strings.Index(profile, `"shifts": [`), strings.Index(profile, `"closures"`)
	closures := profile[to:]
	closures = closures[:strings.Index(closures, "]")+1]
	// state is all that any of these could have changed.
	state := func() (all []string) {
		for _, path := range []string{"/v1/shop/profile", "/v1/shop/profile/versions", "/v1/stock", "/v1/stock/lots", "/v1/stock/moves", "/v1/orders/" + o.Id.String(), "/v1/orders/" + o.Id.String() + "/events", "/v1/shop/schedule"} {
			if _, err := b.service.RefreshBacklog(context.Background()); err != nil {
				t.Fatal(err)
			}
			a := b.send(http.MethodGet, path, b.shop, "")
			if a.status != http.StatusOK {
				t.Fatalf("%s: %d", path, a.status)
			}
			all = append(all, path+" "+a.header.Get("ETag")+" "+string(a.body))
		}
		return all
	}
	before := state()
	put := func(body string) answer {
		return b.send(http.MethodPut, "/v1/shop/profile", b.shop, body, "If-Match", `"1"`)
	}
	move := func(kind, lot string, amount any, more string) answer {
		return b.send(http.MethodPost, "/v1/stock/moves", b.shop, fmt.Sprintf(`{"kind":%q,"lot_id":%q,"amount":%v%s}`, kind, lot, amount, more))
	}
	work := func(i int, body string) answer { return b.send(http.MethodPut, floor(i), b.shop, body) }
	forOrder := fmt.Sprintf(`,"order_id":%q`, o.Id)
	for _, c := range []struct {
		name   string
		answer answer
		status int
		kind   string
		at     string // pointer, or parameter
		says   string
	}{
		// The profile has no routing of its own: operations follow from the hatch, so that
		// no cycle can be put in.
		{"a routing with a cycle", put(as(`"schema_version"`, `"routing": [{"key": "laminate", "after": ["trim"]}, {"key": "trim", "after": ["laminate"]}], "schema_version"`)), 400, "invalid-request", "/routing", "no such field"},
		{"a shop with no hours", put(profile[:from] + `"shifts": [], ` + profile[to:]), 400, "invalid-request", "/calendar/shifts", "1 to 50 items"},
		{"a shift without days", put(strings.Replace(profile, profile[from:to], `"shifts": [{"days": [], "start": "07:00", "end": "11:30"}], `, 1)), 400, "invalid-request", "/calendar/shifts/0/days", "1 to 7 items"},
		{"a shift of no length", put(as(`"end": "11:30"`, `"end": "07:00"`)), 400, "invalid-request", "/calendar/shifts/0", "through the night"},
		{"shifts that overlap", put(as(`"start": "12:00"`, `"start": "11:00"`)), 400, "invalid-request", "/calendar/shifts/0", "runs into 11:00 to 16:30 of calendar/shifts/1"},
		{"a work center without posts", put(as(`"posts": 1`, `"posts": 0`)), 400, "invalid-request", "/work_centers/1/posts", "1 to 200"},
		{"a center that is no more", put(as(`"work_center": "office"`, `"work_center": "attic"`)), 400, "invalid-request", "", "attic"},
		{"a closure without an end", put(as(`"to": "2026-11-27"`, `"to": ""`)), 400, "invalid-request", "/calendar/closures/0/to", ""},
		{"a closure that never ends", put(as(`"to": "2026-11-27"`, `"to": "2099-12-31"`)), 400, "invalid-request", "/calendar/closures/0", "never ends"},
		{"closures that never end together", put(as(closures, `"closures": [`+endless()+`]`)), 400, "invalid-request", "/calendar/closures/26", "no working day from 2026-01-01 to"},
		{"a closure turned round", put(as(`"to": "2026-11-27"`, `"to": "2026-11-20"`)), 400, "invalid-request", "/calendar/closures/0", "before it starts"},
		{"a zone of nowhere", put(as("America/New_York", "America/Atlantis")), 400, "invalid-request", "/time_zone", "Atlantis"},

		{"finished before it starts", work(1, `{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T11:00:00Z","hours":1}`), 400, "operation-times", "/finished_at", "finished_at or started_at"},
		{"hours before it is finished", work(1, `{"started_at":"2026-11-30T12:00:00Z","hours":1}`), 400, "operation-times", "/hours", "finished_at"},
		{"begun tomorrow", work(1, `{"started_at":"2026-12-01T12:00:00Z"}`), 400, "operation-times", "/started_at", ""},
		{"hours below nothing", work(1, `{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T12:30:00Z","hours":-1}`), 400, "invalid-request", "/hours", "0 or more"},
		{"finished twice, otherwise", work(0, strings.Replace(finished, "12:30", "12:40", 1)), 409, "operation-recorded", "", "already"},
		{"begun again", work(0, `{"started_at":"2026-11-30T12:45:00Z"}`), 409, "operation-recorded", "", "already"},
		{"an operation of nobody", b.send(http.MethodPut, "/v1/orders/"+o.Id.String()+"/operations/1-paint/record", b.shop, finished), 404, "operation-unknown", "", "1-paint"},

		{"more than there is", move("scrap", good.Id.String(), 5.5, ""), 409, "stock-below", "/amount", "5"},
		{"counted below zero", move("count", good.Id.String(), -6, ""), 409, "stock-below", "/amount", "5"},
		{"below zero by a hair", move("issue", good.Id.String(), 5.000001, ""), 409, "stock-below", "/amount", "5"},
		{"used without being set aside", move("issue", good.Id.String(), 1, forOrder), 409, "stock-free", "/amount", "reserve more first"},
		{"set aside from an expired lot", move("reserve", old.Id.String(), 1, forOrder), 409, "stock-expired", "/lot_id", "2026-11-29"},
		{"received when expired", b.send(http.MethodPost, "/v1/stock/moves", b.shop, `{"kind":"receive","amount":1,"lot":{"material":"body filler","expires_on":"2026-11-29"}}`), 400, "invalid-request", "/lot/expires_on", ""},
	} {
		p := c.answer.problem(t)
		at, message := "", p.Detail
		if len(p.Errors) > 0 {
			at, message = p.Errors[0].Pointer, p.Errors[0].Message
			if p.Errors[0].Parameter != nil {
				at = *p.Errors[0].Parameter
			}
		}
		t.Logf("%s: %d %s at %q: %s", c.name, c.answer.status, p.Type, at, message)
		if c.answer.status != c.status || p.Type != "/problems/"+c.kind || c.at != "" && at != c.at || !strings.Contains(message+" "+p.Detail, c.says) || message == "" {
			t.Errorf("%s: want %d %s at %q, saying %q", c.name, c.status, c.kind, c.at, c.says)
		}
	}
	// The same record twice is one record, and no error: a tablet sends again.
	if a := work(0, finished); a.status != http.StatusOK {
		t.Errorf("the same record again: %d %s", a.status, a.body)
	}
	for i, is := range state() {
		if !slices.Equal([]byte(is), []byte(before[i])) {
			t.Errorf("what was refused changed\n%.300s\nto\n%.300s", before[i], is)
		}
	}
	if bytes.Contains(b.log.Bytes(), []byte("level=ERROR")) {
		t.Error("a refusal was logged as an error of the program")
	}
}

// endless are closures of two years each, one after the other, beyond all that a
// calendar looks ahead.
func endless() string {
	var list []string
	for year := 2026; year < 2080; year += 2 {
		list = append(list, fmt.Sprintf(`{"from": "%d-01-01", "to": "%d-12-31", "reason": "laid up"}`, year, year+1))
	}
	return strings.Join(list, ", ")
}
