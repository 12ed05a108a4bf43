package api

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/routers"
	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"hatchwright/openapi"
	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// operation is a route with what the document says of it.
type operation struct {
	route
	router     *routers.Route
	parameters []*openapi3.Parameter
	query      map[string]*openapi3.Parameter
	body       *openapi3.Schema // nil: takes none
	answers    map[int]views    // what of its JSON answers whom is told, by status
	apart      string           // member of the body whose rows are each judged by themselves; "" for none
	whole      bool             // the use case judges the body, see wholeKey
}

// apartKey marks, in the document, an operation that judges the rows of one
// member of the body by themselves: a bad row spoils itself alone.
const apartKey = "x-judged-apart"

// wholeKey marks, in the document, an operation whose body the use case holds against
// the same ranges as the schema has, beside all else that it asks: so that every fault
// is told at once, in the order of the body.
const wholeKey = "x-judged-whole"

func newOperation(doc *openapi3.T, item *openapi3.PathItem, r route) (*operation, error) {
	op := item.GetOperation(r.method)
	o := &operation{route: r, query: map[string]*openapi3.Parameter{}}
	o.router = &routers.Route{Spec: doc, Path: r.path, PathItem: item, Method: r.method, Operation: op}
	for _, list := range []openapi3.Parameters{item.Parameters, op.Parameters} {
		for _, p := range list {
			o.parameters = append(o.parameters, p.Value)
			if p.Value.In == openapi3.ParameterInQuery {
				o.query[p.Value.Name] = p.Value
			}
		}
	}
	if op.RequestBody != nil {
		o.body = op.RequestBody.Value.Content.Get("application/json").Schema.Value
		o.apart, _ = op.Extensions[apartKey].(string)
		o.whole, _ = op.Extensions[wholeKey].(bool)
	}
	var err error
	o.answers, err = answers(op)
	return o, err
}

// known names the query parameters that there are.
func (o *operation) known() string {
	if len(o.query) == 0 {
		return "None is known."
	}
	return "Known here: " + strings.Join(slices.Sorted(maps.Keys(o.query)), ", ") + "."
}

// call is one request on its way through a handler.
type call struct {
	echo.Context
	operation *operation
	caller    service.Caller
	body      []byte
	tree      any // the body, decoded
	// values are what was given of path and query, read as the document says:
	// see readParameter.
	values map[string]any
	// faults are those of rows that are judged by themselves, by the row.
	faults map[int][]fault.Field
}

// read takes the request in and holds all of it against the document: what is wrong
// with parameters and with the body is told at once.
func (c *call) read() error {
	if err := c.mayAsk(); err != nil {
		return err
	}
	fields := c.readParameters()
	var err error
	if c.operation.body == nil {
		fields = append(fields, c.noBody()...)
	} else {
		var inBody []fault.Field
		inBody, err = c.readBody()
		fields = append(fields, inBody...)
	}
	var f *fault.Error
	switch {
	case len(fields) == 0:
		return err
	case err == nil:
		return invalid(fields)
	case errors.As(err, &f) && f.Kind == fault.Malformed && len(f.Fields) > 0:
		all := *f
		all.Fields = append(fields, f.Fields...)
		all.Fields = all.Fields[:min(len(all.Fields), mostFaults)]
		return &all
	}
	return err
}

// noBody refuses a body where none is taken: what it says would be left out. An empty
// object says nothing.
func (c *call) noBody() []fault.Field {
	const enough = 1024 // of white space and an empty object
	body := c.Request().Body
	if body == nil || body == http.NoBody {
		return nil
	}
	text, err := io.ReadAll(io.LimitReader(body, enough))
	if said := bytes.TrimSpace(text); err == nil && len(text) < enough && (len(said) == 0 || string(said) == "{}") {
		return nil
	}
	return []fault.Field{{Code: "unexpected_body", Message: "This takes no body. Leave it out; what can be asked for here is asked for in the path and the query."}}
}

// readBody reads the body once, refuses what is not JSON in UTF-8 or is too
// large, decodes it and holds it against the document.
func (c *call) readBody() ([]fault.Field, error) {
	r := c.Request()
	if err := mediaType(r.Header); err != nil {
		return nil, err
	}
	tooLarge := &httpError{problemTooLarge, "The body is larger than 1 MiB."}
	if r.ContentLength > largestBody {
		return nil, tooLarge
	}
	body, err := io.ReadAll(http.MaxBytesReader(c.Response(), r.Body, largestBody))
	if err != nil {
		var over *http.MaxBytesError
		if errors.As(err, &over) {
			return nil, tooLarge
		}
		if errors.Is(r.Context().Err(), context.DeadlineExceeded) {
			return nil, fault.Wrap(fault.Timeout, err, "The body did not arrive in time.")
		}
		return nil, fault.Wrap(fault.Malformed, err, "The body did not arrive whole.")
	}
	c.body = body
	if c.tree, err = decodeStrict(body); err != nil {
		return nil, err
	}
	if c.operation.whole {
		return nil, nil
	}
	fields := checkSchema(c.operation.body, c.tree)
	if c.operation.apart != "" {
		fields, c.faults = setApart(fields, "/"+c.operation.apart+"/")
	}
	return fields, nil
}

// setApart takes out the faults of rows below a pointer, by the row.
func setApart(fields []fault.Field, below string) (rest []fault.Field, rows map[int][]fault.Field) {
	rows = map[int][]fault.Field{}
	for _, f := range fields {
		if row, ok := strings.CutPrefix(f.Pointer, below); ok {
			row, _, _ = strings.Cut(row, "/")
			if i, err := strconv.Atoi(row); err == nil {
				rows[i] = append(rows[i], f)
				continue
			}
		}
		rest = append(rest, f)
	}
	return rest, rows
}

func mediaType(h http.Header) error {
	if e := strings.Join(h.Values("Content-Encoding"), ","); e != "" && !strings.EqualFold(e, "identity") {
		return &httpError{problemMediaType, "The body is compressed; send it plain."}
	}
	kind, parameters, err := mime.ParseMediaType(strings.Join(h.Values("Content-Type"), ","))
	if err != nil || kind != "application/json" {
		return &httpError{problemMediaType, "The body is not announced as application/json."}
	}
	if set := parameters["charset"]; set != "" && !strings.EqualFold(set, "utf-8") {
		return &httpError{problemMediaType, "JSON is UTF-8; another charset is announced."}
	}
	return nil
}

// object returns the body, which the schema says is an object.
func (c *call) object() map[string]any { return c.tree.(map[string]any) }

// text returns the text at a key of the body, "" where it is null or left out.
func (c *call) text(key string) string {
	s, _ := c.object()[key].(string)
	return s
}

// id returns the id in the path; the document says it is a UUID.
func (c *call) id() (uuid.UUID, error) { return parseID(c.Param("id"), "id") }

func parseID(text, parameter string) (uuid.UUID, error) {
	id, err := uuid.Parse(text)
	if err != nil {
		return id, invalid([]fault.Field{{Parameter: parameter, Code: "wrong_form", Message: "This must be " + formatName("uuid") + "."}})
	}
	return id, nil
}

// bodyID returns the id at a key of the body, nil where it is null or left out.
func (c *call) bodyID(key string) *uuid.UUID { return formatted(c.text(key), uuid.Parse) }

// bodyTime returns the time at a key of the body, nil where it is null or left out.
func (c *call) bodyTime(key string) *time.Time { return formatted(c.text(key), openapi.ParseTime) }

// formatted reads a text of the body that the document says is of a format, nil for "".
// The document lets nothing else through, by the same reader; one that it does let
// through is a fault of the document and is answered as one, never left out.
func formatted[T any](text string, read func(string) (T, error)) *T {
	if text == "" {
		return nil
	}
	v, err := read(text)
	if err != nil {
		panic(fmt.Sprintf("the document lets %q through: %v", text, err))
	}
	return &v
}

// page returns which page of a list is asked for.
func (c *call) page() store.Page {
	limit, given := parameter[int](c, "limit")
	if !given {
		limit = store.DefaultLimit
	}
	return store.Page{Limit: limit, Cursor: c.queryText("cursor")}
}

// claim returns the request's Idempotency-Key, nil when it has none.
func (c *call) claim() *service.Claim {
	key := c.Request().Header.Get("Idempotency-Key")
	if key == "" {
		return nil
	}
	return &service.Claim{Key: key, Method: c.operation.method, Route: c.operation.path, Path: c.Request().URL.Path, Body: c.body}
}

const jsonType = "application/json"

// send answers with what was written.
func (c *call) send(status int, w *writer) error { //nolint:unparam // what is answered is said where it is answered
	if err := w.err(); err != nil {
		return err
	}
	return c.Blob(status, jsonType, w.buf)
}

// give answers with an answer of a use case, headers and all.
func (c *call) give(a record.Answer, err error) error {
	if err != nil {
		return err
	}
	for name, values := range a.Header {
		for _, v := range values {
			c.Response().Header().Add(name, v)
		}
	}
	return c.Blob(a.Status, jsonType, a.Body)
}
