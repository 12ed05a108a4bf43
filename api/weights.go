package api

import (
	"net/http"

	"github.com/google/uuid"

	"hatchwright/service/part"
)

// weight is what a request costs, in units: so many for the request, and more for what
// it asks to be worked out, which is known before any of it is: see after.
type weight struct {
	units int
	each  int    // for each row of a member of the body beyond the first
	of    string // that member; "" for none

	per    int    // pieces that cost a unit more; 0: they cost nothing
	pieces string // whose: see asked

	corner int // for each corner of a polygon beyond four
	tries  int // times as much with shorten=true; 0: there is no such parameter
}

// Whose pieces a request asks for.
const (
	ofBody          = "body"          // the body is a configuration
	ofConfiguration = "configuration" // a member of the body is
	ofRows          = "configurations"
	ofLines         = "lines"    // of a quote in the body, and of what they name
	ofQuote         = "quote_id" // of the quote that the body names
)

// weights are the requests under /v1 that cost more than one unit. A unit is about five
// milliseconds of a core: a derivation takes ten, and one more for each piece; what would
// shorten it is up to five tries of the date more (measured, see BenchmarkRequest). A test
// holds them against the document, both ways (x-weight).
var weights = map[string]weight{
	http.MethodPost + " /v1/derive":                                {units: 2, per: 4, pieces: ofBody, tries: 1 + MostShorten},
	http.MethodPost + " /v1/derive/batch":                          {units: 2, each: 2, of: "configurations", per: 4, pieces: ofRows, tries: 1 + MostShorten},
	http.MethodPost + " /v1/limits":                                {units: 10, corner: 4},
	http.MethodPost + " /v1/drawings/{drawing}":                    {units: 5},
	http.MethodPost + " /v1/configurations":                        {units: 2, per: 4, pieces: ofConfiguration},
	http.MethodGet + " /v1/configurations/{id}/drawings/{drawing}": {units: 5},
	http.MethodGet + " /v1/configurations/{id}/packet":             {units: 20},
	http.MethodGet + " /v1/configurations/{id}/mixes":              {units: 20},
	http.MethodPost + " /v1/quotes":                                {units: 2, each: 2, of: "lines", per: 4, pieces: ofLines},
	http.MethodPost + " /v1/orders":                                {units: 2, per: 4, pieces: ofQuote},
}

// weigh returns what a request of a route costs.
func weigh(r route) weight {
	if w, ok := weights[r.method+" "+r.path]; ok {
		return w
	}
	return weight{units: 1}
}

// asks tells whether more than the route says what a request costs.
func (w weight) asks() bool { return w.each > 0 || w.per > 0 || w.corner > 0 || w.tries > 0 }

// before is what is taken before the request is read: nothing where only the body
// says what it costs, so that all of it is taken at once or nothing.
func (w weight) before() int {
	if w.asks() {
		return 0
	}
	return w.units
}

// after is what is taken once the request was read, or was refused for what it says.
func (w weight) after(a *api, c *call, err error) int {
	switch {
	case !w.asks():
		return 0
	case err != nil:
		return w.units
	}
	units := w.units
	if w.each > 0 {
		rows, _ := c.object()[w.of].([]any)
		units += w.each * max(0, len(rows)-1)
	}
	if w.per > 0 {
		units += a.pieces(c, w.pieces) / w.per
	}
	if plan, _ := c.object()["outline"].(map[string]any); w.corner > 0 && plan != nil {
		corners, _ := plan["corners"].([]any)
		units += w.corner * max(0, len(corners)-fewCorners)
	}
	if w.tries > 0 && c.QueryParam("shorten") == "true" {
		units *= w.tries
	}
	return units
}

// fewCorners are those that a rectangle has: limits of it cost what limits of the other
// shapes do.
const fewCorners = 4

// pieces counts the pieces that a request asks for, so that it can be charged before any
// of them is worked out. What is named and is not there counts as one: it is refused.
func (a *api) pieces(c *call, whose string) int {
	body := c.object()
	usual, most := a.service.UsualPieces(), part.At("/quantity").Max
	of := func(tree any, or int) int {
		object, _ := tree.(map[string]any)
		if n, ok := object["quantity"].(float64); ok {
			return int(max(1, min(n, most))) // rows judged apart may say anything
		}
		return or
	}
	switch whose {
	case ofBody:
		return of(body, usual)
	case ofConfiguration:
		return of(body[whose], usual)
	case ofQuote:
		if id := c.bodyID(whose); id != nil {
			return a.service.QuotedPieces(c.Request().Context(), c.caller, *id)
		}
		return 1
	}
	rows, _ := body[whose].([]any)
	n := 0
	for _, row := range rows {
		line, _ := row.(map[string]any)
		switch named, _ := line["configuration_id"].(string); {
		case whose == ofRows, line["quantity"] != nil:
			n += of(line, usual)
		case line["configuration"] != nil:
			n += of(line["configuration"], usual)
		default:
			id, _ := uuid.Parse(named) // the document lets only ids through
			n += a.service.KeptPieces(c.Request().Context(), c.caller, id)
		}
	}
	return n
}
