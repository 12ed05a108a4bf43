package api

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"testing"
	"time"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// keepSmall keeps the small hatch for a key and returns its id.
func (b *bench) keepSmall(key string) string {
	b.t.Helper()
	a := b.send(http.MethodPost, "/v1/configurations", key, `{"configuration":`+small+`}`)
	if a.status != http.StatusCreated {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	return memberText(b.t, a.body, "id")
}

// mold registers a mold; more is further members of the body.
func (b *bench) mold(configuration, part, more string) client.RegisteredMold {
	b.t.Helper()
	a := b.send(http.MethodPost, "/v1/molds", b.shop, fmt.Sprintf(`{"configuration_id":%q,"part":%q,"remaining_pulls":20%s}`, configuration, part, more))
	var m client.RegisteredMold
	if a.status != http.StatusCreated {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	strict(b.t, a.body, &m)
	if a.header.Get("Location") != "/v1/molds/"+m.Id.String() || a.header.Get("ETag") != `"1"` {
		b.t.Errorf("headers %v", a.header)
	}
	return m
}

// TestMolds registers, reads, changes and retires molds, through the generated
// client.
func TestMolds(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	shop := b.client(b.shop)
	_, other := b.dealer("Fennimore Yachts", record.RoleDealer)
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	kept := b.keepSmall(key)

	// Small is 520 by 380 mm with corners of 60 mm by its recess.
	lid := b.mold(kept, "lid", `,"tag":"L-27","dealer_id":"`+dealer+`"`)
	b.clock.Add(time.Minute)
	receiver := b.mold(kept, "receiver", `,"tag":"R-27","location":"rack 3","note":"first of its kind","pulls":2`)
	if receiver.Set != lid.Set || *receiver.Fingerprint == *lid.Fingerprint || receiver.Length != 520 || receiver.Width != 380 || lid.Length >= 520 ||
		*receiver.Pulls != 2 || *receiver.Note != "first of its kind" || receiver.State != "ready" || receiver.DealerId != nil || receiver.ConfigurationId.String() != kept {
		t.Errorf("receiver %+v\nlid %+v", receiver, lid)
	}

	// Who sees what.
	for _, c := range []struct {
		key   string
		molds int
	}{{b.shop, 2}, {key, 2}, {other, 1}} {
		l, err := b.client(c.key).ListMoldsWithResponse(ctx, nil)
		if err != nil || l.JSON200 == nil || len(l.JSON200.Items) != c.molds || l.JSON200.Items[0].Id != receiver.Id {
			t.Fatalf("%v %s", err, l.Body)
		}
		m := l.JSON200.Items[0]
		if toShop := c.key == b.shop; (m.Note != nil) != toShop || (m.Location != nil) != toShop || (m.ConfigurationId != nil) != toShop {
			t.Errorf("shows %+v", m)
		}
	}
	b.send(http.MethodGet, "/v1/molds/"+lid.Id.String(), other, "").wants(t, 404, "not-found")
	own, err := b.client(key).GetMoldWithResponse(ctx, lid.Id)
	if err != nil || own.JSON200 == nil || own.JSON200.ConfigurationId == nil || own.HTTPResponse.Header.Get("ETag") != "" || own.JSON200.Pulls != nil || own.JSON200.RemainingPulls != nil {
		t.Errorf("%v %s", err, own.Body)
	}

	// Filters and cursors.
	part, state := client.HatchPart("lid"), client.MoldState("retired")
	for name, c := range map[string]struct {
		filter client.ListMoldsParams
		molds  int
	}{
		"part": {client.ListMoldsParams{Part: &part}, 1}, "state": {client.ListMoldsParams{State: &state}, 0}, "set": {client.ListMoldsParams{Set: &lid.Set}, 2},
		"dealer": {client.ListMoldsParams{DealerId: lid.DealerId}, 1},
	} {
		l, err := shop.ListMoldsWithResponse(ctx, &c.filter)
		if err != nil || l.JSON200 == nil || len(l.JSON200.Items) != c.molds {
			t.Errorf("%s: %v %s", name, err, l.Body)
		}
	}
	one := 1
	first, err := shop.ListMoldsWithResponse(ctx, &client.ListMoldsParams{Limit: &one})
	if err != nil || first.JSON200 == nil || first.JSON200.NextCursor == nil || first.HTTPResponse.Header.Get("Link") == "" {
		t.Fatalf("%v %s", err, first.Body)
	}
	b.clock.Add(time.Minute)
	b.mold(b.keepSmall(b.shop), "lid", "") // an insert moves no page
	second, err := shop.ListMoldsWithResponse(ctx, &client.ListMoldsParams{Limit: &one, Cursor: first.JSON200.NextCursor})
	if err != nil || second.JSON200 == nil || second.JSON200.Items[0].Id != lid.Id || second.JSON200.NextCursor != nil {
		t.Errorf("%v %s", err, second.Body)
	}
	b.send(http.MethodGet, "/v1/molds?part=lid&cursor="+*first.JSON200.NextCursor, b.shop, "").wants(t, 400, "cursor-refused")

	// Changes.
	at := "/v1/molds/" + receiver.Id.String()
	b.clock.Add(time.Hour)
	b.send(http.MethodPatch, at, b.shop, `{"location":"rack 1"}`).wants(t, 428, "precondition-required")
	b.send(http.MethodPatch, at, b.shop, `{"location":"rack 1"}`, "If-Match", `"2"`).wants(t, 412, "precondition-failed")
	b.send(http.MethodPatch, at, key, `{"location":"rack 1"}`, "If-Match", `"1"`).wants(t, 403, "forbidden")
	left, tag := 14, "R-27b"
	changed, err := shop.ChangeMoldWithResponse(ctx, receiver.Id, &client.ChangeMoldParams{IfMatch: pointer(`"1"`)}, client.MoldChange{RemainingPulls: &left, Tag: &tag})
	if err != nil || changed.JSON200 == nil {
		t.Fatalf("%v %s", err, changed.Body)
	}
	if m := changed.JSON200; *m.RemainingPulls != 14 || *m.Tag != "R-27b" || *m.Location != "rack 3" || *m.Note != "first of its kind" || *m.Version != 2 || m.UpdatedAt.Sub(*m.CreatedAt) < time.Hour ||
		changed.HTTPResponse.Header.Get("ETag") != `"2"` {
		t.Errorf("%+v", m)
	}
	var m client.RegisteredMold
	strict(t, b.send(http.MethodPatch, at, b.shop, `{"note":null,"location":"yard"}`, "If-Match", "*").body, &m)
	if m.Note != nil || *m.Location != "yard" || *m.Tag != "R-27b" || *m.RemainingPulls != 14 || *m.Version != 3 {
		t.Errorf("%+v", m)
	}
	b.send(http.MethodPatch, at, b.shop, `{"tag":"L-27"}`, "If-Match", `"3"`).wants(t, 409, "conflict")
	if a := b.send(http.MethodPatch, at, b.shop, `{"state":"retired"}`, "If-Match", `"3"`); a.status != 200 || memberText(t, a.body, "state") != "retired" {
		t.Errorf("%d %s", a.status, a.body)
	}
	b.send(http.MethodPatch, at, b.shop, `{"state":"ready"}`, "If-Match", `"4"`).wants(t, 409, "mold-retired")
	b.send(http.MethodPatch, "/v1/molds/"+nobody, b.shop, `{"state":"ready"}`, "If-Match", `"4"`).wants(t, 404, "not-found")

	// Once only, whatever the network does.
	body := fmt.Sprintf(`{"configuration_id":%q,"part":"receiver","remaining_pulls":3,"tag":"R-28"}`, kept)
	made := b.send(http.MethodPost, "/v1/molds", b.shop, body, "Idempotency-Key", "mold 28")
	again := b.send(http.MethodPost, "/v1/molds", b.shop, body, "Idempotency-Key", "mold 28")
	if made.status != 201 || again.status != 201 || !bytes.Equal(made.body, again.body) || again.header.Get("Location") != made.header.Get("Location") {
		t.Errorf("%d %s, then %d %s", made.status, made.body, again.status, again.body)
	}
	b.send(http.MethodPost, "/v1/molds", b.shop, body+" ", "Idempotency-Key", "mold 28").wants(t, 422, "idempotency-key-reused")
}

func TestBadMolds(t *testing.T) {
	b := newBench(t)
	kept := b.keepSmall(b.shop)
	b.mold(kept, "lid", `,"tag":"L-27"`)
	id := `{"configuration_id":"` + kept + `"`
	for _, c := range []bad{
		{"nothing", `{}`, 400, "invalid-request", []string{"/configuration_id missing", "/part missing", "/remaining_pulls missing"}},
		{"no pulls", id + `,"part":"lid","remaining_pulls":0}`, 400, "invalid-request", []string{"/remaining_pulls out_of_range"}},
		{"half a pull", id + `,"part":"lid","remaining_pulls":1.5}`, 400, "invalid-request", []string{"/remaining_pulls wrong_type"}},
		{"part", id + `,"part":"hinge","remaining_pulls":1}`, 400, "invalid-request", []string{"/part unknown_word"}},
		{"unknown field", id + `,"part":"lid","remaining_pulls":1,"rack":3}`, 400, "invalid-request", []string{"/rack unknown_field"}},
		{"no such configuration", `{"configuration_id":"` + nobody + `","part":"lid","remaining_pulls":1}`, 404, "not-found", []string{"/configuration_id unknown"}},
		{"no such dealer", id + `,"part":"lid","remaining_pulls":1,"dealer_id":"` + nobody + `"}`, 404, "not-found", []string{"/dealer_id unknown"}},
		{"tag taken", id + `,"part":"lid","remaining_pulls":1,"tag":"L-27"}`, 409, "conflict", []string{"/tag taken"}},
		{"two lines", id + `,"part":"lid","remaining_pulls":1,"tag":"L\n27"}`, 400, "invalid-request", []string{"/tag wrong_form"}},
	} {
		c.check(t, b.send(http.MethodPost, "/v1/molds", b.shop, c.body))
	}
	at := "/v1/molds/" + b.mold(kept, "receiver", "").Id.String()
	for _, c := range []bad{
		{"nothing", `{}`, 400, "invalid-request", []string{" too_few_fields"}},
		{"a list", `[]`, 400, "invalid-request", []string{" wrong_type"}},
		{"state", `{"state":"lost"}`, 400, "invalid-request", []string{"/state unknown_word"}},
		{"null state", `{"state":null}`, 400, "invalid-request", []string{"/state unknown_word"}},
		{"pulls", `{"remaining_pulls":-1}`, 400, "invalid-request", []string{"/remaining_pulls out_of_range"}},
		{"what does not change", `{"part":"lid"}`, 400, "invalid-request", []string{"/part unknown_field"}},
		{"empty tag", `{"tag":""}`, 400, "invalid-request", []string{"/tag too_short"}},
	} {
		c.check(t, b.send(http.MethodPatch, at, b.shop, c.body, "If-Match", `"1"`))
	}
	if a := b.send(http.MethodGet, at, b.shop, ""); a.header.Get("ETag") != `"1"` {
		t.Errorf("it changed: %s", a.body)
	}
}

// check holds an answer against what a bad request must be answered with.
func (c *bad) check(t *testing.T, a answer) {
	t.Helper()
	p := a.problem(t)
	var got []string
	for _, e := range p.Errors {
		got = append(got, e.Pointer+" "+e.Code)
	}
	if a.status != c.status || p.Type != "/problems/"+c.kind || fmt.Sprint(got) != fmt.Sprint(c.errors) {
		t.Errorf("%s: %d %s %q, want %d %s %q: %.600s", c.name, a.status, p.Type, got, c.status, c.kind, c.errors, a.body)
	}
}
