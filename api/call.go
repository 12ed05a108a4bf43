package api

import (
	"context"
	"errors"
	"io"
	"maps"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

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
	query      map[string]bool
	body       *openapi3.Schema // nil: takes none
	apart      string           // member of the body whose rows are each judged by themselves; "" for none
}

// apartKey marks, in the document, an operation that judges the rows of one
// member of the body by themselves: a bad row spoils itself alone.
const apartKey = "x-judged-apart"

func newOperation(doc *openapi3.T, item *openapi3.PathItem, r route) *operation {
	op := item.GetOperation(r.method)
	o := &operation{route: r, query: map[string]bool{}}
	o.router = &routers.Route{Spec: doc, Path: r.path, PathItem: item, Method: r.method, Operation: op}
	for _, list := range []openapi3.Parameters{item.Parameters, op.Parameters} {
		for _, p := range list {
			o.parameters = append(o.parameters, p.Value)
			if p.Value.In == openapi3.ParameterInQuery {
				o.query[p.Value.Name] = true
			}
		}
	}
	if op.RequestBody != nil {
		o.body = op.RequestBody.Value.Content.Get("application/json").Schema.Value
		o.apart, _ = op.Extensions[apartKey].(string)
	}
	return o
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
	// faults are those of rows that are judged by themselves, by the row.
	faults map[int][]fault.Field
}

// read takes the request in and holds it against the document.
func (c *call) read() error {
	if err := c.checkParameters(); err != nil || c.operation.body == nil {
		return err
	}
	return c.readBody()
}

// checkParameters holds path, query and header parameters against the document.
func (c *call) checkParameters() error {
	o := c.operation
	request := c.Request()
	values := c.QueryParams()
	var fields []fault.Field
	for _, name := range slices.Sorted(maps.Keys(values)) { // the same faults in the same order each time
		v := values[name]
		switch {
		case !o.query[name]:
			fields = append(fields, fault.Field{Parameter: strings.ToValidUTF8(name, "\uFFFD"), Code: "unknown_parameter", Message: "There is no such query parameter here. " + o.known()})
		case len(v) > 1:
			fields = append(fields, fault.Field{Parameter: name, Code: "duplicate_parameter", Message: "Give this once."})
		case !utf8.ValidString(v[0]):
			fields = append(fields, notUTF8(name))
		}
	}
	for i, name := range c.ParamNames() {
		if !utf8.ValidString(c.ParamValues()[i]) {
			fields = append(fields, notUTF8(name))
		}
	}
	for _, name := range []string{"Idempotency-Key", "Last-Event-ID"} { // one of two would be taken for both
		if len(request.Header.Values(name)) > 1 {
			fields = append(fields, fault.Field{Parameter: name, Code: "duplicate_parameter", Message: "Give this once."})
		}
	}
	if len(o.parameters) > 0 {
		input := &openapi3filter.RequestValidationInput{
			Request: request, QueryParams: values, Route: o.router, PathParams: map[string]string{},
			Options: &openapi3filter.Options{MultiError: true, SkipSettingDefaults: true},
		}
		for i, name := range c.ParamNames() {
			input.PathParams[name] = c.ParamValues()[i]
		}
		for _, p := range o.parameters {
			if err := openapi3filter.ValidateParameter(request.Context(), input, p); err != nil {
				fields = append(fields, parameterFields(p, err)...)
			}
		}
	}
	if len(fields) > 0 {
		return invalid(fields)
	}
	return nil
}

// notUTF8 refuses a value that escapes bytes that are no text. The document's
// patterns let them through, and PostgreSQL keeps and compares text alone.
func notUTF8(parameter string) fault.Field {
	return fault.Field{Parameter: parameter, Code: "not_utf8", Message: "This is not valid UTF-8; escape the bytes of the text in UTF-8."}
}

func parameterFields(p *openapi3.Parameter, err error) []fault.Field {
	collect := collector{seen: map[string]bool{}, parameter: p.Name}
	var asked *openapi3filter.RequestError
	switch {
	case errors.As(err, &asked) && errors.Is(asked.Err, openapi3filter.ErrInvalidRequired):
		collect.add("", "missing", "This must be given.")
	case errors.As(err, &asked) && errors.Is(asked.Err, openapi3filter.ErrInvalidEmptyValue):
		collect.add("", "empty", "This is empty; leave it out instead.")
	case errors.As(err, &asked) && asked.Err != nil && !isParse(asked.Err):
		collect.take(asked.Err)
	default:
		collect.add("", "wrong_type", "This must be %s.", typeName(p.Schema.Value))
	}
	return collect.fields
}

func isParse(err error) bool {
	var p *openapi3filter.ParseError
	return errors.As(err, &p)
}

// readBody reads the body once, refuses what is not JSON in UTF-8 or is too
// large, decodes it and holds it against the document.
func (c *call) readBody() error {
	r := c.Request()
	if err := mediaType(r.Header); err != nil {
		return err
	}
	tooLarge := &httpError{problemTooLarge, "The body is larger than 1 MiB."}
	if r.ContentLength > largestBody {
		return tooLarge
	}
	body, err := io.ReadAll(http.MaxBytesReader(c.Response(), r.Body, largestBody))
	if err != nil {
		var over *http.MaxBytesError
		if errors.As(err, &over) {
			return tooLarge
		}
		if errors.Is(r.Context().Err(), context.DeadlineExceeded) {
			return fault.Wrap(fault.Timeout, err, "The body did not arrive in time.")
		}
		return fault.Wrap(fault.Malformed, err, "The body did not arrive whole.")
	}
	c.body = body
	if c.tree, err = decodeStrict(body); err != nil {
		return err
	}
	fields := checkSchema(c.operation.body, c.tree)
	if c.operation.apart != "" {
		fields, c.faults = setApart(fields, "/"+c.operation.apart+"/")
	}
	if len(fields) > 0 {
		return invalid(fields)
	}
	return nil
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
	if e := h.Get("Content-Encoding"); e != "" && !strings.EqualFold(e, "identity") {
		return &httpError{problemMediaType, "The body is compressed; send it plain."}
	}
	kind, parameters, err := mime.ParseMediaType(h.Get("Content-Type"))
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
func (c *call) bodyID(key string) *uuid.UUID {
	id, err := uuid.Parse(c.text(key))
	if err != nil {
		return nil // the schema lets only UUIDs and null through
	}
	return &id
}

// queryID returns a query parameter that is an id, nil where it is not given.
func (c *call) queryID(name string) *uuid.UUID {
	id, err := uuid.Parse(c.QueryParam(name))
	if err != nil {
		return nil // the document lets only UUIDs through
	}
	return &id
}

// page returns which page of a list is asked for.
func (c *call) page() store.Page {
	limit, err := strconv.Atoi(c.QueryParam("limit"))
	if err != nil {
		limit = store.DefaultLimit
	}
	return store.Page{Limit: limit, Cursor: c.QueryParam("cursor")}
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
