package api

import (
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"hatchwright/openapi"
	"hatchwright/service/order"
	"hatchwright/service/part"
	"hatchwright/service/record"
)

// sized is the small hatch in a quantity.
func sized(n int) string { return strings.Replace(small, "{", fmt.Sprintf(`{"quantity":%d,`, n), 1) }

// quoteOf is a quote of lines, each of the small hatch in so many pieces.
func quoteOf(quantities ...int) string {
	var list []string
	for _, n := range quantities {
		list = append(list, fmt.Sprintf(`{"configuration":%s,"quantity":%d}`, small, n))
	}
	return `{"lines":[` + strings.Join(list, ",") + `]}`
}

// What a request costs follows what it asks to be worked out, and is taken whether that
// is then done or refused.
func TestCostFollowsWhatIsAsked(t *testing.T) {
	const size = 100_000
	b := newBenchWith(t, options{rates: Rates{Key: size}})
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	left := regexp.MustCompile(`"default";r=(\d+)`)
	send := func(method, path, body string) (answer, int) {
		t.Helper()
		who := key
		if strings.Contains(path, "shorten=true") {
			who = b.shop
		}
		a := b.send(method, path, who, body)
		m := left.FindStringSubmatch(a.header.Get(rateHeader))
		if m == nil {
			t.Fatalf("%s %s: no level in %q", method, path, a.header.Get(rateHeader))
		}
		n, err := strconv.Atoi(m[1])
		if err != nil {
			t.Fatal(err)
		}
		b.clock.Add(rateWindow) // whole again
		return a, size - n
	}
	kept, _ := send(http.MethodPost, "/v1/configurations", `{"configuration":`+sized(40)+`}`)
	quote, _ := send(http.MethodPost, "/v1/quotes", quoteOf(8, 4))
	corners := func(n int) string {
		return `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"polygon","corners":[` + strings.TrimSuffix(strings.Repeat(`{"x":0,"y":0,"radius":60},`, n), ",") + `]}}`
	}
	for _, c := range []struct {
		name, path, body string
		want             int
	}{
		{"one piece", "/v1/derive", small, 2},
		{"three pieces", "/v1/derive", sized(3), 2},
		{"four pieces", "/v1/derive", sized(4), 3},
		{"200 pieces", "/v1/derive", sized(200), 52},
		{"what would shorten it", "/v1/derive?shorten=true", sized(8), 24},
		{"shorten=false", "/v1/derive?shorten=false", sized(8), 4},
		{"a batch of two", "/v1/derive/batch", batch(sized(8), sized(9)), 8},
		{"a batch with what would shorten it", "/v1/derive/batch?shorten=true", batch(small, small), 24},
		{"a batch with a row that says anything", "/v1/derive/batch", batch(small, `{"quantity":1e300}`), 54},
		{"a configuration to keep", "/v1/configurations", `{"configuration":` + sized(40) + `}`, 12},
		{"a line", "/v1/quotes", quoteOf(1), 2},
		{"two lines of 40", "/v1/quotes", quoteOf(40, 40), 24},
		{"the quantity of what comes along", "/v1/quotes", `{"lines":[{"configuration":` + sized(40) + `}]}`, 12},
		{"the quantity of what is kept", "/v1/quotes", `{"lines":[{"configuration_id":"` + memberText(t, kept.body, "id") + `"}]}`, 12},
		{"another quantity of what is kept", "/v1/quotes", `{"lines":[{"configuration_id":"` + memberText(t, kept.body, "id") + `","quantity":4}]}`, 3},
		{"what is not there", "/v1/quotes", `{"lines":[{"configuration_id":"` + memberText(t, quote.body, "id") + `"}]}`, 2},
		{"more than may be", "/v1/quotes", quoteOf(200, 200, 200), 156},
		{"an order of 12 pieces", "/v1/orders", `{"quote_id":"` + memberText(t, quote.body, "id") + `"}`, 5},
		{"an order of nothing", "/v1/orders", `{"quote_id":"` + memberText(t, kept.body, "id") + `"}`, 2},
		{"limits", "/v1/limits", small, 10},
		{"limits of a polygon of four corners", "/v1/limits", corners(4), 10},
		{"limits of a polygon of ten", "/v1/limits", corners(10), 34},
	} {
		t.Run(c.name, func(t *testing.T) {
			if a, got := send(http.MethodPost, c.path, c.body); got != c.want {
				t.Errorf("it cost %d units, want %d; the answer was %d", got, c.want, a.status)
			}
		})
	}
}

// The document, the table of figures and the service have one bound on the pieces of a
// configuration and of a line, and one on those of a quote and of a batch: within it they
// are answered, beyond it they are refused with where and how many.
func TestQuantitiesHaveOneBound(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	most := part.At("/quantity").Max
	for _, name := range []string{"Configuration", "NewQuoteLine"} {
		t.Run("document "+name, func(t *testing.T) {
			got := doc.Components.Schemas[name].Value.Properties["quantity"].Value.Max
			if got == nil || *got != most {
				t.Errorf("the document lets %v through, the service %v", got, most)
			}
		})
	}
	for _, c := range []struct{ route, words string }{{"/v1/quotes", fmt.Sprintf("a quote %d in all", order.MaxPieces)}, {"/v1/derive/batch", "of 1,000 pieces in all"}} {
		t.Run("document "+c.route, func(t *testing.T) {
			if got := strings.Join(strings.Fields(doc.Paths.Value(c.route).Post.Description), " "); !strings.Contains(got, c.words) {
				t.Errorf("got %q, want %q in it", got, c.words)
			}
		})
	}
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	for _, c := range []struct {
		name, path, body, pointer, words string
		status                           int
	}{
		{"as many pieces as may be", "/v1/derive", sized(200), "", "", 200},
		{"one too many", "/v1/derive", sized(201), "/quantity", "200", 400},
		{"a line of too many", "/v1/quotes", quoteOf(1, 201), "/lines/1/quantity", "200", 400},
		{"a line of what the document let through before", "/v1/quotes", quoteOf(10_000), "/lines/0/quantity", "200", 400},
		{"as many lines of as many pieces as may be", "/v1/quotes", quoteOf(200, 200, 100), "", "", 201},
		{"ten lines of 100", "/v1/quotes", quoteOf(100, 100, 100, 100, 100, 100, 100, 100, 100, 100), "/lines", "1000 pieces in all, and a quote has 1 to 500", 400},
		{"one piece too many in all", "/v1/quotes", quoteOf(200, 200, 101), "/lines", "501 pieces in all, and a quote has 1 to 500", 400},
		{"a batch of too many", "/v1/derive/batch", batch(sized(200), sized(200), sized(200), sized(200), sized(200), small), "/configurations", "1001 pieces in all, and a batch has 1 to 1000", 400},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.status == http.StatusCreated && testing.Short() {
				t.Skip("under the race detector so many pieces take longer than a request may; in full it is asked on PostgreSQL")
			}
			a := b.send(http.MethodPost, c.path, key, c.body)
			if a.status != c.status {
				t.Fatalf("status %d, want %d: %.300s", a.status, c.status, a.body)
			}
			if c.pointer == "" {
				return
			}
			p := a.problem(t)
			if len(p.Errors) != 1 || p.Errors[0].Pointer != c.pointer {
				t.Fatalf("errors %s, want one at %s", a.body, c.pointer)
			}
			if !strings.Contains(p.Errors[0].Message, c.words) {
				t.Errorf("message %q, want %q in it", p.Errors[0].Message, c.words)
			}
		})
	}
}
