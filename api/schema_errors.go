package api

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
	"hatchwright/service/fault"
)

// checkSchema holds a decoded body against a schema of the document and returns
// what is wrong, one field for each leaf error, in the order of the pointers.
func checkSchema(schema *openapi3.Schema, value any) []fault.Field {
	err := schema.VisitJSON(value, openapi3.VisitAsRequest(), openapi3.MultiErrors())
	if err == nil {
		return nil
	}
	c := collector{seen: map[string]bool{}}
	c.take(err)
	slices.SortStableFunc(c.fields, func(a, b fault.Field) int { return strings.Compare(a.Pointer, b.Pointer) })
	return c.fields
}

// collector gathers leaf errors.
type collector struct {
	fields    []fault.Field
	seen      map[string]bool
	parameter string
}

func (c *collector) add(pointer, code, format string, args ...any) {
	if c.seen[pointer+" "+code] {
		return
	}
	c.seen[pointer+" "+code] = true
	f := fault.Field{Pointer: pointer, Code: code, Message: fmt.Sprintf(format, args...)}
	if c.parameter != "" {
		f.Pointer, f.Parameter = "", c.parameter
	}
	c.fields = append(c.fields, f)
}

// take walks an error of the validator down to its leaves: the schema that
// failed, the value and the place. Nothing is read from message texts.
func (c *collector) take(err error) {
	var many openapi3.MultiError
	var one *openapi3.SchemaError
	//nolint:errorlint // MultiError.As reaches into its members: errors.As alone would take the first for all
	switch e := err.(type) {
	case openapi3.MultiError:
		many = e
	case *openapi3.SchemaError:
		one = e
	default:
		if !errors.As(err, &one) && !errors.As(err, &many) {
			c.add("", "invalid", "This is not what the document asks for.")
			return
		}
	}
	if one == nil {
		for _, e := range many {
			c.take(e)
		}
		return
	}
	if one.SchemaField == "allOf" {
		var inner openapi3.MultiError
		if errors.As(one.Origin, &inner) {
			for _, e := range inner {
				c.take(e)
			}
			return
		}
	}
	c.leaf(one)
}

func (c *collector) leaf(e *openapi3.SchemaError) {
	var b strings.Builder
	for _, token := range e.JSONPointer() {
		b.WriteByte('/')
		b.WriteString(escapePointer(token))
	}
	at, s := b.String(), e.Schema
	switch e.SchemaField {
	case "properties":
		known := make([]string, 0, len(s.Properties))
		for k := range s.Properties {
			known = append(known, k)
		}
		slices.Sort(known)
		// The error names no key: every key of the object that the schema does not
		// know is one.
		object, _ := e.Value.(map[string]any)
		for k := range object {
			if s.Properties[k] == nil {
				c.add(at+"/"+escapePointer(k), "unknown_field", "There is no such field. Known here: %s.", strings.Join(known, ", "))
			}
		}
	case "required":
		c.add(at, "missing", "This must be given.")
	case "type":
		c.add(at, "wrong_type", "This must be %s, not %s.", typeName(s), valueName(e.Value))
	case "nullable":
		c.add(at, "wrong_type", "This must be %s, not null. Leave it out if it is not given.", typeName(s))
	case "enum":
		c.add(at, "unknown_word", "This must be one of %s.", words(s.Enum))
	case "minimum":
		c.add(at, "out_of_range", "This must be %s or more.", bound(s.Min))
	case "maximum":
		c.add(at, "out_of_range", "This must be %s or less.", bound(s.Max))
	case "exclusiveMinimum":
		c.add(at, "out_of_range", "This must be more than %s.", bound(s.Min))
	case "exclusiveMaximum":
		c.add(at, "out_of_range", "This must be less than %s.", bound(s.Max))
	case "minLength":
		c.add(at, "too_short", "This must have %s.", count("character", s.MinLength))
	case "maxLength":
		c.add(at, "too_long", "This must have at most %d characters.", *s.MaxLength)
	case "minProperties":
		c.add(at, "too_few_fields", "This must have at least %d of the fields that are known here.", s.MinProps)
	case "minItems":
		c.add(at, "too_few_items", "This must have %s.", count("item", s.MinItems))
	case "maxItems":
		c.add(at, "too_many_items", "This must have at most %d items.", *s.MaxItems)
	case "uniqueItems":
		c.add(at, "twice", "This has an item twice; keep one of them.")
	case "pattern":
		if text, _ := e.Value.(string); text != "" || s.MinLength == 0 { // an empty one is too short, which is told
			c.add(at, "wrong_form", "This must %s.", form(s.Pattern))
		}
	case "format":
		code, message := formatFault(s.Format, e.Value)
		c.add(at, code, "%s", message)
	default:
		c.add(at, "invalid", "This breaks the document's rule %q.", e.SchemaField)
	}
}

func typeName(s *openapi3.Schema) string {
	names := map[string]string{"object": "an object", "array": "a list", "string": "a text", "number": "a number", "integer": "a whole number", "boolean": "true or false"}
	var out []string
	for _, t := range s.Type.Slice() {
		out = append(out, names[t])
	}
	if len(out) == 0 {
		return "a value"
	}
	return strings.Join(out, " or ")
}

func valueName(v any) string {
	switch v := v.(type) {
	case nil:
		return "null"
	case bool:
		return strconv.FormatBool(v)
	case string:
		return "a text"
	case []any:
		return "a list"
	case map[string]any:
		return "an object"
	case float64:
		return strconv.FormatFloat(v, 'g', 6, 64)
	}
	return "that"
}

// count says how many of something there are at least.
func count(what string, n uint64) string {
	if n == 1 {
		return "at least one " + what
	}
	return fmt.Sprintf("at least %d %ss", n, what)
}

// form says what a pattern of the document asks for; a test holds it against the
// document.
func form(pattern string) string {
	if words, ok := forms[pattern]; ok {
		return words
	}
	return "match the pattern " + pattern
}

// forms are what patterns of the document ask for, in words.
var forms = map[string]string{
	`^[^\x00-\x1f\x7f]+$`:             "be one line without control characters",
	`^[\x20-\x7e]+$`:                  "be of ASCII letters, digits, signs and spaces",
	`^[0-9]{1,12}(\.[0-9]{1,6})?$`:    `be a decimal of up to 12 digits and 6 places as a text, like "128.40"`,
	`^[A-Z]{3}$`:                      "be a currency of ISO 4217 in three capital letters, like USD",
	`^([01][0-9]|2[0-3]):[0-5][0-9]$`: "be a time of day from 00:00 to 23:59, like 07:30",
	`^[a-z0-9-]{1,60}$`:               "be of small letters, digits and hyphens, 60 at most",
	`^-?[0-9]+(\.[0-9]+)?$`:           `be a decimal as a text, like "128.40"`,
	`^sha256:[0-9a-f]{64}$`:           "be sha256: and 64 hexadecimal digits in small letters",
	`^[a-z-]{1,60}$`:                  "be of small letters and hyphens, 60 at most",
}

func words(enum []any) string {
	out := make([]string, len(enum))
	for i, v := range enum {
		out[i] = fmt.Sprintf("%q", v)
	}
	return strings.Join(out, ", ")
}

func bound(x *float64) string { return strconv.FormatFloat(*x, 'f', -1, 64) }

// formatFault says why a value is not of its format.
func formatFault(format string, value any) (code, message string) {
	text, _ := value.(string)
	var err error
	switch format {
	case "date":
		_, err = openapi.ParseDate(text)
	case "date-time":
		_, err = openapi.ParseTime(text)
	}
	var e *openapi.TimeError
	switch {
	case !errors.As(err, &e):
		return "wrong_form", "This must be " + formatName(format) + "."
	case e.Beyond:
		return "out_of_range", e.Message
	}
	return "wrong_form", e.Message
}

func formatName(format string) string {
	switch format {
	case "uuid":
		return "a UUID, like 01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55"
	case "email":
		return "an e-mail address"
	}
	return "of the format " + format
}
