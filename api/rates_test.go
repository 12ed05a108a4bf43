package api

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi"
	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// TestWeights holds what requests cost against the document, both ways, and against
// its words.
func TestWeights(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	left := map[string]bool{}
	for name := range weights {
		left[name] = true
	}
	for _, r := range routes {
		if !strings.HasPrefix(r.path, "/v1/") {
			continue
		}
		delete(left, r.method+" "+r.path)
		w := weigh(r)
		extensions := doc.Paths.Value(r.path).GetOperation(r.method).Extensions
		want := weight{units: 1}
		if n, ok := extensions["x-weight"].(float64); ok {
			want.units = int(n)
		}
		if each, ok := extensions["x-weight-each"].(map[string]any); ok {
			for member, n := range each {
				want.of, want.each = member, int(n.(float64))
			}
		}
		if pieces, ok := extensions["x-weight-pieces"].(map[string]any); ok {
			for whose, n := range pieces {
				want.pieces, want.per = whose, int(n.(float64))
			}
		}
		if n, ok := extensions["x-weight-corner"].(float64); ok {
			want.corner = int(n)
		}
		if n, ok := extensions["x-weight-shorten"].(float64); ok {
			want.tries = int(n)
		}
		if w != want || w.units < 1 {
			t.Errorf("%s %s costs %+v in the table, %+v in the document", r.method, r.path, w, want)
		}
		if word := map[int]string{1: "Most requests are one", 2: "two", 5: "five", 10: "ten", 20: "twenty"}[w.units]; word == "" || !strings.Contains(doc.Info.Description, word) {
			t.Errorf("%s %s: %d units are not among the words of the document", r.method, r.path, w.units)
		}
	}
	for name := range left {
		t.Errorf("%s has a weight and is no route", name)
	}
}

// A bucket of any size is refilled when it says: after the seconds that it tells to
// wait what was refused is let through, and not a second earlier; after the seconds
// until it is whole it is whole, and not a second earlier.
func TestBucketsRefillAsTold(t *testing.T) {
	for size := 1; size < 700; size += 7 {
		now := monday
		b := newBuckets(size, 0)
		// What was let through, taken again from another bucket, tells what would be later.
		type taking struct {
			units int
			at    time.Time
		}
		var taken []taking
		later := func(units, seconds int) level {
			c := newBuckets(size, 0)
			for _, t := range taken {
				c.take("x", t.units, t.at)
			}
			return c.take("x", units, now.Add(time.Duration(seconds)*time.Second))
		}
		refused := 0
		for i := range 60 {
			units := 1 + (i*i+size)%min(size, 23)
			before := later(0, 0).left
			l := b.take("x", units, now)
			if (l.wait == 0) != (before >= units) {
				t.Fatalf("size %d: %d units of %d: %+v", size, units, before, l)
			}
			if l.wait == 0 {
				taken = append(taken, taking{units, now})
			}
			if l.wait == 0 && l.left != before-units {
				t.Fatalf("size %d: %d units of %d leave %+v", size, units, before, l)
			}
			if l.wait > 0 {
				refused++
				if early, due := later(units, l.wait-1), later(units, l.wait); early.wait == 0 || due.wait != 0 {
					t.Fatalf("size %d, %d units: told to wait %d s; a second earlier %+v, then %+v", size, units, l.wait, early, due)
				}
			}
			if l.whole > 0 {
				if early, due := later(0, l.whole-1), later(0, l.whole); early.left >= size || due.left != size || due.whole != 0 {
					t.Fatalf("size %d: told to be whole in %d s; a second earlier %+v, then %+v", size, l.whole, early, due)
				}
			}
			now = now.Add(time.Duration(i%4*137) * time.Millisecond)
		}
		if refused == 0 && size < 300 {
			t.Errorf("size %d: nothing was refused", size)
		}
		if l := b.take("x", 10*size, now.Add(rateWindow)); l.wait != 0 || l.left != 0 {
			t.Errorf("size %d: what weighs more than the whole bucket does not take the whole bucket: %+v", size, l)
		}
	}
}

// Buckets are dropped once they are full again, never before, and no more are kept
// than may be: the others share one.
func TestBucketsAreBounded(t *testing.T) {
	b := newBuckets(2, 100)
	count := func() int { return len(b.young) + len(b.old) }
	now := monday
	for i := range 5000 {
		b.take(fmt.Sprint(i), 1, now)
	}
	if count() != 100 {
		t.Errorf("%d are kept", count())
	}
	if l := b.take("another", 1, now); l.wait == 0 {
		t.Error("those beyond do not share")
	}
	if l := b.take("7", 1, now); l.wait != 0 || l.left != 0 {
		t.Errorf("a known one: %+v", l)
	}
	now = now.Add(rateWindow - time.Second)
	if l := b.take("7", 2, now); l.wait != 1 {
		t.Errorf("a second before it is whole: %+v", l)
	}
	busy := newBuckets(60, 0)
	busy.take("7", 60, monday)
	for second := range 59 { // others keep the generations turning
		busy.take(fmt.Sprint("another ", second), 1, monday.Add(time.Duration(second)*time.Second))
	}
	if l := busy.take("7", 60, monday.Add(59*time.Second)); l.wait != 1 {
		t.Errorf("an emptied bucket is forgotten before it is whole: %+v", l)
	}
	for range 3 {
		now = now.Add(rateWindow)
		b.take("fresh", 1, now)
	}
	if count() != 1 {
		t.Errorf("%d are kept after three minutes", count())
	}
	if l := b.take("7", 2, now); l.wait != 0 {
		t.Errorf("after a rest: %+v", l)
	}
}

// items reads a list of strings with integer parameters (RFC 9651, 3.1 to 3.3).
func items(t *testing.T, text string) map[string]map[string]int {
	t.Helper()
	out := map[string]map[string]int{}
	if text == "" {
		return out
	}
	item := regexp.MustCompile(`^"([a-z]+)"((?:;[a-z]+=[0-9]{1,15})+)$`)
	for _, one := range strings.Split(text, ", ") {
		m := item.FindStringSubmatch(one)
		if m == nil {
			t.Fatalf("%q is no list of strings with parameters", text)
		}
		out[m[1]] = map[string]int{}
		for _, p := range strings.Split(m[2][1:], ";") {
			key, value, _ := strings.Cut(p, "=")
			out[m[1]][key], _ = strconv.Atoi(value)
		}
	}
	return out
}

// rated is what an answer's headers say of one policy: size, window, left, whole.
func (a answer) rated(t *testing.T, policy string) [4]int {
	t.Helper()
	p, r := items(t, a.header.Get(policyHeader))[policy], items(t, a.header.Get(rateHeader))[policy]
	if (p == nil) != (r == nil) {
		t.Fatalf("%s: %v", policy, a.header)
	}
	if p == nil {
		return [4]int{-1, -1, -1, -1}
	}
	return [4]int{p["q"], p["w"], r["r"], r["t"]}
}

// Every kind of request beyond its limit, through the generated client: the answer
// is 429 with the seconds after which it is let through again.
func TestTooManyRequests(t *testing.T) {
	b := newBenchWith(t, options{rates: Rates{Key: 120, Address: 6}})
	ctx := context.Background()
	var configuration client.Configuration
	strict(t, []byte(small), &configuration)
	batchOf := func(n int) client.Batch {
		list := make([]client.Configuration, n)
		for i := range list {
			list[i] = configuration
		}
		return client.Batch{Configurations: list}
	}
	window := b.shop
	kept, err := b.client(window).CreateConfigurationWithResponse(ctx, nil, client.NewConfiguration{Configuration: configuration})
	if err != nil || kept.JSON201 == nil {
		t.Fatalf("%v %s", err, kept.Body)
	}
	id := kept.JSON201.Id
	type sent struct {
		response *http.Response
		body     []byte
	}
	for _, c := range []struct {
		name  string
		units int
		send  func(*client.ClientWithResponses) (sent, error)
	}{
		{"check", 1, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.CheckConfigurationWithResponse(ctx, configuration)
			return sent{r.HTTPResponse, r.Body}, err
		}},
		{"derive", 2, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.DeriveConfigurationWithResponse(ctx, nil, configuration)
			return sent{r.HTTPResponse, r.Body}, err
		}},
		{"drawing", 5, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.DrawWithResponse(ctx, "plan", configuration)
			return sent{r.HTTPResponse, r.Body}, err
		}},
		{"limits", 10, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.FindLimitsWithResponse(ctx, configuration)
			return sent{r.HTTPResponse, r.Body}, err
		}},
		{"packet", 20, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.GetPacketWithResponse(ctx, id, nil)
			return sent{r.HTTPResponse, r.Body}, err
		}},
		{"mixes", 20, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.GetMixesWithResponse(ctx, id, nil)
			return sent{r.HTTPResponse, r.Body}, err
		}},
		{"batch of 3", 6, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.DeriveBatchWithResponse(ctx, nil, batchOf(3))
			return sent{r.HTTPResponse, r.Body}, err
		}},
		{"batch of 15", 33, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.DeriveBatchWithResponse(ctx, nil, batchOf(15))
			return sent{r.HTTPResponse, r.Body}, err
		}},
		{"quote of 2 lines", 4, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.MakeQuoteWithResponse(ctx, nil, client.NewQuote{Lines: []client.NewQuoteLine{{ConfigurationId: &id}, {ConfigurationId: &id}}})
			return sent{r.HTTPResponse, r.Body}, err
		}},
		{"list", 1, func(c *client.ClientWithResponses) (sent, error) {
			r, err := c.ListConfigurationsWithResponse(ctx, nil)
			return sent{r.HTTPResponse, r.Body}, err
		}},
	} {
		b.clock.Add(rateWindow) // the bucket is whole
		asker := b.client(window)
		spend := func(units int) answer { // by requests of one unit
			var last answer
			for range units {
				last = b.send(http.MethodGet, "/v1/configurations?limit=1", window, "")
			}
			return last
		}
		if left := spend(120-c.units).rated(t, "default"); left != [4]int{120, 60, c.units, (121 - c.units) / 2} {
			t.Fatalf("%s: before it %v", c.name, left)
		}
		got, err := c.send(asker)
		if err != nil || got.response.StatusCode >= 300 {
			t.Fatalf("%s: %v %v %.300s", c.name, err, got.response.Status, got.body)
		}
		if left := (answer{header: got.response.Header}).rated(t, "default"); left != [4]int{120, 60, 0, 60} {
			t.Errorf("%s: it leaves %v, want nothing", c.name, left)
		}
		got, err = c.send(asker)
		if err != nil || got.response.StatusCode != http.StatusTooManyRequests {
			t.Fatalf("%s: %v %v", c.name, err, got.response.Status)
		}
		a := answer{status: got.response.StatusCode, header: got.response.Header, body: got.body}
		wait, err := strconv.Atoi(a.header.Get("Retry-After"))
		if p := a.problem(t); err != nil || p.Type != "/problems/too-many-requests" || !strings.Contains(p.Detail, fmt.Sprintf("Wait %d s", wait)) {
			t.Errorf("%s: %v %v %+v", c.name, err, a.header, p)
		}
		b.clock.Add(time.Duration(wait-1) * time.Second)
		if got, err = c.send(asker); err != nil || got.response.StatusCode != http.StatusTooManyRequests {
			t.Errorf("%s: a second early: %v %s", c.name, err, got.response.Status)
		}
		b.clock.Add(time.Second)
		if got, err = c.send(asker); err != nil || got.response.StatusCode >= 300 {
			t.Errorf("%s: after the wait: %v %s", c.name, err, got.response.Status)
		}
	}
}

// Requests without a good key count against their address, whatever the key is that
// they send; what they are told does not tell keys apart; a good key is not held
// back by what others do at its address.
func TestStrangersAreCounted(t *testing.T) {
	b := newBenchWith(t, options{rates: Rates{Key: 100, Address: 6}})
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	made := func(body string) (id, key string) {
		a := b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, body)
		return memberText(t, a.body, "id"), memberText(t, a.body, "key")
	}
	revoked, revokedKey := made(`{"role":"storefront","name":"revoked"}`)
	if a := b.send(http.MethodDelete, "/v1/keys/"+revoked, b.shop, ""); a.status != http.StatusNoContent {
		t.Fatalf("%d", a.status)
	}
	_, expiredKey := made(`{"role":"storefront","name":"expired","expires_at":"2026-11-30T13:30:00Z"}`)
	b.clock.Add(time.Hour)
	bad := map[string]string{"none": "", "unknown": "hw_" + strings.Repeat("A", 43), "long": strings.Repeat("A", 900), "revoked": revokedKey, "expired": expiredKey}
	type seen struct {
		status       int
		kind, detail string
		rate, policy string
		retry        string
	}
	var first []seen
	for name, k := range bad {
		b.clock.Add(rateWindow)
		var got []seen
		for range 8 {
			a := b.send(http.MethodPost, "/v1/check", k, small)
			p := a.problem(t)
			s := seen{a.status, p.Type, p.Detail, a.header.Get(rateHeader), a.header.Get(policyHeader), a.header.Get("Retry-After")}
			if s.status == http.StatusUnauthorized {
				s.kind, s.detail = "", "" // who holds a key that was good is told what became of it
			}
			got = append(got, s)
		}
		for i, s := range got {
			want := http.StatusUnauthorized
			if i >= 6 {
				want = http.StatusTooManyRequests
			}
			if s.status != want || s.policy != `"address";q=6;w=60` || s.rate != fmt.Sprintf(`"address";r=%d;t=%d`, max(0, 5-i), min(60, 10*(i+1))) {
				t.Errorf("%s, request %d: %+v", name, i, s)
			}
		}
		if first == nil {
			first = got
		} else if fmt.Sprint(got) != fmt.Sprint(first) {
			t.Errorf("%s is told from the others:\n%+v\n%+v", name, got, first)
		}
		if a := b.send(http.MethodPost, "/v1/check", key, small); a.status != http.StatusOK || a.rated(t, "default")[0] != 100 {
			t.Errorf("a good key at the same address: %d %v", a.status, a.header)
		}
	}
	b.clock.Add(rateWindow)
	if a := b.send(http.MethodGet, "/v1/dealers", key, ""); a.status != http.StatusForbidden || a.rated(t, "default")[2] != 99 {
		t.Errorf("a good key of too narrow a role counts against itself: %d %v", a.status, a.header)
	}
	for _, path := range []string{"/healthz", "/docs", "/openapi.json", "/problems/too-many-requests"} {
		if a := b.send(http.MethodGet, path, "", ""); a.status != http.StatusOK || a.header.Get(rateHeader) != "" {
			t.Errorf("%s counts: %d %v", path, a.status, a.header)
		}
	}
}

// A path that is not there, or a method that it does not have, counts as any other
// request: against the key, its quota too, or against the address without a good one.
// Within the limits everybody is told the same.
func TestWhatIsNotThereIsCounted(t *testing.T) {
	b := newBenchWith(t, options{rates: Rates{Key: 7, Address: 3}})
	dealer, _ := b.dealer("Brackwater Marine", record.RoleDealer)
	for _, c := range []struct {
		method, path string
		status       int
		problem      string
	}{
		{http.MethodGet, "/v1/hatches", 404, "not-found"}, {http.MethodPost, "/v1/check/", 404, "not-found"},
		{http.MethodGet, "/v1/check", 405, "method-not-allowed"}, {"BREW", "/v1/orders", 405, "method-not-allowed"},
	} {
		b.clock.Add(rateWindow)
		quota := memberText(t, b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, `{"role":"storefront","name":"web","quota":5}`).body, "key")
		for who, of := range map[string]struct {
			key, policy    string
			size, most     int
			beyond, quotas string
		}{
			"the shop": {b.shop, "default", 7, 6, "too-many-requests", ""}, // a unit was spent on the key
			"a quota":  {quota, "default", 7, 5, "quota-spent", "day"},
			"no key":   {"", "address", 3, 3, "too-many-requests", ""},
		} {
			for i := range of.most + 1 {
				a := b.send(c.method, c.path, of.key, "")
				if i < of.most {
					a.wants(t, c.status, c.problem)
				} else {
					a.wants(t, 429, of.beyond)
				}
				if got := a.rated(t, of.policy); got[0] != of.size || of.quotas != "" && a.rated(t, of.quotas)[2] != max(0, 4-i) {
					t.Errorf("%s %s by %s, request %d: %v", c.method, c.path, who, i, a.header)
				}
			}
		}
		b.send(http.MethodPost, "/v1/check", "", small).wants(t, 429, "too-many-requests") // the address has spent all
	}
	for _, path := range []string{"/", "/v2/check", "/healthz/"} {
		if a := b.send(http.MethodGet, path, "", ""); a.status != 404 || a.header.Get(rateHeader) != "" {
			t.Errorf("%s counts: %d %v", path, a.status, a.header)
		}
	}
}

// Whose address a request comes from: the connection's, unless it is that of a
// proxy which is trusted; then the last one that is no such proxy's.
func TestAddresses(t *testing.T) {
	trusted := []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("10.1.0.0/16"), netip.MustParsePrefix("fd00:7::/32")}
	for _, c := range []struct {
		name    string
		proxies []netip.Prefix
		remote  string
		through []string
		want    string
	}{
		{"no proxy", nil, "192.0.2.1:1", nil, "192.0.2.1"},
		{"a header that nobody asked for", nil, "192.0.2.1:1", []string{"198.51.100.7"}, "192.0.2.1"},
		{"a header from a stranger", trusted, "192.0.2.1:1", []string{"198.51.100.7"}, "192.0.2.1"},
		{"a private address is trusted only where it is said", trusted, "192.168.0.9:1", []string{"198.51.100.7"}, "192.168.0.9"},
		{"one proxy", trusted, "10.1.2.3:1", []string{"198.51.100.7"}, "198.51.100.7"},
		{"two proxies", trusted, "127.0.0.1:1", []string{"198.51.100.7, 10.1.9.9"}, "198.51.100.7"},
		{"what the client wrote itself before", trusted, "127.0.0.1:1", []string{"203.0.113.1", "198.51.100.7, 10.1.9.9"}, "198.51.100.7"},
		{"only proxies", trusted, "10.1.2.3:1", nil, "10.1.2.3"},
		{"IPv6 by network", nil, "[2001:db8:1:2:3:4:5:6]:1", nil, "2001:db8:1:2::/64"},
		{"IPv6 through a proxy", trusted, "[fd00:7::1]:1", []string{"2001:db8:1:2:ffff::1"}, "2001:db8:1:2::/64"},
		{"IPv4 written as IPv6", nil, "[::ffff:192.0.2.1]:1", nil, "192.0.2.1"},
		{"no address at all", nil, "@", nil, ""},
	} {
		r, err := http.NewRequest(http.MethodGet, "/", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.RemoteAddr = c.remote
		for _, v := range c.through {
			r.Header.Add("X-Forwarded-For", v)
		}
		if got := network((&api{log: slog.New(slog.DiscardHandler)}).addressOf(c.proxies)(r)); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Open streams of a key are counted; one that ends makes room. A stream counts as
// one request, however long it goes on.
func TestStreamsAreCounted(t *testing.T) {
	b := newBenchWith(t, options{rates: Rates{Key: 100, Streams: 2}})
	b.api.heartbeat = time.Millisecond
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	open := func(key string) (*http.Response, context.CancelFunc) {
		ctx, cancel := context.WithCancel(context.Background())
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, b.server.URL+"/v1/events", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+key)
		response, err := b.check.next.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		return response, cancel
	}
	one, endOne := open(key)
	defer endOne()
	two, endTwo := open(key)
	defer endTwo()
	defer two.Body.Close()
	if one.StatusCode != http.StatusOK || two.StatusCode != http.StatusOK {
		t.Fatalf("%d %d", one.StatusCode, two.StatusCode)
	}
	// Signs of life are read from both, so each asked for the key again and again.
	for _, r := range []*http.Response{one, two} {
		signs := make([]byte, 200)
		for n := 0; n < len(signs); {
			m, err := r.Body.Read(signs[n:])
			if n += m; err != nil {
				t.Fatal(err)
			}
		}
	}
	a := b.send(http.MethodGet, "/v1/events", key, "")
	if p := a.problem(t); a.status != http.StatusTooManyRequests || p.Type != "/problems/too-many-streams" || a.header.Get("Retry-After") == "" {
		t.Errorf("%d %s", a.status, a.body)
	}
	if left := a.rated(t, "default"); left[2] != 97 {
		t.Errorf("three requests leave %v", left)
	}
	other, endOther := open(b.shop)
	defer endOther()
	defer other.Body.Close()
	if other.StatusCode != http.StatusOK {
		t.Errorf("another key: %d", other.StatusCode)
	}
	endOne()
	one.Body.Close()
	for range 1000 { // until the server has seen it go
		three, end := open(key)
		end()
		three.Body.Close()
		if three.StatusCode == http.StatusOK {
			return
		}
		b.clock.Add(time.Second)
		time.Sleep(time.Millisecond)
	}
	t.Error("a stream that ended makes no room")
}

// Without limits nothing is told of them.
func TestNoRates(t *testing.T) {
	b := newBench(t)
	for _, key := range []string{b.shop, ""} {
		if a := b.send(http.MethodPost, "/v1/check", key, small); a.header.Get(rateHeader) != "" || a.header.Get(policyHeader) != "" {
			t.Errorf("%v", a.header)
		}
	}
}

// TestAddressesThatAreNone: a proxy that adds what is no address makes all behind it
// count as one. The log says so once, not at every request.
func TestAddressesThatAreNone(t *testing.T) {
	var log bytes.Buffer
	extract := (&api{log: slog.New(slog.NewTextHandler(&log, nil))}).addressOf([]netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")})
	for _, header := range []string{"1.2.3.4:5678", "1.2.3.4, unknown", "_hidden"} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.RemoteAddr = "10.0.0.1:99"
		r.Header.Set("X-Forwarded-For", header)
		if got := extract(r); got != "10.0.0.1" {
			t.Errorf("%s: got %s, want the proxy", header, got)
		}
	}
	if n := strings.Count(log.String(), "no address"); n != 1 {
		t.Errorf("the log tells it %d times, want once: %s", n, log.String())
	}
	log.Reset()
	extract = (&api{log: slog.New(slog.NewTextHandler(&log, nil))}).addressOf([]netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")})
	for _, header := range []string{"", "10.0.0.1", "1.2.3.4", "[2001:db8::1]"} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.RemoteAddr = "10.0.0.1:99"
		r.Header.Set("X-Forwarded-For", header)
		extract(r)
	}
	if log.Len() > 0 {
		t.Errorf("good ones are told: %s", log.String())
	}
}
