package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/google/uuid"

	"hatchwright/openapi"
	"hatchwright/service/civil"
	"hatchwright/service/fault"
)

// onceHeaders are headers of which one is read: of two, one would be left out.
var onceHeaders = []string{"Idempotency-Key", "If-Match", "Last-Event-ID"}

// spans are pairs of query parameters that are the ends of a stretch of time.
var spans = [][2]string{{"created_from", "created_before"}, {"promised_from", "promised_to"}}

// readParameters holds path, query and header parameters against the document, and
// reads those of path and query. It returns everything that is wrong with them.
func (c *call) readParameters() []fault.Field {
	o := c.operation
	request := c.Request()
	values, fields := splitQuery(request.URL.RawQuery)
	bad := map[string]bool{}
	refuse := func(name, code, message string) {
		bad[name] = true
		fields = append(fields, fault.Field{Parameter: strings.ToValidUTF8(name, "\uFFFD"), Code: code, Message: message})
	}
	for _, name := range slices.Sorted(maps.Keys(values)) { // the same faults in the same order each time
		v := values[name]
		switch {
		case o.query[name] == nil:
			refuse(name, "unknown_parameter", "There is no such query parameter here. "+o.known())
		case len(v) > 1:
			refuse(name, "duplicate_parameter", "Give this once.")
		case v[0] == "":
			refuse(name, "empty", "This is empty; leave it out instead.")
		case !utf8.ValidString(v[0]):
			refuse(name, "not_utf8", notUTF8)
		}
	}
	path := map[string]string{}
	for i, name := range c.ParamNames() {
		if path[name] = c.ParamValues()[i]; !utf8.ValidString(path[name]) {
			refuse(name, "not_utf8", notUTF8)
		}
	}
	for _, name := range onceHeaders {
		if len(request.Header.Values(name)) > 1 {
			refuse(name, "duplicate_parameter", "Give this once.")
		}
	}
	input := &openapi3filter.RequestValidationInput{
		Request: request, QueryParams: values, Route: o.router, PathParams: path,
		Options: &openapi3filter.Options{MultiError: true, SkipSettingDefaults: true},
	}
	c.values = map[string]any{}
	for _, p := range o.parameters {
		_, sent := request.Header[p.Name]
		switch {
		case bad[p.Name]:
			continue
		case p.In == openapi3.ParameterInHeader && sent && request.Header.Get(p.Name) == "":
			refuse(p.Name, "empty", "This is empty; leave it out instead.")
			continue
		}
		if err := openapi3filter.ValidateParameter(request.Context(), input, p); err != nil {
			fields = append(fields, parameterFields(p, err)...)
			continue
		}
		text, sent := path[p.Name]
		if p.In == openapi3.ParameterInQuery {
			text, sent = values.Get(p.Name), values.Has(p.Name)
		}
		if !sent || p.In == openapi3.ParameterInHeader {
			continue
		}
		v, ok := readParameter(p.Schema.Value, text)
		if !ok {
			refuse(p.Name, "wrong_type", "This must be "+typeName(p.Schema.Value)+".")
			continue
		}
		c.values[p.Name] = v
	}
	return append(fields, c.checkSpans()...)
}

// splitQuery takes a query apart. A part that is not escaped as it should be is told:
// the standard library leaves it out.
func splitQuery(query string) (url.Values, []fault.Field) {
	values, err := url.ParseQuery(query)
	if err == nil {
		return values, nil
	}
	var fields []fault.Field
	for part := range strings.SplitSeq(query, "&") {
		if _, err := url.ParseQuery(part); err != nil {
			name, _, _ := strings.Cut(part, "=")
			fields = append(fields, fault.Field{Parameter: strings.ToValidUTF8(name, "\uFFFD"), Code: "wrong_form",
				Message: "This part of the query is not escaped as it should be: write %25 for a percent sign, %3B for a semicolon, and & between parameters."})
		}
	}
	return values, fields
}

// readParameter reads the text of a parameter that keeps to its schema, as a bool,
// an int, a float64, a uuid.UUID, a civil.Date, a time.Time or a string. Numbers and
// truth values are written as in JSON: the validator takes more, and what one reader
// takes for true another takes for false.
func readParameter(schema *openapi3.Schema, text string) (v any, ok bool) {
	var err error
	switch {
	case schema.Type.Is(openapi3.TypeBoolean):
		return text == "true", text == "true" || text == "false"
	case schema.Type.Is(openapi3.TypeInteger):
		n, err := strconv.Atoi(text)
		return n, err == nil && strconv.Itoa(n) == text
	case schema.Type.Is(openapi3.TypeNumber):
		var x float64
		err = json.Unmarshal([]byte(text), &x)
		return x, err == nil && text != "null" && strings.TrimSpace(text) == text
	case schema.Format == "uuid":
		v, err = uuid.Parse(text)
	case schema.Format == "date-time":
		v, err = openapi.ParseTime(text)
	case schema.Format == "date":
		var t time.Time
		t, err = openapi.ParseDate(text)
		v = civil.DateOf(t, time.UTC)
	default:
		v = text
	}
	return v, err == nil
}

// checkSpans refuses a stretch of time that ends before it begins: nothing is in it,
// and an empty list would say that there is nothing.
func (c *call) checkSpans() (fields []fault.Field) {
	for _, s := range spans {
		from, to := c.values[s[0]], c.values[s[1]]
		backward := false
		switch from := from.(type) {
		case time.Time:
			to, ok := to.(time.Time)
			backward = ok && to.Before(from)
		case civil.Date:
			to, ok := to.(civil.Date)
			backward = ok && to.Compare(from) < 0
		}
		if backward {
			fields = append(fields, fault.Field{Parameter: s[1], Code: "order", Message: "This is before " + s[0] + ", so nothing can be between them. Exchange the two."})
		}
	}
	return fields
}

// parameter returns a parameter of path or query as readParameter read it, and whether
// it was given. A name or a type that the document has otherwise is a fault of the
// program.
func parameter[T any](c *call, name string) (value T, given bool) {
	if !slices.ContainsFunc(c.operation.parameters, func(p *openapi3.Parameter) bool { return p.Name == name && p.In != openapi3.ParameterInHeader }) {
		panic(fmt.Sprintf("%s %s has no parameter %q", c.operation.method, c.operation.path, name))
	}
	v, given := c.values[name]
	if !given {
		return value, false
	}
	value, ok := v.(T)
	if !ok {
		panic(fmt.Sprintf("%s %s: the parameter %q is a %T", c.operation.method, c.operation.path, name, v))
	}
	return value, true
}

// queryText returns a query parameter that is a text, "" where it is not given.
func (c *call) queryText(name string) string {
	s, _ := parameter[string](c, name)
	return s
}

// queryTrue tells whether a query parameter is given and true.
func (c *call) queryTrue(name string) bool {
	b, _ := parameter[bool](c, name)
	return b
}

// queryInt returns a query parameter that is a whole number, 0 where it is not given.
func (c *call) queryInt(name string) int {
	n, _ := parameter[int](c, name)
	return n
}

// queryID returns a query parameter that is an id, nil where it is not given.
func (c *call) queryID(name string) *uuid.UUID {
	id, given := parameter[uuid.UUID](c, name)
	if !given {
		return nil
	}
	return &id
}

// queryTime returns a query parameter that is a time, zero where it is not given.
func (c *call) queryTime(name string) time.Time {
	t, _ := parameter[time.Time](c, name)
	return t
}

// queryDate returns a query parameter that is a date, the zero date where it is not
// given.
func (c *call) queryDate(name string) civil.Date {
	d, _ := parameter[civil.Date](c, name)
	return d
}

// queryDay returns a query parameter that is a date as its text, "" where it is not
// given.
func (c *call) queryDay(name string) string {
	d, given := parameter[civil.Date](c, name)
	if !given {
		return ""
	}
	return d.String()
}

// notUTF8 refuses a value that escapes bytes that are no text. The document's
// patterns let them through, and PostgreSQL keeps and compares text alone.
const notUTF8 = "This is not valid UTF-8; escape the bytes of the text in UTF-8."

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
