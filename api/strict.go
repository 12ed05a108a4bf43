package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"unicode/utf8"

	"hatchwright/service/fault"
)

// Limits of a body, beyond its size.
const (
	// deepest is how far a body may nest: the document itself goes to 5.
	deepest = 32
	// longestList is how many rows or fields one list or object may have before it
	// is refused unseen: the document's own limits are lower and say so by
	// themselves, but checking a hundred thousand rows to say so takes time.
	longestList = 1000
	// mostFaults is how many faults are told at once.
	mostFaults = 50
)

// decodeStrict reads a body as JSON (RFC 8259) into maps, slices, strings,
// float64s, bools and nils, and refuses what a lenient reader would let pass:
// invalid UTF-8, something after the value, a key twice in one object, numbers
// beyond float64, half of a surrogate pair, deep nesting. Errors are *fault.Error.
func decodeStrict(body []byte) (any, error) {
	if len(body) == 0 {
		return nil, malformed("empty", "The body is empty; send a JSON document.")
	}
	if !utf8.Valid(body) {
		line, column := position(body, validPrefix(body))
		return nil, malformed("not_utf8", "The body is not valid UTF-8: the first bad byte is at line %d, column %d.", line, column)
	}
	if at := tooDeep(body); at >= 0 {
		line, column := position(body, at)
		return nil, malformed("too_deep", "The body nests deeper than %d levels at line %d, column %d.", deepest, line, column)
	}
	var raw json.RawMessage
	if err := json.Unmarshal(body, &raw); err != nil {
		return nil, notJSON(body, err)
	}
	r := reader{text: body}
	value := r.value("")
	if len(r.faults) > 0 {
		return nil, &fault.Error{Kind: fault.Malformed, Detail: "The body cannot be taken as it is; see errors.", Fields: r.faults}
	}
	return value, nil
}

func malformed(code, format string, args ...any) *fault.Error {
	text := fmt.Sprintf(format, args...)
	return &fault.Error{Kind: fault.Malformed, Detail: text, Fields: []fault.Field{{Code: code, Message: text}}}
}

// notJSON says where a body stops being JSON.
func notJSON(body []byte, err error) *fault.Error {
	var syntax *json.SyntaxError
	if !errors.As(err, &syntax) {
		return malformed("not_json", "The body is not JSON.")
	}
	at := int(syntax.Offset) - 1
	at = max(0, min(at, len(body)))
	line, column := position(body, at)
	if at > 0 && json.Valid(body[:at]) {
		return malformed("trailing_data", "Something stands after the JSON document, at line %d, column %d. Send one document.", line, column)
	}
	if int(syntax.Offset) >= len(body) && !json.Valid(body) && at >= len(body)-1 {
		return malformed("not_json", "The body is not JSON: it goes wrong or ends too soon at line %d, column %d.", line, column)
	}
	return malformed("not_json", "The body is not JSON: it goes wrong at line %d, column %d.", line, column)
}

// position turns an offset into a line and a column, both from 1; a column counts
// bytes.
func position(body []byte, at int) (line, column int) {
	line, column = 1, 1
	for _, b := range body[:at] {
		if column++; b == '\n' {
			line, column = line+1, 1
		}
	}
	return line, column
}

func validPrefix(body []byte) int {
	for i := 0; i < len(body); {
		r, n := utf8.DecodeRune(body[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return len(body)
}

// tooDeep returns where a body nests deeper than allowed, or -1. It reads no more
// than brackets and strings, so it does not mind what else is wrong.
func tooDeep(body []byte) int {
	depth, text := 0, false
	for i := 0; i < len(body); i++ {
		switch c := body[i]; {
		case text && c == '\\':
			i++
		case c == '"':
			text = !text
		case text:
		case c == '{' || c == '[':
			if depth++; depth > deepest {
				return i
			}
		case c == '}' || c == ']':
			depth--
		}
	}
	return -1
}

// reader walks text that is known to be valid JSON.
type reader struct {
	text   []byte
	at     int
	faults []fault.Field
}

func (r *reader) fail(pointer, code, format string, args ...any) {
	if len(r.faults) < mostFaults {
		r.faults = append(r.faults, fault.Field{Pointer: pointer, Code: code, Message: fmt.Sprintf(format, args...)})
	}
}

func (r *reader) blank() {
	for r.at < len(r.text) {
		switch r.text[r.at] {
		case ' ', '\t', '\n', '\r':
			r.at++
		default:
			return
		}
	}
}

func (r *reader) value(pointer string) any {
	r.blank()
	switch c := r.text[r.at]; c {
	case '{':
		return r.object(pointer)
	case '[':
		return r.list(pointer)
	case '"':
		return r.string(pointer)
	case 't':
		r.at += len("true")
		return true
	case 'f':
		r.at += len("false")
		return false
	case 'n':
		r.at += len("null")
		return nil
	default:
		return r.number(pointer)
	}
}

func (r *reader) object(pointer string) map[string]any {
	out := map[string]any{}
	r.at++
	rows := 0
	for {
		r.blank()
		switch r.text[r.at] {
		case '}':
			r.at++
			if rows > longestList {
				r.fail(pointer, "too_many_fields", "%d fields; no object has more than %d.", rows, longestList)
			}
			return out
		case ',':
			r.at++
			continue
		}
		key := r.string(pointer)
		r.blank()
		r.at++ // the colon
		at := pointer + "/" + escapePointer(key)
		value := r.value(at)
		if rows++; rows > longestList {
			continue
		}
		if _, twice := out[key]; twice {
			r.fail(at, "duplicate_key", "This key stands twice in its object; keep one.")
		}
		out[key] = value
	}
}

func (r *reader) list(pointer string) []any {
	out := []any{}
	r.at++
	rows := 0
	for {
		r.blank()
		switch r.text[r.at] {
		case ']':
			r.at++
			if rows > longestList {
				r.fail(pointer, "too_many_items", "%d items; no list has more than %d.", rows, longestList)
			}
			return out
		case ',':
			r.at++
			continue
		}
		at := ""
		if rows <= longestList {
			at = pointer + "/" + strconv.Itoa(rows)
		}
		value := r.value(at)
		if rows++; rows <= longestList {
			out = append(out, value)
		}
	}
}

// string reads a text. pointer is where it stands, or where the object stands that it is
// a key of.
func (r *reader) string(pointer string) string {
	start := r.at
	plain := true
	for r.at++; r.text[r.at] != '"'; r.at++ {
		if r.text[r.at] == '\\' {
			plain = false
			r.at++
		}
	}
	r.at++
	if plain {
		return string(r.text[start+1 : r.at-1])
	}
	var s string
	// The text is valid JSON as a whole, so this part of it is too.
	_ = json.Unmarshal(r.text[start:r.at], &s)
	if loneSurrogate(r.text[start:r.at]) {
		r.fail(pointer, "not_unicode", "A text here has half of a surrogate pair by itself, like \\ud83d, which is no character. Send both halves, or the character as it is.")
	}
	return s
}

// loneSurrogate tells whether a JSON string escapes half of a surrogate pair without
// the other (RFC 8259, section 8.2). The standard library takes another character for it.
func loneSurrogate(text []byte) bool {
	high := false
	for i := 0; i < len(text); i++ {
		var unit uint64
		if text[i] == '\\' {
			if i++; text[i] == 'u' {
				unit, _ = strconv.ParseUint(string(text[i+1:i+5]), 16, 16) // the text is valid JSON
				i += 4
			}
		}
		low := unit >= 0xdc00 && unit < 0xe000
		if low != high {
			return true
		}
		high = unit >= 0xd800 && unit < 0xdc00
	}
	return high
}

func (r *reader) number(pointer string) any {
	start := r.at
	for r.at < len(r.text) {
		switch c := r.text[r.at]; {
		case c >= '0' && c <= '9', c == '-', c == '+', c == '.', c == 'e', c == 'E':
			r.at++
			continue
		}
		break
	}
	x, err := strconv.ParseFloat(string(r.text[start:r.at]), 64)
	if err != nil || math.IsInf(x, 0) {
		r.fail(pointer, "number_out_of_range", "This number is larger than any that can be worked with.")
		return 0.0
	}
	return x
}

// escapePointer writes a key as a reference token (RFC 6901, section 3).
func escapePointer(key string) string {
	plain := true
	for i := 0; i < len(key); i++ {
		if key[i] == '~' || key[i] == '/' {
			plain = false
			break
		}
	}
	if plain {
		return key
	}
	out := make([]byte, 0, len(key)+4)
	for i := 0; i < len(key); i++ {
		switch key[i] {
		case '~':
			out = append(out, "~0"...)
		case '/':
			out = append(out, "~1"...)
		default:
			out = append(out, key[i])
		}
	}
	return string(out)
}
