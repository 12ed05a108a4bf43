package api

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
)

// place is a parameter with its pointer taken apart: the object it stands in, ""
// for the document itself, and its key there.
type place struct {
	group, key string
	*part.Parameter
}

// groups are the parameters by the object they stand in, in the order of the
// wire.
var groups = func() (out [][]place) {
	for i := range part.Parameters {
		p := &part.Parameters[i]
		group, key, ok := strings.Cut(p.Pointer[1:], "/")
		if !ok {
			group, key = "", group
		}
		if n := len(out); n == 0 || out[n-1][0].group != group {
			out = append(out, nil)
		}
		n := len(out) - 1
		out[n] = append(out[n], place{group, key, p})
	}
	return out
}()

// largestCorner bounds the coordinates and radii of a polygon's corners, mm: far
// beyond any hatch, like the largest length of part.Parameters.
const largestCorner = 100_000.0

// givenPlaces are the decimals that a figure is taken to, in the unit it was
// given in: far finer than anything that can be measured, and coarse enough that
// millimeters and back give the same figure again. exactFrom is where float64 has
// no finer steps to speak of and a figure is taken as it is.
const (
	givenPlaces = 9
	exactFrom   = 1e6
)

// isLength reports whether figures of the unit are given in the document's own:
// lengths, and rain.
func isLength(u quantity.Unit) bool {
	return u == quantity.Millimeter || u == quantity.MillimeterPerHour
}

func given(x float64) float64 {
	if math.Abs(x) >= exactFrom {
		return x
	}
	return quantity.Round(x, givenPlaces, quantity.Nearest)
}

// DecodeConfiguration reads a configuration document. Errors are *fault.Error.
func DecodeConfiguration(body []byte) (part.Request, error) {
	doc, err := openapi.Document()
	if err != nil {
		return part.Request{}, err
	}
	tree, err := decodeStrict(body)
	if err != nil {
		return part.Request{}, err
	}
	return configurationOf(doc.Components.Schemas["Configuration"].Value, tree)
}

func configurationOf(schema *openapi3.Schema, tree any) (part.Request, error) {
	if fields := checkSchema(schema, tree); len(fields) > 0 {
		return part.Request{}, invalid(fields)
	}
	r, fields := crossConfiguration(tree.(map[string]any), "")
	if len(fields) > 0 {
		return part.Request{}, invalid(fields)
	}
	return r, nil
}

func invalid(fields []fault.Field) *fault.Error {
	detail := "One thing is wrong with the request; see errors."
	if len(fields) > 1 {
		detail = fmt.Sprintf("%d things are wrong with the request; see errors.", len(fields))
	}
	if len(fields) > mostFaults {
		detail = fmt.Sprintf("%d things are wrong with the request; see errors for the first %d.", len(fields), mostFaults)
		fields = fields[:mostFaults]
	}
	return &fault.Error{Kind: fault.Invalid, Detail: detail, Fields: fields}
}

// crossConfiguration turns a document that keeps to its schema into a request: it
// reads each figure of the table at its pointer, turns lengths into millimeters,
// checks that they make sense at all and notes what was given. at is where the
// document stands in the body.
func crossConfiguration(tree map[string]any, at string) (part.Request, []fault.Field) {
	r := part.Request{Given: make(map[string]bool, len(part.Parameters))}
	x := crossing{request: &r, at: at}
	// The schema asks for units and lists the words.
	r.Units, _ = quantity.ParseSystem(tree["units"].(string))
	for _, group := range groups {
		object := tree
		if name := group[0].group; name != "" {
			object, _ = tree[name].(map[string]any)
		}
		for _, p := range group {
			if v, ok := object[p.key]; ok {
				x.figure(p.Parameter, v)
			}
		}
	}
	if plan, _ := tree["outline"].(map[string]any); plan != nil {
		x.corners(plan["corners"])
	}
	if l, _ := tree["laminate"].(map[string]any); l != nil {
		r.Laminate.Lid = x.words("/laminate/lid", l["lid"])
		r.Laminate.Receiver = x.words("/laminate/receiver", l["receiver"])
	}
	x.hardware(tree["hardware"])
	return r, x.fields
}

// crossing is one document on its way in.
type crossing struct {
	request *part.Request
	at      string
	fields  []fault.Field
}

func (x *crossing) fail(pointer, code, format string, args ...any) {
	x.fields = append(x.fields, fault.Field{Pointer: x.at + pointer, Code: code, Message: fmt.Sprintf(format, args...)})
}

func (x *crossing) figure(p *part.Parameter, v any) {
	x.request.Given[p.Pointer] = true
	c := &x.request.Configuration
	switch v := v.(type) {
	case nil: // the zero value stands for null
	case string:
		*p.Word(c) = v
	case float64:
		v = given(v)
		if lo, hi := x.span(p.Unit, p.Min, p.Max); v < lo || v > hi {
			x.outOfRange(p.Pointer, p.Unit, lo, hi, p.Null)
			return
		}
		if isLength(p.Unit) {
			v = c.Units.Millimeters(v)
		}
		*p.Number(c) = v
	}
}

// span returns a range of the core in the document's unit, rounded inward to the
// wire's step.
func (x *crossing) span(unit quantity.Unit, least, largest float64) (lo, hi float64) {
	if !isLength(unit) {
		return least, largest
	}
	s := x.request.Units
	return quantity.Round(s.Length(least), s.Places(), quantity.Up), quantity.Round(s.Length(largest), s.Places(), quantity.Down)
}

func (x *crossing) outOfRange(pointer string, unit quantity.Unit, lo, hi float64, null bool) {
	text := func(v float64) string { return quantity.Decimal(v, givenPlaces) }
	name := " " + string(unit.In(x.request.Units))
	if unit == quantity.Ratio || unit == quantity.Count {
		name = ""
	}
	or := ""
	if null {
		or = ", or null"
	}
	x.fail(pointer, "out_of_range", "This must be from %s to %s%s%s.", text(lo), text(hi), name, or)
}

func (x *crossing) corners(v any) {
	rows, ok := v.([]any)
	if !ok {
		return
	}
	x.request.Given["/outline/corners"] = true
	lo, hi := x.span(quantity.Millimeter, -largestCorner, largestCorner)
	length := func(row map[string]any, i int, key string, lo, hi float64) float64 {
		v, _ := row[key].(float64)
		if v = given(v); v < lo || v > hi {
			x.outOfRange("/outline/corners/"+strconv.Itoa(i)+"/"+key, quantity.Millimeter, lo, hi, false)
			return 0
		}
		return x.request.Units.Millimeters(v)
	}
	for i, v := range rows {
		row := v.(map[string]any)
		x.request.Outline.Corners = append(x.request.Outline.Corners, outline.Corner{
			At:     outline.Point{X: length(row, i, "x", lo, hi), Y: length(row, i, "y", lo, hi)},
			Radius: length(row, i, "radius", 0, hi),
		})
	}
}

func (x *crossing) words(pointer string, v any) []string {
	rows, ok := v.([]any)
	if !ok {
		return nil
	}
	x.request.Given[pointer] = true
	out := make([]string, len(rows))
	for i, v := range rows {
		out[i] = v.(string)
	}
	return out
}

func (x *crossing) hardware(v any) {
	rows, ok := v.([]any)
	if !ok {
		return
	}
	x.request.Given["/hardware"] = true
	for _, v := range rows {
		row := v.(map[string]any)
		x.request.Hardware = append(x.request.Hardware, part.Hardware{
			Item: row["item"].(string), Edge: row["edge"].(string), Count: int(row["count"].(float64)),
		})
	}
}

// configuration writes a completed configuration: every figure that applies and
// no other, lengths as they were given. Sent again it means the same hatch.
func (w *writer) configuration(key string, c *part.Configuration) {
	w.object(key)
	w.text("units", c.Units.String())
	for _, group := range groups {
		w.group(group, c)
	}
	w.list("hardware")
	for _, h := range c.Hardware {
		w.object("")
		w.text("item", h.Item)
		w.text("edge", h.Edge)
		w.integer("count", h.Count)
		w.end()
	}
	w.endList()
	w.end()
}

func (w *writer) group(group []place, c *part.Configuration) {
	name := group[0].group
	open := false
	for _, p := range group {
		if !p.Used(c) {
			continue
		}
		if !open && name != "" {
			w.object(name)
		}
		open = true
		w.figure(p, c)
	}
	switch {
	case name == "outline" && c.Outline.Shape == part.Polygon:
		w.list("corners")
		for _, k := range c.Outline.Corners {
			w.object("")
			w.given("x", k.At.X, quantity.Millimeter)
			w.given("y", k.At.Y, quantity.Millimeter)
			w.given("radius", k.Radius, quantity.Millimeter)
			w.end()
		}
		w.endList()
	case name == "laminate":
		// Listed plies, or what an automatic schedule chose.
		if len(c.Laminate.Lid) > 0 {
			w.texts("lid", c.Laminate.Lid)
		}
		if len(c.Laminate.Receiver) > 0 {
			w.texts("receiver", c.Laminate.Receiver)
		}
	}
	if open && name != "" {
		w.end()
	}
}

func (w *writer) figure(p place, c *part.Configuration) {
	switch {
	case p.IsNumber():
		if x := *p.Number(c); p.Null && x == 0 {
			w.null(p.key)
		} else {
			w.given(p.key, x, p.Unit)
		}
	default:
		if t := *p.Word(c); p.Null && t == "" {
			w.null(p.key)
		} else {
			w.text(p.key, t)
		}
	}
}

// Wire is the crossing as the use cases need it (service.Wire).
type Wire struct{}

// Decode implements service.Wire.
func (Wire) Decode(body []byte) (part.Request, error) { return DecodeConfiguration(body) }

// Derivation writes a result as it is answered. The error says that a figure is
// not finite: a fault of the service's own.
func Derivation(r *service.Derived) ([]byte, error) {
	w := newWriter(r.Configuration.Units)
	defer w.free()
	w.derivation("", r, nil)
	return w.copy()
}
