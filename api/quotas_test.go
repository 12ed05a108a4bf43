package api

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// keyOf finds a key in the list.
func (b *bench) keyOf(id string) client.Key {
	b.t.Helper()
	l, err := b.client(b.shop).ListKeysWithResponse(context.Background(), nil)
	if err != nil || l.JSON200 == nil {
		b.t.Fatalf("%v", err)
	}
	for _, k := range l.JSON200.Items {
		if k.Id.String() == id {
			return k
		}
	}
	b.t.Fatalf("no key %s", id)
	return client.Key{}
}

// A quota is spent to the unit, told in every answer beside the minute, and renewed
// at midnight UTC.
func TestQuota(t *testing.T) {
	b := newBenchWith(t, options{rates: Rates{Key: 100}})
	ctx := context.Background()
	dealer, _ := b.dealer("Brackwater Marine", record.RoleDealer)
	quota := 30
	made, err := b.client(b.shop).CreateDealerKeyWithResponse(ctx, uuidOf(t, dealer), nil, client.NewDealerKey{Name: "web shop", Role: "storefront", Quota: &quota})
	if err != nil || made.JSON201 == nil || made.JSON201.Quota == nil || *made.JSON201.Quota != quota || made.JSON201.Rotates != nil {
		t.Fatalf("%v %s", err, made.Body)
	}
	id, key := made.JSON201.Id.String(), made.JSON201.Key
	left := 11 * 3600 // from 13:00 to midnight
	for i, c := range []struct {
		path, body    string
		status        int
		spent, minute int
	}{
		{"/v1/derive", small, 200, 2, 98},
		{"/v1/limits", small, 200, 12, 88},
		{"/v1/derive/batch", batch(small, small, small), 200, 18, 82},
		{"/v1/derive/batch", `{"configurations":[]}`, 400, 20, 80},
		{"/v1/derive/batch", batch(strings.Split(strings.Repeat(small+"|", 15)+small, "|")...), 429, 20, 44},
		{"/v1/check", small, 200, 21, 43},
		{"/v1/limits", small, 429, 21, 33},
		{"/v1/drawings/plan", small, 200, 26, 28},
		{"/v1/derive", small, 200, 28, 26},
		{"/v1/derive", small, 200, 30, 24},
		{"/v1/check", small, 429, 30, 23},
	} {
		a := b.send(http.MethodPost, c.path, key, c.body)
		if a.status != c.status {
			t.Fatalf("request %d, %s: %d %.300s", i, c.path, a.status, a.body)
		}
		if got := a.rated(t, "day"); got != [4]int{30, 86400, 30 - c.spent, left} {
			t.Errorf("request %d, %s: the day is %v", i, c.path, got)
		}
		if got := a.rated(t, "default"); got[2] != c.minute {
			t.Errorf("request %d, %s: the minute is %v", i, c.path, got)
		}
		if c.status == 429 {
			p := a.problem(t)
			more := strings.Contains(c.path, "batch") // 32 units of 30: waiting does not help
			if p.Type != "/problems/quota-spent" || more == (a.header.Get("Retry-After") == fmt.Sprint(left)) || more != strings.Contains(p.Detail, "more than the whole quota") {
				t.Errorf("request %d: %v %s", i, a.header, a.body)
			}
		}
		if k := b.keyOf(id); k.SpentToday != c.spent || k.Quota == nil || *k.Quota != quota {
			t.Errorf("request %d: the list says %+v", i, k)
		}
	}
	// What the minute refuses costs nothing of the day, and both are told.
	for range 27 {
		b.send(http.MethodPost, "/v1/check", key, small)
	}
	if a := b.send(http.MethodPost, "/v1/check", key, small); a.status != 429 || a.problem(t).Type != "/problems/too-many-requests" || a.rated(t, "day") != [4]int{30, 86400, 0, left} {
		t.Errorf("%d %v", a.status, a.header)
	}
	b.clock.Add(time.Duration(left)*time.Second - time.Second)
	if a := b.send(http.MethodPost, "/v1/check", key, small); a.status != 429 || a.header.Get("Retry-After") != "1" {
		t.Errorf("a second before midnight: %d %v", a.status, a.header)
	}
	b.clock.Add(time.Second)
	if k := b.keyOf(id); k.SpentToday != 0 {
		t.Errorf("at midnight %d are spent", k.SpentToday)
	}
	if a := b.send(http.MethodPost, "/v1/check", key, small); a.status != 200 || a.rated(t, "day") != [4]int{30, 86400, 29, 86400} {
		t.Errorf("at midnight: %d %v", a.status, a.header)
	}

	for body, pointer := range map[string]string{
		`{"role":"shop","name":"x","quota":5}`: "/quota", `{"role":"storefront","name":"x","quota":0}`: "/quota", `{"role":"storefront","name":"x","quota":1.5}`: "/quota",
		`{"role":"storefront","name":"x","quota":"many"}`: "/quota",
	} {
		if a := b.send(http.MethodPost, "/v1/keys", b.shop, body); a.status != 400 || a.problem(t).Errors[0].Pointer != pointer {
			t.Errorf("%s: %d %s", body, a.status, a.body)
		}
	}
	house := b.send(http.MethodPost, "/v1/keys", b.shop, `{"role":"storefront","name":"own window","quota":1}`)
	if k := memberText(t, house.body, "key"); b.send(http.MethodPost, "/v1/check", k, small).status != 200 || b.send(http.MethodPost, "/v1/check", k, small).status != 429 {
		t.Error("the shop's own storefront has no quota")
	}
}

// A rotated key: both open the same for the overlap, count together, tell of each
// other; the answer comes again by its Idempotency-Key.
func TestRotation(t *testing.T) {
	b := newBenchWith(t, options{rates: Rates{Key: 50}})
	ctx := context.Background()
	shop := b.client(b.shop)
	dealer, _ := b.dealer("Brackwater Marine", record.RoleDealer)
	quota, ends := 20, monday.Add(20*24*time.Hour)
	made, err := shop.CreateDealerKeyWithResponse(ctx, uuidOf(t, dealer), nil, client.NewDealerKey{Name: "web shop", Role: "storefront", Quota: &quota, ExpiresAt: &ends})
	if err != nil || made.JSON201 == nil {
		t.Fatalf("%v %s", err, made.Body)
	}
	old := made.JSON201
	b.clock.Add(24 * time.Hour)
	now := b.clock.Now()
	hours, again := 72, "rotation-1"
	rotate := func(id, key string, r client.KeyRotation) *client.RotateKeyResponse {
		t.Helper()
		var p *client.RotateKeyParams
		if key != "" {
			p = &client.RotateKeyParams{IdempotencyKey: &key}
		}
		got, err := shop.RotateKeyWithResponse(ctx, uuidOf(t, id), p, r)
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	got := rotate(old.Id.String(), again, client.KeyRotation{OverlapHours: &hours})
	fresh := got.JSON201
	if fresh == nil {
		t.Fatalf("%s", got.Body)
	}
	if fresh.Key == old.Key || fresh.Role != old.Role || fresh.Name != old.Name || fresh.DealerId == nil || *fresh.DealerId != *old.DealerId || fresh.Quota == nil || *fresh.Quota != quota ||
		fresh.Rotates == nil || fresh.Rotates.Id != old.Id || !fresh.Rotates.ExpiresAt.Equal(now.Add(72*time.Hour)) || fresh.ExpiresAt == nil || !fresh.ExpiresAt.Equal(now.Add(20*24*time.Hour)) {
		t.Errorf("%s", got.Body)
	}
	if second := rotate(old.Id.String(), again, client.KeyRotation{OverlapHours: &hours}); string(second.Body) != string(got.Body) {
		t.Errorf("sent again: %s %s", second.Status(), second.Body)
	}
	if other := rotate(old.Id.String(), again, client.KeyRotation{}); other.StatusCode() != http.StatusUnprocessableEntity {
		t.Errorf("another body under the same Idempotency-Key: %s", other.Status())
	}
	if second := rotate(old.Id.String(), "", client.KeyRotation{}); second.StatusCode() != http.StatusConflict || !strings.Contains(string(second.Body), "successor") {
		t.Errorf("rotated twice: %s %s", second.Status(), second.Body)
	}
	a, z := b.keyOf(old.Id.String()), b.keyOf(fresh.Id.String())
	if a.RotatedTo == nil || *a.RotatedTo != fresh.Id || a.RotatedFrom != nil || z.RotatedFrom == nil || *z.RotatedFrom != old.Id || z.RotatedTo != nil || !a.ExpiresAt.Equal(now.Add(72*time.Hour)) {
		t.Errorf("%+v\n%+v", a, z)
	}
	// Both open, from one minute and one day.
	for i, key := range []string{old.Key, fresh.Key, old.Key, fresh.Key} {
		a := b.send(http.MethodPost, "/v1/drawings/plan", key, small)
		if a.status != http.StatusOK || a.rated(t, "day")[2] != 15-5*i || a.rated(t, "default")[2] != 45-5*i {
			t.Errorf("request %d: %d %v", i, a.status, a.header)
		}
	}
	if a := b.send(http.MethodPost, "/v1/check", old.Key, small); a.status != http.StatusTooManyRequests {
		t.Errorf("the quota is spent by both: %d", a.status)
	}
	if a, z := b.keyOf(old.Id.String()), b.keyOf(fresh.Id.String()); a.SpentToday != 20 || z.SpentToday != 20 {
		t.Errorf("%d %d", a.SpentToday, z.SpentToday)
	}
	b.clock.Add(72*time.Hour - time.Second)
	if a, z := b.send(http.MethodPost, "/v1/check", old.Key, small), b.send(http.MethodPost, "/v1/check", fresh.Key, small); a.status != 200 || z.status != 200 {
		t.Errorf("a second before the end: %d %d", a.status, z.status)
	}
	b.clock.Add(time.Second)
	if a, z := b.send(http.MethodPost, "/v1/check", old.Key, small), b.send(http.MethodPost, "/v1/check", fresh.Key, small); a.status != 401 || z.status != 200 {
		t.Errorf("at the end: %d %d", a.status, z.status)
	}
	if gone := rotate(old.Id.String(), "", client.KeyRotation{}); gone.StatusCode() != http.StatusConflict {
		t.Errorf("a key that is over: %s", gone.Status())
	}
	// The newest is rotated next: at once, for good, from the same account.
	b.clock.Add(16*24*time.Hour - time.Hour) // an hour before it ends by itself
	if late := rotate(fresh.Id.String(), "", client.KeyRotation{}); late.JSON201 == nil || !late.JSON201.Rotates.ExpiresAt.Equal(*fresh.ExpiresAt) {
		t.Errorf("the overlap lets a key live longer than it would have: %s", late.Body)
	} else {
		last := b.send(http.MethodPost, "/v1/keys/"+late.JSON201.Id.String()+"/rotation", b.shop, `{"overlap_hours":0,"expires_at":null}`)
		if last.status != http.StatusCreated || b.send(http.MethodPost, "/v1/check", late.JSON201.Key, small).status != 401 {
			t.Errorf("%d %s", last.status, last.body)
		}
		var k client.IssuedKey
		strict(t, last.body, &k)
		if k.ExpiresAt != nil || b.send(http.MethodPost, "/v1/check", k.Key, small).rated(t, "day")[2] != 19 {
			t.Errorf("%s", last.body)
		}
		if a := b.send(http.MethodDelete, "/v1/keys/"+k.Id.String(), b.shop, ""); a.status != http.StatusNoContent {
			t.Errorf("%d", a.status)
		}
		if a := b.send(http.MethodPost, "/v1/keys/"+k.Id.String()+"/rotation", b.shop, `{}`); a.status != http.StatusConflict {
			t.Errorf("a revoked key: %d %s", a.status, a.body)
		}
	}
	for body, pointer := range map[string]string{
		`{"overlap_hours":721}`: "/overlap_hours", `{"overlap_hours":-1}`: "/overlap_hours", `{"overlap_hours":1.5}`: "/overlap_hours", `{"expires_at":"2020-01-01T00:00:00Z"}`: "/expires_at", `{"quota":1}`: "/quota",
	} {
		if a := b.send(http.MethodPost, "/v1/keys/"+fresh.Id.String()+"/rotation", b.shop, body); a.status != 400 || a.problem(t).Errors[0].Pointer != pointer {
			t.Errorf("%s: %d %s", body, a.status, a.body)
		}
	}
	if a := b.send(http.MethodPost, "/v1/keys/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/rotation", b.shop, `{}`); a.status != http.StatusNotFound {
		t.Errorf("a key that is not there: %d", a.status)
	}
	// The shop's own key is rotated like any other.
	mine := b.send(http.MethodPost, "/v1/keys", b.shop, `{"role":"shop","name":"office"}`)
	if a := b.send(http.MethodPost, "/v1/keys/"+memberText(t, mine.body, "id")+"/rotation", memberText(t, mine.body, "key"), `{}`); a.status != http.StatusCreated {
		t.Errorf("%d %s", a.status, a.body)
	}
}
