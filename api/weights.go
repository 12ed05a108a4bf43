package api

import "net/http"

// weight is what a request costs, in units: so many for the request, and so many
// for each row of the body's member that is worked out row by row beyond the first.
type weight struct {
	units int
	each  int
	of    string // member of the body; "" for none
}

// weights are the requests under /v1 that cost more than one unit. A test holds
// them against the document, both ways (x-weight).
var weights = map[string]weight{
	http.MethodPost + " /v1/derive":                                {units: 2},
	http.MethodPost + " /v1/derive/batch":                          {units: 2, each: 2, of: "configurations"},
	http.MethodPost + " /v1/limits":                                {units: 10},
	http.MethodPost + " /v1/drawings/{drawing}":                    {units: 5},
	http.MethodPost + " /v1/configurations":                        {units: 2},
	http.MethodGet + " /v1/configurations/{id}/drawings/{drawing}": {units: 5},
	http.MethodGet + " /v1/configurations/{id}/packet":             {units: 20},
	http.MethodGet + " /v1/configurations/{id}/mixes":              {units: 20},
	http.MethodPost + " /v1/quotes":                                {units: 2, each: 2, of: "lines"},
}

// weigh returns what a request of a route costs.
func weigh(r route) weight {
	if w, ok := weights[r.method+" "+r.path]; ok {
		return w
	}
	return weight{units: 1}
}

// before is what is taken before the request is read: nothing where only the body
// says what it costs, so that all of it is taken at once or nothing.
func (w weight) before() int {
	if w.each > 0 {
		return 0
	}
	return w.units
}

// after is what is taken once the request was read, or was refused for what it says.
func (w weight) after(c *call, err error) int {
	switch {
	case w.each == 0:
		return 0
	case err != nil:
		return w.units
	}
	rows, _ := c.object()[w.of].([]any)
	return w.units + w.each*max(0, len(rows)-1)
}
