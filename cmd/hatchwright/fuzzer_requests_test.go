package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

// drawn is a request that was drawn.
type drawn struct {
	operation *operationOf
	target    string // path and query, as they stand in the request
	headers   [][2]string
	body      []byte // nil: none
	tree      any    // what the body says, when nothing was done to its text
	changes   []string
}

func (q *drawn) head(n int) string { return shorten(q.operation.route.Method+" "+q.target, n) }

// String is the request as it may be sent again, but for the middle of a long body.
func (q *drawn) String() string {
	var b strings.Builder
	b.WriteString(q.head(2500))
	for _, h := range q.headers {
		fmt.Fprintf(&b, "\n  %s: %q", h[0], shorten(h[1], 300))
	}
	if q.body != nil {
		fmt.Fprintf(&b, "\n  %s (%d bytes)", shorten(strconv.QuoteToGraphic(string(q.body[:min(len(q.body), 4000)])), 4000), len(q.body))
	}
	return b.String()
}

func (q *drawn) changed(format string, args ...any) {
	q.changes = append(q.changes, shorten(fmt.Sprintf(format, args...), 200))
}

// raw is JSON, or what should be, as it is to be written.
type raw string

// drawing is a request on its way.
type drawing struct {
	*drawn
	w *fuzzer
	r *rand.Rand
}

// one in n.
func (d *drawing) one(n int) bool { return d.r.IntN(n) == 0 }

func pick[T any](d *drawing, list []T) T { return list[d.r.IntN(len(list))] }

// oddTexts are texts that are sent in the place of others.
var oddTexts = []string{
	"", " ", "x", "null", "true", "0", "-1", "1.5", "NaN", "../../etc/passwd", "a\x00b", "a\nb", "\u202e2026", "\u00fc\u0308", "\U0001f6a4", "\xff\xfe", "\xc3",
	"' OR '1'='1", "%", "%2e%2e", "<script>", "2027-02-30", "2016-12-31T23:59:60Z", "0001-01-01", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "2026-11-30T08:00:00",
	"2026-11-30T08:00:00+23:59", "2026-02-29", "00000000-0000-0000-0000-000000000000", "01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55", "{01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55}",
	strings.Repeat("a", 61), strings.Repeat("\u00e9", 201), strings.Repeat("z", 1500), "sha256:00", `"3"`, `W/"3"`, "*", "data:text/plain,x", "hw_", "=1+1", "1e999", "007",
}

var oddAccepts = []string{"*/*", "application/json", "application/*", "text/csv", "text/csv;q=0.5, application/json;q=0.1", "application/json;q=0", "*/*;q=0", "image/png", "nonsense", "a/b/c", ";;;",
	"application/json;q=2", "application/json;q=x", `text/csv;x="a,b"`, "text/html, image/gif, *; q=.2, */*; q=.2", ",,,", strings.Repeat("a/b,", 300) + "image/svg+xml", "application/problem+json", "text/event-stream"}

var oddContentTypes = []string{"text/plain", "application/json; charset=latin1", "application/json; charset=UTF-8", "application/", "", "multipart/form-data; boundary=x", "application/xml", "application/json, text/plain", "APPLICATION/JSON"}

// draw draws a request to an operation.
func (w *fuzzer) draw(r *rand.Rand, o *operationOf) *drawn {
	d := &drawing{drawn: &drawn{operation: o}, w: w, r: r}
	d.credentials()
	path := d.path()
	query := d.query()
	d.target = path + query
	d.headersOf(path)
	d.bodyOf()
	return d.drawn
}

func (d *drawing) header(name, value string) {
	if strings.ContainsAny(value, "\r\n\x00") || !validHeader(value) {
		value = "odd"
	}
	d.headers = append(d.headers, [2]string{http.CanonicalHeaderKey(name), value})
}

func validHeader(s string) bool {
	for i := range len(s) {
		if c := s[i]; c < ' ' && c != '\t' || c == 0x7f {
			return false
		}
	}
	return true
}

func (d *drawing) credentials() {
	who := "shop"
	switch n := d.r.IntN(100); {
	case n < 65:
	case n < 80:
		who = "dealer"
	case n < 85:
		who = "dealer 2"
	case n < 92:
		who = "storefront"
	case n < 95:
		d.changed("no key")
		return
	default:
		d.changed("odd key")
		d.header("Authorization", pick(d, []string{"Bearer", "Bearer hw_", "Basic eDp5", "bearer " + d.w.keys["shop"], "Bearer  " + d.w.keys["dealer"], "Bearer " + strings.Repeat("x", 1000), "Bearer a.b.c", "hw_demo", "Bearer \xff"}))
		return
	}
	d.header("Authorization", "Bearer "+d.w.keys[who])
}

// path fills the places of the path.
func (d *drawing) path() string {
	parts := strings.Split(d.operation.route.Path, "/")
	owner := ""
	for i, part := range parts {
		name, isPlace := strings.CutPrefix(part, "{")
		if !isPlace {
			continue
		}
		name = strings.TrimSuffix(name, "}")
		var p *openapi3.Parameter
		for _, x := range d.operation.params {
			if x.In == openapi3.ParameterInPath && x.Name == name {
				p = x
			}
		}
		kind := name
		if name == "id" {
			kind = singular(parts[i-1])
		}
		value := ""
		known := d.w.pool.values[kind+" of "+owner]
		if len(known) == 0 {
			known = d.w.pool.values[kind]
		}
		switch {
		case d.one(25):
			value = pick(d, oddTexts)
			if strings.Trim(value, ". ") == "" || strings.ContainsAny(value, "/\x00") { // another path
				value = "odd"
			}
			d.changed("{%s} is %q", name, value)
		case len(known) > 0 && !d.one(10):
			value = pick(d, known)
		case p != nil && p.Example != nil:
			value = fmt.Sprint(p.Example)
		case p != nil:
			value = textOf(d.make(p.Schema.Value, name, 0))
		}
		if name == "version" && d.one(2) {
			value = strconv.Itoa(1 + d.r.IntN(4))
		}
		if value == "" {
			value = "x"
		}
		owner = value
		parts[i] = url.PathEscape(value)
	}
	return strings.Join(parts, "/")
}

func textOf(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case nil:
		return ""
	}
	return fmt.Sprint(v)
}

// query gives some of the query parameters, most of them good.
func (d *drawing) query() string {
	var parts []string
	for _, p := range d.operation.params {
		if p.In != openapi3.ParameterInQuery || !p.Required && !d.one(4) {
			continue
		}
		value := ""
		known := d.w.pool.values[strings.TrimSuffix(p.Name, "_id")]
		if p.Name == "cursor" {
			known = d.w.pool.values["cursor "+d.operation.route.Path]
		}
		switch {
		case d.one(6):
			value = d.oddFor(p.Schema.Value)
			d.changed("%s is %q", p.Name, value)
		case len(known) > 0 && d.one(2):
			value = pick(d, known)
		default:
			value = textOf(d.make(p.Schema.Value, p.Name, 0))
		}
		parts = append(parts, p.Name+"="+url.QueryEscape(value))
		if d.one(60) {
			d.changed("%s twice", p.Name)
			parts = append(parts, p.Name+"="+url.QueryEscape(value))
		}
	}
	if d.one(40) {
		odd := pick(d, []string{"nonsense=1", "limit", "limit[]=1", "LIMIT=1", "=", "=1", "&&", "a=%zz", "a=1;b=2", "%FF=1", "limit=%00", "cursor=" + strings.Repeat("A", 1200)})
		d.changed("query has %s", odd)
		parts = append(parts, odd)
	}
	if len(parts) == 0 {
		return ""
	}
	return "?" + strings.Join(parts, "&")
}

// oddFor is a text at or beyond the ends of what a schema takes.
func (d *drawing) oddFor(s *openapi3.Schema) string {
	if s.Type.Is("number") || s.Type.Is("integer") {
		return textOf(d.oddNumber(s, 1))
	}
	return pick(d, oddTexts)
}

func (d *drawing) headersOf(path string) {
	for _, p := range d.operation.params {
		if p.In != openapi3.ParameterInHeader {
			continue
		}
		tags := d.w.pool.values["etag "+thing(path)]
		if d.operation.route.Method != http.MethodGet && len(tags) == 0 {
			tags = d.w.pool.values["etag"]
		}
		value := ""
		switch {
		case p.Name == "If-Match" && !d.one(6):
			if value = "*"; len(tags) > 0 && d.one(2) {
				value = pick(d, tags)
			}
		case strings.HasPrefix(p.Name, "If-"):
			if d.one(3) {
				continue
			}
			value = pick(d, append(slices.Clone(d.w.pool.values["etag"]), `"1"`, `W/"1"`, `"1", "2"`, "1", "*", `"`, "", `"999999999999"`, strings.Repeat("x", 900)))
			d.changed("%s is %q", p.Name, value)
		case p.Name == "Idempotency-Key":
			if !d.one(3) {
				continue
			}
			value = fmt.Sprintf("key-%d", d.r.IntN(500))
			if d.one(6) {
				value = pick(d, oddTexts)
				d.changed("%s is %q", p.Name, value)
			}
		case p.Name == "Last-Event-ID":
			known := d.w.pool.values["event"]
			if value = pick(d, oddTexts); len(known) > 0 && d.one(2) {
				value = pick(d, known)
			}
		default:
			value = textOf(d.make(p.Schema.Value, p.Name, 0))
		}
		d.header(p.Name, value)
		if d.one(80) {
			d.changed("%s twice", p.Name)
			d.header(p.Name, value)
		}
	}
	var media []string
	for _, status := range slices.Sorted(maps.Keys(d.operation.route.Operation.Responses.Map())) {
		if status == "200" {
			media = slices.Sorted(maps.Keys(d.operation.route.Operation.Responses.Value(status).Value.Content))
		}
	}
	switch {
	case len(media) > 1 && !d.one(5) || len(media) > 0 && d.one(3):
		d.header("Accept", pick(d, media))
	case d.one(6):
		odd := pick(d, oddAccepts)
		d.changed("Accept is %q", odd)
		d.header("Accept", odd)
	}
	if d.one(20) {
		name := pick(d, []string{"Traceparent", "X-Request-Id", "X-Forwarded-For", "Origin", "Range", "If-None-Match", "If-Modified-Since", "Accept-Encoding", "Content-Encoding", "Forwarded", "X-Http-Method-Override", "Cookie"})
		odd := pick(d, append(slices.Clone(oddTexts), "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", "gzip;q=0", "bytes=0-1", "127.0.0.1, x"))
		d.changed("%s is %q", name, odd)
		d.header(name, odd)
	}
}

// bodyOf makes the body: a sample or a drawn one, with nothing, one or some things
// changed, and now and then something done to its text.
func (d *drawing) bodyOf() {
	o := d.operation
	if o.body == nil {
		if o.route.Method != http.MethodGet && d.one(30) {
			d.changed("a body where none is taken")
			d.body = []byte(pick(d, []string{"{}", "x", `{"a":1}`, strings.Repeat("a", 5000)}))
		}
		return
	}
	if d.one(50) {
		odd := pick(d, oddContentTypes)
		d.changed("Content-Type is %q", odd)
		d.header("Content-Type", odd)
	} else {
		d.header("Content-Type", "application/json")
	}
	var tree any
	if len(o.samples) > 0 && !d.one(4) || d.w.documents[o.route.Path] != nil {
		tree = clone(pick(d, o.samples))
		tree = d.refresh(tree, o.body, "")
	} else {
		tree = d.make(o.body, "", 0)
	}
	n := pick(d, []int{0, 0, 0, 1, 1, 1, 1, 2, 3})
	odd := false
	for range n {
		var bad bool
		tree, bad = d.change(tree, o.body)
		odd = odd || bad
	}
	d.body = write(nil, tree)
	if !odd {
		d.tree = tree
	}
	if !d.one(25) {
		return
	}
	d.tree = nil
	switch d.r.IntN(9) {
	case 0:
		d.changed("the body is cut off")
		d.body = d.body[:d.r.IntN(len(d.body)+1)]
	case 1:
		d.changed("something behind the body")
		d.body = append(d.body, pick(d, []string{"{}", " true", "]", "\x00", "//"})...)
	case 2:
		d.changed("10,000 deep")
		d.body = []byte(strings.Repeat(`{"outline":`, 10_000) + "1" + strings.Repeat("}", 10_000))
	case 3:
		d.changed("10,000 lists deep")
		d.body = []byte(strings.Repeat("[", 10_000) + strings.Repeat("]", 10_000))
	case 4:
		d.changed("a byte order mark")
		d.body = append([]byte("\xef\xbb\xbf"), d.body...)
	case 5:
		d.changed("a byte that is no UTF-8")
		at := d.r.IntN(len(d.body) + 1)
		d.body = slices.Insert(bytes.Clone(d.body), at, 0xff)
	case 6:
		d.changed("no body")
		d.body = []byte{}
	case 7:
		if d.one(10) {
			d.changed("over 1 MiB")
			d.body = append(d.body, bytes.Repeat([]byte(" "), 1<<20)...)
		}
	case 8:
		d.changed("another document")
		d.body = []byte(pick(d, []string{"null", "[]", "0", `"x"`, "true", "{}", "[{}]", `{"":null}`}))
	}
}

// spot is a place in a tree, with its schema.
type spot struct {
	pointer string
	name    string
	schema  *openapi3.Schema // nil: not known
	value   any
	set     func(any)
	remove  func() // nil: it cannot be left out
}

// spots lists the places of a tree.
func spots(tree any, schema *openapi3.Schema) (list []spot) {
	var walk func(s spot)
	walk = func(s spot) {
		if len(list) > 3000 {
			return
		}
		list = append(list, s)
		of := resolve(s.schema)
		switch v := s.value.(type) {
		case map[string]any:
			for _, key := range sortedKeys(v) {
				var below *openapi3.Schema
				if of != nil {
					if p := of.Properties[key]; p != nil {
						below = p.Value
					} else if of.AdditionalProperties.Schema != nil {
						below = of.AdditionalProperties.Schema.Value
					}
				}
				walk(spot{s.pointer + "/" + key, key, below, v[key], func(x any) { v[key] = x }, func() { delete(v, key) }})
			}
		case []any:
			var below *openapi3.Schema
			if of != nil && of.Items != nil {
				below = of.Items.Value
			}
			for i := range v {
				walk(spot{s.pointer + "/" + strconv.Itoa(i), s.name, below, v[i], func(x any) { v[i] = x }, nil})
			}
		}
	}
	walk(spot{value: tree, schema: schema})
	return list
}

// resolve puts the parts of an allOf together.
func resolve(s *openapi3.Schema) *openapi3.Schema {
	if s == nil || len(s.AllOf) == 0 {
		return s
	}
	whole := *s
	whole.AllOf = nil
	whole.Properties = maps.Clone(s.Properties)
	if whole.Properties == nil {
		whole.Properties = openapi3.Schemas{}
	}
	for _, part := range s.AllOf {
		p := resolve(part.Value)
		if whole.Type == nil {
			whole.Type = p.Type
		}
		if whole.Pattern == "" {
			whole.Pattern = p.Pattern
		}
		if whole.Format == "" {
			whole.Format = p.Format
		}
		if whole.Min == nil {
			whole.Min = p.Min
		}
		if whole.Max == nil {
			whole.Max = p.Max
		}
		if whole.Items == nil {
			whole.Items = p.Items
		}
		if whole.Enum == nil {
			whole.Enum = p.Enum
		}
		if whole.Example == nil {
			whole.Example = p.Example
		}
		if whole.MaxLength == nil {
			whole.MaxLength = p.MaxLength
		}
		whole.MinLength = max(whole.MinLength, p.MinLength)
		whole.Required = append(slices.Clone(whole.Required), p.Required...)
		maps.Copy(whole.Properties, p.Properties)
	}
	return &whole
}

// change changes one place of a tree. bad says that the result is not to be kept as a
// sample, whatever becomes of it.
func (d *drawing) change(tree any, schema *openapi3.Schema) (after any, bad bool) {
	list := spots(tree, schema)
	s := pick(d, list)
	if s.set == nil { // the whole
		s.set = func(x any) { tree = x }
	}
	set := func(x any) {
		d.changed("%s becomes %s", s.pointer, shorten(string(write(nil, x)), 80))
		s.set(x)
	}
	of := resolve(s.schema)
	switch n := d.r.IntN(20); {
	case n == 0 && s.remove != nil:
		d.changed("%s is left out", s.pointer)
		s.remove()
		return tree, false
	case n == 1:
		set(nil)
		return tree, false
	case n == 2:
		set(pick(d, []any{"text", 1.0, true, []any{}, map[string]any{}, raw("NaN"), raw("1e999"), raw(`"\ud800"`), raw(`"\u0000"`), raw("01"), raw("'x'")}))
		return tree, true
	case n < 7 && s.schema != nil:
		set(d.make(s.schema, s.name, 1))
		return tree, false
	}
	switch v := s.value.(type) {
	case float64:
		var limits openapi3.Schema
		if of != nil {
			limits = *of
		}
		set(d.oddNumber(&limits, v))
	case string:
		if of != nil && len(of.Enum) > 0 && !d.one(4) {
			set(pick(d, of.Enum))
		} else {
			set(strings.ToValidUTF8(pick(d, oddTexts), "\ufffd"))
		}
	case bool:
		set(!v)
	case []any:
		switch d.r.IntN(5) {
		case 0:
			set([]any{})
		case 1:
			if len(v) > 0 {
				set(v[:len(v)-1])
			}
		case 2:
			if len(v) > 0 {
				set(append(slices.Clone(v), clone(v[d.r.IntN(len(v))])))
			}
		case 3:
			n := 300
			if of != nil && of.MaxItems != nil {
				n = min(1100, int(*of.MaxItems)+1)
			}
			if len(v) > 0 && len(write(nil, v[0]))*n < 600_000 {
				out := make([]any, n-d.r.IntN(2))
				for i := range out {
					out[i] = clone(v[0])
				}
				set(out)
			}
		case 4:
			out := slices.Clone(v)
			d.r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
			set(out)
		}
	case map[string]any:
		switch d.r.IntN(4) {
		case 0:
			v[pick(d, []string{"nonsense", "", "a/b~c", "Units", "id", "__proto__"})] = 1.0
			d.changed("%s has an unknown key", s.pointer)
			return tree, true
		case 1:
			text := string(write(nil, v))
			if keys := sortedKeys(v); len(keys) > 0 {
				key := string(write(nil, pick(d, keys)))
				set(raw("{" + key + ":null," + text[1:]))
				return tree, true
			}
		case 2: // what may be there and is not
			if of != nil {
				var missing []string
				for _, key := range slices.Sorted(maps.Keys(of.Properties)) {
					if _, there := v[key]; !there {
						missing = append(missing, key)
					}
				}
				if len(missing) > 0 {
					key := pick(d, missing)
					v[key] = d.make(of.Properties[key].Value, key, 1)
					d.changed("%s/%s is added: %s", s.pointer, key, shorten(string(write(nil, v[key])), 80))
				}
			}
		case 3:
			set(map[string]any{})
		}
	}
	return tree, false
}

// oddNumber is a number at the ends of what a schema takes or just beyond, or one that
// comes of a slip: of a unit, a sign, a digit.
func (d *drawing) oddNumber(s *openapi3.Schema, now float64) any {
	list := []any{0.0, -1.0, 1.0, 1e-12, -1e-12, 1e308, -1e308, 5e-324, raw("-0.0"), raw("1e999"), raw("-1e999"), 1e15, 9007199254740993.0, 0.5, 0.1 + 0.2,
		now * 1000, now / 1000, now * 25.4, now / 25.4, -now, now * 10, now / 10, now + 1e-9, now * 0.9, now * 1.1, now + 1, now - 1, math.Trunc(now)}
	whole := s.Type.Is("integer")
	for _, end := range []*float64{s.Min, s.Max} {
		if end != nil {
			for range 4 {
				list = append(list, *end)
			}
			list = append(list, math.Nextafter(*end, math.Inf(1)), math.Nextafter(*end, math.Inf(-1)), *end+1, *end-1, *end*1.001, *end*0.999)
		}
	}
	x := pick(d, list)
	if f, ok := x.(float64); ok && (whole && !d.one(6)) && math.Abs(f) < 1e15 {
		return math.Round(f)
	}
	return x
}

// make draws a value that keeps to a schema, as far as that is easily done.
func (d *drawing) make(s *openapi3.Schema, name string, depth int) any {
	if good := d.w.objects[s]; len(good) > 0 && !d.one(5) {
		return d.refresh(clone(pick(d, good)), s, name)
	}
	s = resolve(s)
	if s.Nullable && d.one(8) {
		return nil
	}
	if len(s.OneOf) > 0 {
		return d.make(pick(d, s.OneOf).Value, name, depth)
	}
	if len(s.Enum) > 0 {
		return pick(d, s.Enum)
	}
	known := d.w.pool.values[strings.TrimSuffix(name, "_id")]
	if name == "supersedes" {
		known = d.w.pool.values["configuration"]
	}
	if name == "revises" {
		known = d.w.pool.values["quote"]
	}
	switch {
	case s.Type.Is("string"):
		if len(known) > 0 && !d.one(8) {
			return pick(d, known)
		}
		switch s.Format {
		case "date":
			return fmt.Sprintf("%d-%02d-%02d", 2026+d.r.IntN(3), 1+d.r.IntN(12), 1+d.r.IntN(28))
		case "date-time":
			return fmt.Sprintf("%d-%02d-%02dT%02d:%02d:%02d%s", 2025+d.r.IntN(4), 1+d.r.IntN(12), 1+d.r.IntN(28), d.r.IntN(24), d.r.IntN(60), d.r.IntN(60), pick(d, []string{"Z", "-05:00", ".123456789Z", "+14:00"}))
		case "uuid":
			return "01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55"
		}
		if text, ok := s.Example.(string); ok && !d.one(6) {
			return local(text)
		}
		if s.Pattern == "" && d.one(3) {
			return strings.Repeat("w", int(min(max(s.MinLength, 1), 100)))
		}
		if s.Pattern == "" && s.MaxLength != nil && d.one(3) {
			return strings.Repeat("w", int(min(*s.MaxLength, 4000)))
		}
		if text, ok := s.Example.(string); ok {
			return local(text)
		}
		return "w"
	case s.Type.Is("boolean"):
		return d.one(2)
	case s.Type.Is("integer"), s.Type.Is("number"):
		low, high := 0.0, 1000.0
		if s.Min != nil {
			low = *s.Min
		}
		if high = max(high, low+1000); s.Max != nil {
			high = *s.Max
		}
		x := low + (high-low)*d.r.Float64()
		switch n := d.r.IntN(10); {
		case n < 4:
			if e, ok := s.Example.(float64); ok {
				x = e * (0.5 + d.r.Float64())
			}
		case n < 6 && high > 0: // as many small ones as large ones
			x = math.Exp(math.Log(max(low, 1e-3)) + d.r.Float64()*math.Log(high/max(low, 1e-3)))
		case n == 6:
			x = low
		case n == 7:
			x = high
		}
		x = min(max(x, low), high)
		if s.Type.Is("integer") {
			return math.Round(x)
		}
		return x
	case s.Type.Is("array"):
		if depth > 6 {
			return []any{}
		}
		n := int(s.MinItems) + d.r.IntN(3)
		if s.MaxItems != nil {
			n = min(n, int(*s.MaxItems))
		}
		out := make([]any, n)
		for i := range out {
			out[i] = d.make(s.Items.Value, singular(name), depth+1)
		}
		return out
	case s.Type.Is("object"):
		if e, ok := s.Example.(map[string]any); ok && d.one(2) {
			return clone(e)
		}
		out := map[string]any{}
		for _, key := range slices.Sorted(maps.Keys(s.Properties)) {
			if slices.Contains(s.Required, key) || depth < 6 && d.one(4) {
				out[key] = d.make(s.Properties[key].Value, key, depth+1)
			}
		}
		if of := s.AdditionalProperties.Schema; of != nil {
			for range int(s.MinProps) + d.r.IntN(2) {
				key := "w"
				if materials := d.w.pool.values["material"]; len(materials) > 0 {
					key = pick(d, materials)
				}
				out[key] = d.make(of.Value, key, depth+1)
			}
		}
		return out
	}
	return s.Example
}

// local turns the host of a URL into this machine's, where nobody listens: what the
// program is told to call is not called elsewhere.
func local(text string) string {
	u, err := url.Parse(text)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
		return text
	}
	u.Scheme, u.Host = "http", "127.0.0.1:9"
	return u.String()
}

// refresh puts ids that are known in the place of those of an example, and this
// machine in the place of any other.
func (d *drawing) refresh(tree any, schema *openapi3.Schema, name string) any {
	for _, s := range spots(tree, schema) {
		text, ok := s.value.(string)
		if !ok || s.set == nil {
			continue
		}
		kind := strings.TrimSuffix(s.name, "_id")
		switch s.name {
		case "supersedes":
			kind = "configuration"
		case "revises":
			kind = "quote"
		}
		known := d.w.pool.values[kind]
		if anyID.MatchString(text) && len(known) > 0 && !d.one(12) {
			s.set(pick(d, known))
		} else if l := local(text); l != text {
			s.set(l)
		}
	}
	return tree
}

func clone(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := make(map[string]any, len(v))
		for k, x := range v {
			out[k] = clone(x)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i, x := range v {
			out[i] = clone(x)
		}
		return out
	}
	return v
}

// write writes a tree as JSON, keys in order, and raw parts as they are.
func write(b []byte, v any) []byte {
	switch v := v.(type) {
	case raw:
		return append(b, v...)
	case map[string]any:
		b = append(b, '{')
		for i, key := range sortedKeys(v) {
			if i > 0 {
				b = append(b, ',')
			}
			b = append(write(b, key), ':')
			b = write(b, v[key])
		}
		return append(b, '}')
	case []any:
		b = append(b, '[')
		for i, x := range v {
			if i > 0 {
				b = append(b, ',')
			}
			b = write(b, x)
		}
		return append(b, ']')
	case float64:
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return append(b, "1e999"...)
		}
	}
	text, err := json.Marshal(v)
	if err != nil {
		return append(b, "null"...)
	}
	return append(b, text...)
}
