package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"hatchwright/openapi/client"
)

// bad is a request that must be answered with a clear problem: the status, the
// kind, and for each error its pointer and code.
type bad struct {
	name   string
	body   string
	status int
	kind   string
	errors []string // "pointer code"
}

func configuration(outline, more string) string {
	return `{"units":"mm","pattern":"flush-ledge","outline":` + outline + more + `}`
}

const round = `{"shape":"circle","diameter":500}`

var badInput = []bad{
	{"unknown field", configuration(round, `,"colour":"white"`), 400, "invalid-request", []string{"/colour unknown_field"}},
	{"unknown fields, nested", configuration(`{"shape":"circle","diametre":500,"a/b~c":1}`, ``), 400, "invalid-request", []string{"/outline/a~1b~0c unknown_field", "/outline/diametre unknown_field"}},
	{"wrong type", configuration(`{"shape":"circle","diameter":"500"}`, ``), 400, "invalid-request", []string{"/outline/diameter wrong_type"}},
	{"object for a number", configuration(round, `,"lid":{"gap":{}}`), 400, "invalid-request", []string{"/lid/gap wrong_type"}},
	{"list for an object", `[]`, 400, "invalid-request", []string{" wrong_type"}},
	{"text for an object", `"hatch"`, 400, "invalid-request", []string{" wrong_type"}},
	{"null for an object", `null`, 400, "invalid-request", []string{" wrong_type"}},
	{"null for a number", configuration(`{"shape":"circle","diameter":null}`, ``), 400, "invalid-request", []string{"/outline/diameter wrong_type"}},
	{"half a piece", configuration(round, `,"quantity":1.5`), 400, "invalid-request", []string{"/quantity wrong_type"}},
	{"wrong unit", `{"units":"cm","pattern":"flush-ledge","outline":` + round + `}`, 400, "invalid-request", []string{"/units unknown_word"}},
	{"no units", `{"pattern":"flush-ledge","outline":` + round + `}`, 400, "invalid-request", []string{"/units missing"}},
	{"nothing", `{}`, 400, "invalid-request", []string{"/outline missing", "/pattern missing", "/units missing"}},
	{"unknown word", configuration(`{"shape":"heart"}`, ``), 400, "invalid-request", []string{"/outline/shape unknown_word"}},
	{"NaN", configuration(`{"shape":"circle","diameter":NaN}`, ``), 400, "malformed-body", []string{" not_json"}},
	{"infinity", configuration(`{"shape":"circle","diameter":Infinity}`, ``), 400, "malformed-body", []string{" not_json"}},
	{"1e308", configuration(`{"shape":"circle","diameter":1e308}`, ``), 400, "invalid-request", []string{"/outline/diameter out_of_range"}},
	{"1e999", configuration(`{"shape":"circle","diameter":1e999}`, ``), 400, "malformed-body", []string{"/outline/diameter number_out_of_range"}},
	{"-1e308 for a coordinate", configuration(`{"shape":"polygon","corners":[{"x":-1e308,"y":0},{"x":1,"y":0},{"x":0,"y":1e308,"radius":-1}]}`, ``), 400, "invalid-request",
		[]string{"/outline/corners/0/x out_of_range", "/outline/corners/2/y out_of_range", "/outline/corners/2/radius out_of_range"}},
	{"negative", configuration(`{"shape":"circle","diameter":-500}`, ``), 400, "invalid-request", []string{"/outline/diameter out_of_range"}},
	{"zero", configuration(`{"shape":"circle","diameter":0}`, ``), 400, "invalid-request", []string{"/outline/diameter out_of_range"}},
	{"negative zero", configuration(`{"shape":"circle","diameter":-0.0}`, ``), 400, "invalid-request", []string{"/outline/diameter out_of_range"}},
	{"denormal", configuration(`{"shape":"circle","diameter":5e-324}`, ``), 400, "invalid-request", []string{"/outline/diameter out_of_range"}},
	{"no pieces", configuration(round, `,"quantity":0`), 400, "invalid-request", []string{"/quantity out_of_range"}},
	{"zero for what may be null", configuration(round, `,"deck":{"camber_radius":0}`), 400, "invalid-request", []string{"/deck/camber_radius out_of_range"}},
	{"wall leaning over", configuration(round, `,"receiver":{"draft_deg":90}`), 400, "invalid-request", []string{"/receiver/draft_deg out_of_range"}},
	{"no such day", configuration(round, `,"needed_by":"2027-02-30"`), 400, "invalid-request", []string{"/needed_by wrong_form"}},
	{"width of a circle", configuration(`{"shape":"circle","diameter":500,"width":300}`, ``), 400, "invalid-request", []string{"/outline/width not_applicable"}},
	{"circle without a diameter", configuration(`{"shape":"circle"}`, ``), 400, "invalid-request", []string{"/outline/diameter missing"}},
	{"pressure on a lid that is stepped on", configuration(round, `,"duty":{"kind":"step","pressure":5}`), 400, "invalid-request", []string{"/duty/pressure not_applicable"}},
	{"listed without a list", configuration(round, `,"laminate":{"schedule":"listed"}`), 400, "invalid-request", []string{"/laminate/lid missing", "/laminate/receiver missing"}},
	{"gutter of a ledge", configuration(round, `,"gutter":{"depth":20}`), 400, "invalid-request", []string{"/gutter/depth not_applicable"}},
	{"two corners", configuration(`{"shape":"polygon","corners":[{"x":0,"y":0},{"x":1,"y":1}]}`, ``), 400, "invalid-request", []string{"/outline/corners too_few_items"}},
	{"200 corners, all out of range", configuration(`{"shape":"polygon","corners":[`+strings.TrimSuffix(strings.Repeat(`{"x":1e9,"y":1e9,"radius":-1},`, 200), ",")+`]}`, ``), 400, "invalid-request", nil},
	{"201 corners", configuration(`{"shape":"polygon","corners":[`+corners(201)+`]}`, ``), 400, "invalid-request", []string{"/outline/corners too_many_items"}},
	{"10,000 corners", configuration(`{"shape":"polygon","corners":[`+corners(10_000)+`]}`, ``), 400, "malformed-body", []string{"/outline/corners too_many_items"}},
	{"21 fittings", configuration(round, `,"hardware":[`+strings.TrimSuffix(strings.Repeat(`{"item":"flush latch","edge":"fore","count":1},`, 21), ",")+`]`), 400, "invalid-request", []string{"/hardware too_many_items"}},
	{"control characters", configuration(round, `,"gelcoat":{"color":"white\u0000"}`), 400, "invalid-request", []string{"/gelcoat/color wrong_form"}},
	{"a text of a megabyte", configuration(round, `,"gelcoat":{"color":"`+strings.Repeat("w", 1000_000)+`"}`), 400, "invalid-request", []string{"/gelcoat/color too_long"}},
	{"a key twice", configuration(`{"shape":"circle","diameter":500,"diameter":600}`, ``), 400, "malformed-body", []string{"/outline/diameter duplicate_key"}},
	{"a key twice, one escaped", configuration(round, `,"uni\u0074s":"in"`), 400, "malformed-body", []string{"/units duplicate_key"}},
	{"2 MiB", configuration(round, `,"gelcoat":{"color":"`+strings.Repeat("w", 2<<20)+`"}`), 413, "body-too-large", nil},
	{"not UTF-8", configuration(round, ",\"gelcoat\":{\"color\":\"wei\xdf\"}"), 400, "malformed-body", []string{" not_utf8"}},
	{"an overlong form of a slash", configuration(round, ",\"gelcoat\":{\"color\":\"\xc0\xaf\"}"), 400, "malformed-body", []string{" not_utf8"}},
	{"UTF-16", "\xfe\xff\x00{\x00}", 400, "malformed-body", []string{" not_utf8"}},
	{"a byte order mark", "\xef\xbb\xbf" + configuration(round, ``), 400, "malformed-body", []string{" not_json"}},
	{"two documents", configuration(round, ``) + `{}`, 400, "malformed-body", []string{" trailing_data"}},
	{"a word after the end", configuration(round, ``) + ` true`, 400, "malformed-body", []string{" trailing_data"}},
	{"cut off", `{"units":"mm","pattern":"flush-le`, 400, "malformed-body", []string{" not_json"}},
	{"a comma too many", configuration(round, `,`), 400, "malformed-body", []string{" not_json"}},
	{"a comment", `{/* mm */"units":"mm"}`, 400, "malformed-body", []string{" not_json"}},
	{"deep", strings.Repeat(`{"outline":`, 100) + `1` + strings.Repeat(`}`, 100), 400, "malformed-body", []string{" too_deep"}},
	{"deep and never closed", strings.Repeat(`[`, 500_000), 400, "malformed-body", []string{" too_deep"}},
	{"100,000 unknown fields", `{` + fields(60_000) + `"units":"mm"}`, 400, "malformed-body", []string{" too_many_fields"}},
	{"1,000 unknown fields", `{` + fields(900) + `"units":"mm"}`, 400, "invalid-request", nil},
}

func corners(n int) string {
	var b strings.Builder
	for i := range n {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, `{"x":%d,"y":%d,"radius":1}`, i, i*i%1000)
	}
	return b.String()
}

func fields(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `"f%d":1,`, i)
	}
	return b.String()
}

// TestBadInput sends bodies that break every rule there is. Each gets a problem
// that says where and what, and none a 500.
func TestBadInput(t *testing.T) {
	b := newBench(t)
	for _, c := range badInput {
		for _, path := range []string{"/v1/check", "/v1/derive", "/v1/limits"} {
			t.Run(c.name+" "+path, func(t *testing.T) {
				a := b.send(http.MethodPost, path, b.shop, c.body)
				p := a.problem(t)
				if a.status != c.status || p.Status != c.status || p.Type != "/problems/"+c.kind {
					t.Fatalf("%d %s, want %d %s: %.500s", a.status, p.Type, c.status, c.kind, a.body)
				}
				var got []string
				for _, e := range p.Errors {
					got = append(got, e.Pointer+" "+e.Code)
					if e.Message == "" {
						t.Errorf("%s has no message", e.Pointer)
					}
				}
				if c.errors != nil && strings.Join(got, "; ") != strings.Join(c.errors, "; ") {
					t.Errorf("errors %q, want %q: %.1000s", got, c.errors, a.body)
				}
				if len(p.Errors) > mostFaults {
					t.Errorf("%d errors", len(p.Errors))
				}
				if p.RequestId == "" || p.RequestId != a.header.Get(requestIDHeader) {
					t.Errorf("request id %q, header %q", p.RequestId, a.header.Get(requestIDHeader))
				}
				if page := b.send(http.MethodGet, p.Type, "", ""); page.status != http.StatusOK {
					t.Errorf("the type %s leads to %d", p.Type, page.status)
				}
			})
		}
	}
	if strings.Contains(b.log.String(), "panic") {
		t.Error("something panicked")
	}
}

// TestRangesAreInTheDocumentsUnits reads the allowed range from the message and
// finds it in the unit that was spoken.
func TestRangesAreInTheDocumentsUnits(t *testing.T) {
	b := newBench(t)
	for units, want := range map[string]string{"mm": "from 0.001 to 100000 mm", "in": "from 0.00004 to 3937.00787 in"} {
		body := `{"units":"` + units + `","pattern":"flush-ledge","outline":{"shape":"circle","diameter":1e7}}`
		p := b.send(http.MethodPost, "/v1/check", b.shop, body).problem(t)
		if len(p.Errors) != 1 || !strings.Contains(p.Errors[0].Message, want) {
			t.Errorf("%s: %+v", units, p.Errors)
		}
	}
	p := b.send(http.MethodPost, "/v1/check", b.shop, configuration(round, `,"deck":{"camber_radius":-1}`)).problem(t)
	if len(p.Errors) != 1 || !strings.Contains(p.Errors[0].Message, ", or null") {
		t.Errorf("%+v", p.Errors)
	}
}

// TestKeptBadInput finds the configuration of a kept one below its own member.
func TestKeptBadInput(t *testing.T) {
	b := newBench(t)
	for _, c := range []bad{
		{"figure", `{"configuration":` + configuration(`{"shape":"circle","diameter":-1}`, ``) + `}`, 400, "invalid-request", []string{"/configuration/outline/diameter out_of_range"}},
		{"misplaced", `{"configuration":` + configuration(`{"shape":"circle","diameter":500,"width":1}`, ``) + `}`, 400, "invalid-request", []string{"/configuration/outline/width not_applicable"}},
		{"missing", `{"configuration":` + configuration(`{"shape":"circle"}`, ``) + `}`, 400, "invalid-request", []string{"/configuration/outline/diameter missing"}},
		{"name", `{"name":"two\nlines","configuration":` + small + `}`, 400, "invalid-request", []string{"/name wrong_form"}},
		{"long name", `{"name":"` + strings.Repeat("x", 201) + `","configuration":` + small + `}`, 400, "invalid-request", []string{"/name too_long"}},
		{"supersedes", `{"supersedes":"7","configuration":` + small + `}`, 400, "invalid-request", []string{"/supersedes wrong_form"}},
		{"nobody there", `{"supersedes":"01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55","configuration":` + small + `}`, 404, "not-found", []string{"/supersedes unknown"}},
		{"no such dealer", `{"dealer_id":"01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55","configuration":` + small + `}`, 404, "not-found", []string{"/dealer_id unknown"}},
		{"not makeable", `{"configuration":` + configuration(`{"shape":"circle","diameter":10000}`, ``) + `}`, 422, "not-makeable", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := b.send(http.MethodPost, "/v1/configurations", b.shop, c.body)
			p := a.problem(t)
			if a.status != c.status || p.Type != "/problems/"+c.kind {
				t.Fatalf("%d %s", a.status, a.body)
			}
			for i, want := range c.errors {
				if len(p.Errors) != len(c.errors) || p.Errors[i].Pointer+" "+p.Errors[i].Code != want {
					t.Errorf("errors %+v, want %q", p.Errors, c.errors)
				}
			}
		})
	}
	if n := kept(t, b, b.shop); n != 0 {
		t.Errorf("%d configurations were kept", n)
	}
}

// kept counts the configurations that a key sees.
func kept(t *testing.T, b *bench, key string) int {
	t.Helper()
	l, err := b.client(key).ListConfigurationsWithResponse(context.Background(), nil)
	if err != nil || l.JSON200 == nil {
		t.Fatalf("%v %s", err, l.Body)
	}
	return len(l.JSON200.Items)
}

func TestBadParameters(t *testing.T) {
	b := newBench(t)
	for path, want := range map[string]string{
		"/v1/configurations?limit=0":                                                      "limit out_of_range",
		"/v1/configurations?limit=201":                                                    "limit out_of_range",
		"/v1/configurations?limit=ten":                                                    "limit wrong_type",
		"/v1/configurations?limit=":                                                       "limit empty",
		"/v1/configurations?limit=1&limit=2":                                              "limit duplicate_parameter",
		"/v1/configurations?limt=5":                                                       "limt unknown_parameter",
		"/v1/configurations?cursor=nonsense":                                              "cursor invalid_cursor",
		"/v1/configurations?dealer_id=7":                                                  "dealer_id wrong_form",
		"/v1/configurations?verdict=fine":                                                 "verdict unknown_word",
		"/v1/configurations?created_from=yesterday":                                       "created_from wrong_form",
		"/v1/configurations?digest=sha256:00":                                             "digest wrong_form",
		"/v1/configurations?reference=a%00b":                                              "reference wrong_form",
		"/v1/configurations/7":                                                            "id wrong_form",
		"/v1/configurations/7/derivation":                                                 "id wrong_form",
		"/v1/configurations/7/packet":                                                     "id wrong_form",
		"/v1/configurations/7/mixes":                                                      "id wrong_form",
		"/v1/configurations/7/drawings/plan":                                              "id wrong_form",
		"/v1/configurations/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/drawings/PLAN":           "drawing wrong_form",
		"/v1/configurations/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/mixes?temperature=warm":  "temperature wrong_type",
		"/v1/configurations/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/mixes?temperature=NaN":   "temperature wrong_type",
		"/v1/configurations/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/mixes?temperature=Inf":   "temperature wrong_type",
		"/v1/configurations/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/mixes?temperature=1e400": "temperature wrong_type",
		"/v1/configurations/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/mixes?temperature=-300":  "temperature out_of_range",
		"/v1/configurations/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/mixes?temperature=":      "temperature empty",
		"/v1/configurations/01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55/mixes?temp=20":           "temp unknown_parameter",
		"/v1/keys?role=king":                                                              "role unknown_word",
		"/problems/UPPER":                                                                 "type wrong_form",
		"/v1/configurations/%2e%2e":                                                       "id wrong_form",
		"/v1/configurations?cursor=" + strings.Repeat("a", 1001):                          "cursor too_long",
	} {
		a := b.send(http.MethodGet, path, b.shop, "")
		p := a.problem(t)
		if a.status != http.StatusBadRequest || len(p.Errors) != 1 || p.Errors[0].Parameter == nil || *p.Errors[0].Parameter+" "+p.Errors[0].Code != want || p.Errors[0].Pointer != "" {
			t.Errorf("%.60s: %d %s, want %s", path, a.status, a.body, want)
		}
	}
	// An empty text is told once, and what a pattern asks for in words.
	for body, want := range map[string]string{`{"name":""}`: "too_short: This must have at least one character.", `{"name":"a\u0007b"}`: "wrong_form: This must be one line without control characters."} {
		if p := b.send(http.MethodPost, "/v1/dealers", b.shop, body).problem(t); len(p.Errors) != 1 || p.Errors[0].Code+": "+p.Errors[0].Message != want {
			t.Errorf("%s: %+v, want %s", body, p.Errors, want)
		}
	}
	if p := b.send(http.MethodGet, "/v1/keys?rle=shop", b.shop, "").problem(t); !strings.Contains(p.Errors[0].Message, "cursor") || !strings.Contains(p.Errors[0].Message, "role") {
		t.Errorf("the parameters that there are are not told: %+v", p.Errors)
	}
	// Of two keys none is taken: it would stand for both.
	r, err := http.NewRequest(http.MethodPost, b.server.URL+"/v1/dealers", strings.NewReader(`{"name":"Brackwater Marine"}`))
	if err != nil {
		t.Fatal(err)
	}
	r.Header = http.Header{"Authorization": {"Bearer " + b.shop}, "Content-Type": {"application/json"}, "Idempotency-Key": {"one", "two"}}
	twice, err := b.server.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer twice.Body.Close()
	var p client.Problem
	if err := json.NewDecoder(twice.Body).Decode(&p); err != nil || twice.StatusCode != http.StatusBadRequest || len(p.Errors) != 1 || p.Errors[0].Code != "duplicate_parameter" || *p.Errors[0].Parameter != "Idempotency-Key" {
		t.Errorf("%d %+v %v", twice.StatusCode, p, err)
	}
	a := b.send(http.MethodPost, "/v1/dealers", b.shop, `{"name":"Brackwater Marine"}`, "Idempotency-Key", strings.Repeat("k", 201))
	if p := a.problem(t); a.status != 400 || *p.Errors[0].Parameter != "Idempotency-Key" {
		t.Errorf("%d %s", a.status, a.body)
	}
}

func TestMediaTypes(t *testing.T) {
	b := newBench(t)
	for _, c := range []struct {
		name, value string
		status      int
	}{
		{"Content-Type", "text/plain", 415},
		{"Content-Type", "application/json-patch+json", 415},
		{"Content-Type", "application/json; charset=latin1", 415},
		{"Content-Type", "application/", 415},
		{"Content-Type", "application/json; charset=UTF-8", 200},
		{"Content-Type", "Application/JSON", 200},
		{"Content-Encoding", "gzip", 415},
		{"Content-Encoding", "identity", 200},
	} {
		a := b.send(http.MethodPost, "/v1/check", b.shop, small, c.name, c.value)
		if a.status != c.status {
			t.Errorf("%s: %s: %d %s", c.name, c.value, a.status, a.body)
		}
		if c.status == 415 && a.problem(t).Type != "/problems/unsupported-media-type" {
			t.Errorf("%s", a.body)
		}
	}
	if a := b.send(http.MethodPost, "/v1/check", b.shop, ""); a.status != 415 {
		t.Errorf("no body, no type: %d %s", a.status, a.body)
	}
	if p := b.send(http.MethodPost, "/v1/check", b.shop, "", "Content-Type", "application/json").problem(t); p.Type != "/problems/malformed-body" || p.Errors[0].Code != "empty" {
		t.Errorf("empty body: %+v", p)
	}
}

// TestBodyWithoutLength streams more than a MiB without saying so beforehand.
func TestBodyWithoutLength(t *testing.T) {
	b := newBench(t)
	r, err := http.NewRequest(http.MethodPost, b.server.URL+"/v1/check", io.MultiReader(bytes.NewReader(bytes.Repeat([]byte(" "), 1<<20)), strings.NewReader(small)))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Authorization", "Bearer "+b.shop)
	response, err := b.check.next.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	var p client.Problem
	strict(t, body, &p)
	if response.StatusCode != http.StatusRequestEntityTooLarge || p.Type != "/problems/body-too-large" {
		t.Errorf("%d %s", response.StatusCode, body)
	}
}

// TestBodyThatStops breaks off in the middle of a body: the service goes on.
func TestBodyThatStops(t *testing.T) {
	b := newBench(t)
	c, err := net.Dial("tcp", b.server.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(c, "POST /v1/check HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Type: application/json\r\nContent-Length: 500\r\n\r\n{\"units\":", b.shop)
	if err := c.(*net.TCPConn).CloseWrite(); err != nil {
		t.Fatal(err)
	}
	if err := c.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	answer, err := io.ReadAll(c)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(string(answer), "HTTP/1.1 400 ") || !strings.Contains(string(answer), "malformed-body") {
		t.Errorf("%s", answer)
	}
	if a := b.send(http.MethodPost, "/v1/check", b.shop, small); a.status != http.StatusOK {
		t.Errorf("after it: %d", a.status)
	}
}
