package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// keep keeps a configuration and returns the answer.
func (b *bench) keep(key, body string, headers ...string) answer {
	b.t.Helper()
	return b.send(http.MethodPost, "/v1/configurations", key, body, headers...)
}

func TestKeepConfiguration(t *testing.T) {
	b := newBench(t)
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	for name, body := range scenarios {
		derived := b.send(http.MethodPost, "/v1/derive", key, body)
		a := b.keep(key, `{"name":"`+name+`","reference":"BM-1","configuration":`+body+`}`)
		if a.status != http.StatusCreated {
			t.Fatalf("%s: %d %s", name, a.status, a.body)
		}
		var made client.StoredConfiguration
		strict(t, a.body, &made)
		if *made.Name != name || *made.Reference != "BM-1" || made.DealerId.String() != dealer || made.Supersedes != nil || !made.CreatedAt.Equal(monday) || made.Id.Version() != 7 {
			t.Errorf("%+v", made)
		}
		if made.Digest != memberText(t, derived.body, "digest") || !bytes.Equal(member(t, a.body, "configuration"), member(t, derived.body, "configuration")) {
			t.Errorf("%s: what is kept is not what was derived", name)
		}
		at := a.header.Get("Location")
		if at != "/v1/configurations/"+made.Id.String() {
			t.Errorf("location %q", at)
		}
		got := b.send(http.MethodGet, at, key, "")
		if got.status != http.StatusOK || !bytes.Equal(got.body, a.body) {
			t.Errorf("%s: read back %d %s", name, got.status, firstDifference(got.body, a.body))
		}
		// The clock stands still, so the derivation that is kept is the one above.
		got = b.send(http.MethodGet, at+"/derivation", key, "")
		if got.status != http.StatusOK || !bytes.Equal(got.body, derived.body) {
			t.Errorf("%s: derivation %d %s", name, got.status, firstDifference(got.body, derived.body))
		}
	}
	// Later the kept derivation is still the same.
	body := scenarios["least"]
	a := b.keep(key, `{"configuration":`+body+`}`)
	before := b.send(http.MethodGet, a.header.Get("Location")+"/derivation", key, "")
	b.clock.Add(100 * 24 * time.Hour)
	if after := b.send(http.MethodGet, a.header.Get("Location")+"/derivation", key, ""); !bytes.Equal(before.body, after.body) {
		t.Error("a kept derivation changed")
	}
	if now := b.send(http.MethodPost, "/v1/derive", key, body); bytes.Equal(now.body, before.body) {
		t.Error("a derivation 100 days later has the same dates")
	}
}

func memberText(t *testing.T, body []byte, key string) string {
	t.Helper()
	var s string
	if err := json.Unmarshal(member(t, body, key), &s); err != nil {
		t.Fatal(err)
	}
	return s
}

// TestAnotherDealersThingsAreNotThere asks for one dealer's things with another
// dealer's key: the answer is the same as for what does not exist at all.
func TestAnotherDealersThingsAreNotThere(t *testing.T) {
	b := newBench(t)
	brackwater, theirs := b.dealer("Brackwater Marine", record.RoleDealer)
	fennimore, ours := b.dealer("Fennimore Yachts", record.RoleDealer)
	a := b.keep(theirs, `{"configuration":`+small+`}`)
	at := a.header.Get("Location")
	id := strings.TrimPrefix(at, "/v1/configurations/")
	nowhere := uuid.Must(uuid.NewV7()).String()
	blank := func(a answer, id string) string {
		p := a.problem(t)
		return strings.NewReplacer(p.RequestId, "", id, "").Replace(string(a.body))
	}
	for _, below := range []string{"", "/derivation", "/drawings", "/drawings/plan", "/drawings/model", "/packet", "/mixes"} {
		other := b.send(http.MethodGet, "/v1/configurations/"+id+below, ours, "")
		none := b.send(http.MethodGet, "/v1/configurations/"+nowhere+below, ours, "")
		want, mine := http.StatusNotFound, http.StatusOK
		switch below {
		case "/packet", "/mixes":
			want, mine = http.StatusForbidden, http.StatusForbidden
		case "/drawings/model":
			mine = http.StatusForbidden
		}
		if other.status != want || blank(other, id) != blank(none, nowhere) {
			t.Errorf("%s: %d %s and %s", below, other.status, other.body, none.body)
		}
		if own := b.send(http.MethodGet, "/v1/configurations/"+id+below, theirs, ""); own.status != mine {
			t.Errorf("%s: its owner gets %d %s", below, own.status, own.body)
		}
		if shop := b.send(http.MethodGet, "/v1/configurations/"+id+below, b.shop, ""); shop.status != http.StatusOK {
			t.Errorf("%s: the shop gets %d", below, shop.status)
		}
	}
	other := b.keep(ours, `{"supersedes":"`+id+`","configuration":`+small+`}`)
	none := b.keep(ours, `{"supersedes":"`+nowhere+`","configuration":`+small+`}`)
	if other.status != http.StatusNotFound || blank(other, id) != blank(none, nowhere) {
		t.Errorf("supersedes: %d %s and %s", other.status, other.body, none.body)
	}
	other = b.keep(ours, `{"dealer_id":"`+brackwater+`","configuration":`+small+`}`)
	none = b.keep(ours, `{"dealer_id":"`+nowhere+`","configuration":`+small+`}`)
	if other.status != http.StatusNotFound || blank(other, brackwater) != blank(none, nowhere) {
		t.Errorf("dealer: %d %s and %s", other.status, other.body, none.body)
	}
	if own := b.keep(ours, `{"dealer_id":"`+fennimore+`","configuration":`+small+`}`); own.status != http.StatusCreated {
		t.Errorf("its own dealer id: %d %s", own.status, own.body)
	}
	if n := kept(t, b, ours); n != 1 {
		t.Errorf("%d in the list", n)
	}
	if l := b.send(http.MethodGet, "/v1/configurations?dealer_id="+brackwater, ours, ""); !strings.Contains(string(l.body), `"items":[]`) {
		t.Errorf("filtered by another dealer: %s", l.body)
	}
	if n := kept(t, b, b.shop); n != 2 {
		t.Errorf("the shop sees %d", n)
	}
}

func TestSupersedes(t *testing.T) {
	b := newBench(t)
	brackwater, key := b.dealer("Brackwater Marine", record.RoleDealer)
	a := b.keep(b.shop, `{"dealer_id":"`+brackwater+`","configuration":`+small+`}`)
	id := memberText(t, a.body, "id")
	if memberText(t, a.body, "dealer_id") != brackwater {
		t.Errorf("%s", a.body)
	}
	again := b.keep(key, `{"supersedes":"`+id+`","configuration":`+small+`}`)
	if again.status != http.StatusCreated || memberText(t, again.body, "supersedes") != id {
		t.Errorf("%d %s", again.status, again.body)
	}
}

// TestListInPages reads a list page by page while more is written: everything
// that was there is seen once, newest first.
func TestListInPages(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	var want []string
	for i := range 7 {
		if i%3 == 0 {
			b.clock.Add(time.Second) // some at the same instant
		}
		a := b.keep(key, fmt.Sprintf(`{"reference":"R%d","configuration":%s}`, i%2, small))
		want = append(want, memberText(t, a.body, "id"))
	}
	var got []string
	path := "/v1/configurations?limit=3"
	for pages := 0; ; pages++ {
		a := b.send(http.MethodGet, path, key, "")
		var l client.ConfigurationList
		strict(t, a.body, &l)
		for _, k := range l.Items {
			got = append(got, k.Id.String())
		}
		b.clock.Add(time.Second)
		if late := b.keep(key, `{"configuration":`+small+`}`); late.status != http.StatusCreated {
			t.Fatal(late.status)
		}
		link := a.header.Get("Link")
		if l.NextCursor == nil {
			if link != "" || pages != 2 {
				t.Errorf("page %d, link %q", pages, link)
			}
			break
		}
		if !strings.HasPrefix(link, "</v1/configurations?") || !strings.HasSuffix(link, `>; rel="next"`) || !strings.Contains(link, "limit=3") {
			t.Fatalf("link %q", link)
		}
		path = strings.TrimSuffix(strings.TrimPrefix(link, "<"), `>; rel="next"`)
	}
	if len(got) != len(want) {
		t.Fatalf("%d seen, want %d", len(got), len(want))
	}
	seen := map[string]bool{}
	for _, id := range got {
		seen[id] = true
	}
	for _, id := range want {
		if !seen[id] {
			t.Errorf("%s was not seen", id)
		}
	}
	a := b.send(http.MethodGet, "/v1/configurations?reference=R1", key, "")
	var l client.ConfigurationList
	strict(t, a.body, &l)
	if len(l.Items) != 3 {
		t.Errorf("%d of reference R1", len(l.Items))
	}
	// A cursor is good only for its own list and filter.
	first := b.send(http.MethodGet, "/v1/configurations?limit=1", key, "")
	cursor := memberText(t, first.body, "next_cursor")
	if a := b.send(http.MethodGet, "/v1/configurations?reference=R1&cursor="+cursor, key, ""); a.status != http.StatusBadRequest {
		t.Errorf("another filter's cursor: %d", a.status)
	}
	if a := b.send(http.MethodGet, "/v1/keys?cursor="+cursor, b.shop, ""); a.status != http.StatusBadRequest {
		t.Errorf("another list's cursor: %d", a.status)
	}
}

// TestIdempotencyKey follows the contract: same key and body, the first answer
// byte for byte; another body or path, 422; another owner, another key.
func TestIdempotencyKey(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	_, other := b.dealer("Fennimore Yachts", record.RoleDealer)
	body := `{"reference":"BM-1","configuration":` + small + `}`
	first := b.keep(key, body, "Idempotency-Key", "order 1")
	if first.status != http.StatusCreated {
		t.Fatalf("%d %s", first.status, first.body)
	}
	b.clock.Add(24 * time.Hour)
	again := b.keep(key, body, "Idempotency-Key", "order 1")
	if again.status != http.StatusCreated || !bytes.Equal(again.body, first.body) || again.header.Get("Location") != first.header.Get("Location") {
		t.Errorf("again: %d %s, first %s", again.status, again.body, first.body)
	}
	if n := kept(t, b, key); n != 1 {
		t.Errorf("%d kept", n)
	}
	changed := b.keep(key, strings.Replace(body, "BM-1", "BM-2", 1), "Idempotency-Key", "order 1")
	if p := changed.problem(t); changed.status != http.StatusUnprocessableEntity || p.Type != "/problems/idempotency-key-reused" {
		t.Errorf("another body: %d %s", changed.status, changed.body)
	}
	if a := b.keep(other, body, "Idempotency-Key", "order 1"); a.status != http.StatusCreated || bytes.Equal(a.body, first.body) {
		t.Errorf("another dealer's: %d", a.status)
	}
	// A refusal leaves the key free: the same key works once the body is mended.
	refused := b.keep(key, `{"configuration":`+strings.Replace(small, "520", "52000", 1)+`}`, "Idempotency-Key", "order 2")
	if refused.status != http.StatusUnprocessableEntity {
		t.Errorf("refused: %d", refused.status)
	}
	if a := b.keep(key, body, "Idempotency-Key", "order 2"); a.status != http.StatusCreated {
		t.Errorf("after a refusal: %d %s", a.status, a.body)
	}
	// After two days the key is new.
	b.clock.Add(49 * time.Hour)
	if a := b.keep(key, body, "Idempotency-Key", "order 1"); a.status != http.StatusCreated || bytes.Equal(a.body, first.body) {
		t.Errorf("after its time: %d", a.status)
	}
	b.clock.Add(49 * time.Hour)
	if n, err := b.service.RemoveOld(context.Background()); err != nil || n.Answers < 3 {
		t.Errorf("swept %d, %v", n, err)
	}
}

// TestIdempotencyKeyAtOnce sends one request many times at once: one hatch is
// kept, every answer that is no 409 is the same, and afterwards all are.
func TestIdempotencyKeyAtOnce(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	body := `{"configuration":` + small + `}`
	var wg sync.WaitGroup
	answers := make([]answer, 12)
	for i := range answers {
		wg.Go(func() { answers[i] = b.keep(key, body, "Idempotency-Key", "once") })
	}
	wg.Wait()
	final := b.keep(key, body, "Idempotency-Key", "once")
	made := 0
	for _, a := range answers {
		switch {
		case a.status == http.StatusConflict:
			if p := a.problem(t); p.Type != "/problems/request-in-progress" || a.header.Get("Retry-After") == "" {
				t.Errorf("%s", a.body)
			}
		case a.status == http.StatusCreated && bytes.Equal(a.body, final.body):
			made++
		default:
			t.Errorf("%d %s", a.status, a.body)
		}
	}
	if made == 0 || kept(t, b, key) != 1 {
		t.Errorf("%d answers, %d kept", made, kept(t, b, key))
	}
}

// TestIssuedKeyIsRepeated makes sure that a key whose answer was lost is not lost
// with it.
func TestIssuedKeyIsRepeated(t *testing.T) {
	b := newBench(t)
	dealer, _ := b.dealer("Brackwater Marine", record.RoleDealer)
	path := "/v1/dealers/" + dealer + "/keys"
	first := b.send(http.MethodPost, path, b.shop, `{"role":"storefront","name":"web"}`, "Idempotency-Key", "k")
	again := b.send(http.MethodPost, path, b.shop, `{"role":"storefront","name":"web"}`, "Idempotency-Key", "k")
	if first.status != http.StatusCreated || !bytes.Equal(first.body, again.body) {
		t.Errorf("%s\n%s", first.body, again.body)
	}
	// The path is part of the request.
	second, _ := b.dealer("Fennimore Yachts", record.RoleDealer)
	if a := b.send(http.MethodPost, "/v1/dealers/"+second+"/keys", b.shop, `{"role":"storefront","name":"web"}`, "Idempotency-Key", "k"); a.status != http.StatusUnprocessableEntity {
		t.Errorf("another path: %d", a.status)
	}
}

func TestAccepted(t *testing.T) {
	media := []string{"image/svg+xml", "image/png"}
	for header, want := range map[string]int{
		"": 0, "*/*": 0, "image/*": 0, "image/png": 1, "image/svg+xml": 0, "IMAGE/PNG": 1, "text/html": -1, "image/png;q=0": -1,
		"image/svg+xml;q=0.5, image/png": 1, "image/svg+xml;q=0.5, */*;q=0.1": 0, "image/svg+xml;q=0, */*": 1, "image/png;q=2": -1, "nonsense": -1,
		"text/html,application/xhtml+xml,image/avif,*/*;q=0.8": 0, "text/html, *; q=.2, */*; q=.2": 0, `text/html;x="a,image/png", image/png`: 1, ",,": 0,
	} {
		if got := accepted(header, media); got != want {
			t.Errorf("%q: %d, want %d", header, got, want)
		}
	}
	for header, want := range map[string]string{
		"": "", "*/*": "", "text/csv": "", "text/html, *; q=.2, */*; q=.2": "", ",, text/csv,": "", `text/csv;header="a,b", */*;q=0`: "", "text/csv;q=1.000": "",
		"nonsense": "wrong_form", "text/csv, nonsense": "wrong_form", "a/b/c": "wrong_form", "text/": "wrong_form", `text/csv;x="`: "wrong_form",
		"text/csv;q=2": "out_of_range", "text/csv;q=x": "out_of_range", "text/csv;q=-1": "out_of_range", "text/csv;q=NaN, application/json": "out_of_range", "text/csv;q=": "wrong_form",
	} {
		t.Run("check "+header, func(t *testing.T) {
			got := ""
			if f := checkAccept(header); len(f) > 0 {
				got = f[0].Code
			}
			if got != want {
				t.Errorf("got %q, want %q", got, want)
			}
		})
	}
}
