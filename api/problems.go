package api

import (
	"context"
	"errors"
	"math"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"hatchwright/service"
	"hatchwright/service/access"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/finding"
	"hatchwright/service/order"
	"hatchwright/service/quantity"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// problem is a kind of problem: its name on the wire, its status, and the page
// that explains it.
type problem struct {
	name    string // last part of the type
	status  int
	title   string
	meaning string
	remedy  string
	// outside is what those outside the shop are told in place of the detail, where that
	// tells of the shop's molds and stock; "" for the detail itself.
	outside string
	// retry is the Retry-After to send, seconds; 0 for none.
	retry int
}

// problems are all of them by name, for the pages.
var problems = map[string]*problem{}

// listed enters a problem among them.
func listed(p problem) *problem {
	if problems[p.name] != nil {
		panic("two problems have the name " + p.name)
	}
	problems[p.name] = &p
	return &p
}

// The problems. This is the only place where a status is decided.
var (
	problemMalformed = listed(problem{name: "malformed-body", status: http.StatusBadRequest, title: "The body cannot be read",
		meaning: "The body is not one JSON document in UTF-8, or it has a key twice, nests too deeply, or holds numbers or lists beyond all measure.",
		remedy:  "Mend the text at the place that errors name. Send exactly one JSON document, with nothing after it and each key once in its object."})
	problemInvalid = listed(problem{name: "invalid-request", status: http.StatusBadRequest, title: "The request breaks the contract",
		meaning: "The body or a parameter has an unknown field, a wrong type, a word that is not known, a figure out of all range, or figures that do not go together.",
		remedy:  "Look at errors: each has a pointer into the body (RFC 6901) or the name of a parameter, a code and what to mend. The contract is at /docs. Unknown fields are refused so that a slip of the keyboard does not change a hatch."})
	problemUnauthenticated = listed(problem{name: "unauthenticated", status: http.StatusUnauthorized, title: "A key is needed",
		meaning: "No key was sent, or one that is unknown.",
		remedy:  "Send Authorization: Bearer and your key. If it was lost or revoked, ask the shop for another one; keys are shown once and kept only as a hash."})
	problemForbidden = listed(problem{name: "forbidden", status: http.StatusForbidden, title: "The key does not reach that far",
		meaning: "The key is good, but its role does not include this.",
		remedy:  "Use a key of the role that the detail names. The shop makes keys."})
	problemNotFound = listed(problem{name: "not-found", status: http.StatusNotFound, title: "Not there",
		meaning: "There is nothing here, or it belongs to someone else: the answer is the same, so that it does not tell which.",
		remedy:  "Check the path and the id, and that the key belongs to whoever owns it."})
	problemMethod = listed(problem{name: "method-not-allowed", status: http.StatusMethodNotAllowed, title: "Not with this method",
		meaning: "The path is there, but it does not answer this method.",
		remedy:  "Use one of the methods in the Allow header."})
	problemNotAcceptable = listed(problem{name: "not-acceptable", status: http.StatusNotAcceptable, title: "Not in that format",
		meaning: "The answer cannot be given in any of the formats that the Accept header names.",
		remedy:  "Ask for one of the formats that the detail lists."})
	problemConflict = listed(problem{name: "conflict", status: http.StatusConflict, title: "It collides with what is there",
		meaning: "Something of the same name or id is there already.",
		remedy:  "Use the one that is there, or choose another name."})
	problemLastShopKey = listed(problem{name: "last-shop-key", status: http.StatusConflict, title: "The last shop key stays",
		meaning: "Without this key the shop would have no key that opens for good, and only a shop key makes keys. Nothing was changed.",
		remedy:  "Make another shop key without an end first: POST /v1/keys, or hatchwright key new -role shop on the service's machine. Then this one can be revoked or rotated. Keys that end by themselves, the new key of a rotation without an overlap, and people of an identity provider do not count."})
	problemInProgress = listed(problem{name: "request-in-progress", status: http.StatusConflict, title: "Still being worked on",
		meaning: "A request with this Idempotency-Key has begun and not ended yet. Should the process that works on it have died, its claim lapses within 30 seconds; Retry-After says when.",
		remedy:  "Send the same request again: once the first has ended you get its answer, which may be sooner than Retry-After says; after that time yours is worked on unless the first is alive. Never take a new key for it: it could be done twice."})
	problemTooLarge = listed(problem{name: "body-too-large", status: http.StatusRequestEntityTooLarge, title: "The body is too large",
		meaning: "The body is larger than 1 MiB.",
		remedy:  "Send less at once. No configuration comes near this size."})
	problemMediaType = listed(problem{name: "unsupported-media-type", status: http.StatusUnsupportedMediaType, title: "Not JSON",
		meaning: "The body is announced as something else than application/json in UTF-8, or it is compressed.",
		remedy:  "Send Content-Type: application/json and no Content-Encoding."})
	problemNotMakeable = listed(problem{name: "not-makeable", status: http.StatusUnprocessableEntity, title: "It cannot be made as asked",
		meaning: "The configuration reads well, but the rules say that it cannot be made. The problem carries verdict, findings and the completed configuration.",
		remedy:  "Each finding of severity error names the figure, what was measured, the limit, and in mend the changes that put it right, each by itself. Make one and ask again."})
	problemNoMix = listed(problem{name: "outside-product-table", status: http.StatusUnprocessableEntity, title: "A product must not be worked at that temperature",
		meaning: "The temperature is outside the table of the resin, the gelcoat or the filler, or no permitted share of catalyst is left there. Nothing is guessed beyond a product's own table. The problem carries the findings: which product, and within what it would do.",
		remedy:  "Warm or cool the shop to within the limits of every finding and ask with that temperature, or keep a new configuration with a product whose table goes that far."})
	problemKeyReused = listed(problem{name: "idempotency-key-reused", status: http.StatusUnprocessableEntity, title: "The Idempotency-Key is taken",
		meaning: "This Idempotency-Key was used with another request: another path, method or body.",
		remedy:  "Take a new key for each new request; use a key again only to repeat a request unchanged."})
	problemUnavailable = listed(problem{name: "unavailable", status: http.StatusServiceUnavailable, title: "Away for the moment", retry: 5,
		meaning: "The store cannot be reached or is overloaded, or the service is starting or stopping. Nothing was written, unless the detail says that it may have been.",
		remedy:  "Wait as Retry-After says and send the request again; with the same Idempotency-Key if it creates something."})
	problemTimeout = listed(problem{name: "timeout", status: http.StatusServiceUnavailable, title: "It took too long", retry: 5,
		meaning: "The request was not done within the time that the service allows.",
		remedy:  "Send it again later; with the same Idempotency-Key if it creates something. If it happens again, tell the shop the request id."})
	problemInternal = listed(problem{name: "internal", status: http.StatusInternalServerError, title: "A fault of the service",
		meaning: "Something went wrong that is not your doing.",
		remedy:  "Tell the shop the request id: it finds the request in the log. Sending it again may or may not help."})
)

// byKind maps the faults of the use cases.
var byKind = map[fault.Kind]*problem{
	fault.Internal:        problemInternal,
	fault.Malformed:       problemMalformed,
	fault.Invalid:         problemInvalid,
	fault.Unauthenticated: problemUnauthenticated,
	fault.Forbidden:       problemForbidden,
	fault.NotFound:        problemNotFound,
	fault.Conflict:        problemConflict,
	fault.InProgress:      problemInProgress,
	fault.KeyReused:       problemKeyReused,
	fault.Unavailable:     problemUnavailable,
	fault.Timeout:         problemTimeout,
	fault.Canceled:        problemTimeout, // nobody is there to read it
	fault.Busy:            problemBusy,
}

// httpError is a problem that only HTTP knows.
type httpError struct {
	problem *problem
	detail  string
}

func (e *httpError) Error() string { return e.detail }

// said is what an error comes to.
type said struct {
	*problem
	detail string
	after  int // Retry-After, seconds; 0 for the problem's own
	fields []fault.Field
	ruling *derivation.Ruling // of what cannot be made
	// findings are those of a problem without a ruling; units are theirs.
	findings []finding.Finding
	units    quantity.System
	version  int // the present one of what changed meanwhile, told as its ETag; 0: not known
}

// judge turns an error into what is said of it.
func judge(err error) said {
	var h *httpError
	var l *rateError
	var n *service.NotMakeableError
	var m *service.NoMixError
	var f *fault.Error
	var e *echo.HTTPError
	switch {
	case errors.As(err, &h):
		return said{problem: h.problem, detail: h.detail}
	case errors.As(err, &l):
		return said{problem: l.problem, detail: l.detail, after: l.after}
	case errors.As(err, &n):
		return said{problem: problemNotMakeable, detail: "The rules say that this hatch cannot be made as asked; see findings.", ruling: &n.Ruling}
	case errors.As(err, &m):
		s := said{problem: problemNoMix, detail: "There are no mixes at this temperature; see findings.", findings: m.Findings, units: m.Units}
		for i := range m.Findings {
			f := &m.Findings[i]
			s.fields = append(s.fields, fault.Field{Parameter: "temperature", Code: f.Code, Message: f.Message(m.Units)})
		}
		return s
	case errors.As(err, &f):
		p, version := byKind[f.Kind], 0
		var r *order.Refusal
		if errors.As(err, &r) && byReason[r.Reason] != nil {
			p = byReason[r.Reason]
			version = r.Version
		}
		var moved *stockroom.Refusal
		if errors.As(err, &moved) && byStockReason[moved.Reason] != nil {
			p = byStockReason[moved.Reason]
		}
		if errors.Is(err, service.ErrMoldRetired) {
			p = problemMoldRetired
		}
		if errors.Is(err, access.ErrLastShopKey) {
			p = problemLastShopKey
		}
		if errors.Is(err, store.ErrCursor) {
			p = problemCursor
		}
		if of := tokenProblem(err); of != nil {
			p = of
		}
		if p == nil {
			p = problemInternal
		}
		return said{problem: p, detail: f.Detail, fields: f.Fields, version: version, after: int(math.Ceil(f.After.Seconds()))}
	case errors.As(err, &e) && e.Code == http.StatusNotFound:
		return said{problem: problemNotFound, detail: "There is nothing at this path. The paths that there are stand in /docs."}
	case errors.As(err, &e) && e.Code == http.StatusMethodNotAllowed:
		return said{problem: problemMethod, detail: "This path does not answer this method; see Allow."}
	case errors.Is(err, context.DeadlineExceeded):
		return said{problem: problemTimeout, detail: "The request took too long."}
	}
	return said{problem: problemInternal, detail: "Something went wrong that is not your doing."}
}

const problemType = "application/problem+json"

// fail answers with the problem that an error comes to.
func (a *api) fail(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	s := judge(err)
	role, _ := c.Get(roleOfCaller).(record.Role) // none: as little as a storefront
	if s.outside != "" && role != record.RoleShop {
		s.detail = s.outside
	}
	h := c.Response().Header()
	if after := max(s.after, s.retry); after > 0 {
		h.Set("Retry-After", strconv.Itoa(after))
	}
	if s.version > 0 {
		h.Set("ETag", versionTag(s.version))
	}
	if s.status == http.StatusUnauthorized {
		h.Set("WWW-Authenticate", `Bearer realm="hatchwright"`)
	}
	if s.status >= http.StatusInternalServerError && !errors.Is(err, errClosing) { // whoever balances the load asks again and again
		a.log.ErrorContext(c.Request().Context(), "request failed", "request_id", requestID(c), "problem", s.name, "error", err)
	}
	w := newWriter(s.system())
	defer w.free()
	w.problem("", s, requestID(c))
	if err := w.err(); err != nil && s.ruling != nil {
		a.fail(err, c)
		return
	}
	body, err := a.told.problem.told(role, w.buf)
	if err != nil {
		a.log.ErrorContext(c.Request().Context(), "problem not told", "request_id", requestID(c), "error", err)
		body = nil
	}
	if err := c.Blob(s.status, problemType, body); err != nil {
		a.log.DebugContext(c.Request().Context(), "answer not sent", "request_id", requestID(c), "error", err)
	}
}

// system is what the problem's lengths are written in.
func (s *said) system() quantity.System {
	if s.ruling != nil {
		return s.ruling.Configuration.Units
	}
	return s.units
}

func (w *writer) problem(k string, s said, id string) {
	w.object(k)
	w.text("type", "/problems/"+s.name)
	w.text("title", s.title)
	w.integer("status", s.status)
	w.text("detail", s.detail)
	w.text("request_id", id)
	w.list("errors")
	for _, f := range s.fields {
		w.object("")
		w.text("pointer", f.Pointer)
		if f.Parameter != "" {
			w.text("parameter", f.Parameter)
		}
		w.text("code", f.Code)
		w.text("message", f.Message)
		if f.Range != "" {
			w.text("range", f.Range)
		}
		w.end()
	}
	w.endList()
	switch {
	case s.ruling != nil:
		w.ruling(s.ruling)
	case len(s.findings) > 0:
		w.list("findings")
		for i := range s.findings {
			w.finding(&s.findings[i])
		}
		w.endList()
	}
	w.end()
}
