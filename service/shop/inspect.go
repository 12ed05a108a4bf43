package shop

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/govalues/decimal"
)

// longestKey is how long a key of a map may be: no name of a material is longer.
const longestKey = 200

// inspector walks the text of a document beside the type that it is read into, holds
// each place against its rule and notes every fault in the order of the document.
type inspector struct {
	document string
	faults   Faults
	places   map[string]int // where each place stands
	at       int
	text     *json.Decoder
}

// inspect walks a document. The faults found are those that a place has by itself.
func inspect(document string, body []byte, into any) *inspector {
	i := &inspector{document: document, places: map[string]int{}, text: json.NewDecoder(bytes.NewReader(body))}
	i.text.UseNumber()
	err := i.value(reflect.TypeOf(into).Elem(), "", "")
	if err == nil {
		if _, err = i.text.Token(); errors.Is(err, io.EOF) {
			return i
		}
	}
	i.add("", "not_json", "This is not one JSON document.")
	return i
}

func (i *inspector) add(pointer, code, format string, args ...any) {
	i.note(fault(pointer, code, format, args...))
}

func (i *inspector) note(f Fault) {
	f.Document, f.at = i.document, i.at
	i.faults = append(i.faults, f)
}

// later adds faults that were found once the document was read: each goes where its
// place stands, or the nearest place around it.
func (i *inspector) later(list ...Fault) {
	for _, f := range list {
		f.Document = i.document
		for at := f.Pointer; ; at = at[:strings.LastIndexByte(at, '/')] {
			if n, ok := i.places[at]; ok || at == "" {
				f.at = n
				break
			}
		}
		i.faults = append(i.faults, f)
	}
}

// sorted returns the faults in the order of the document.
func (i *inspector) sorted() Faults {
	slices.SortStableFunc(i.faults, func(a, b Fault) int { return a.at - b.at })
	return i.faults
}

// typeWords are what stands in JSON for a type, in words.
func typeWords(t reflect.Type) string {
	switch {
	case t == reflect.TypeFor[Exact]():
		return "a text"
	case t.Kind() == reflect.Slice:
		return "a list"
	case t.Kind() == reflect.Struct || t.Kind() == reflect.Map:
		return "an object"
	case t.Kind() == reflect.String:
		return "a text"
	case t.Kind() == reflect.Bool:
		return "true or false"
	case t.Kind() == reflect.Int:
		return "a whole number"
	}
	return "a number"
}

// value reads one value of a type. The error is one of reading JSON at all.
func (i *inspector) value(t reflect.Type, pointer, place string) error {
	i.at++
	i.places[pointer] = i.at
	token, err := i.text.Token()
	if err != nil {
		return err
	}
	if t == nil || t.Kind() == reflect.Interface {
		return i.anything(token, pointer)
	}
	wrong := func() error {
		i.add(pointer, "wrong_type", "This must be %s.", typeWords(t))
		return i.skip(token)
	}
	if t.Kind() == reflect.Pointer {
		if token == nil {
			return nil
		}
		t = t.Elem()
	}
	switch v := token.(type) {
	case json.Delim:
		switch {
		case v == '{' && t.Kind() == reflect.Struct && t != reflect.TypeFor[Exact]():
			return i.object(t, pointer)
		case v == '{' && t.Kind() == reflect.Map:
			return i.keyed(t, pointer, place)
		case v == '[' && t.Kind() == reflect.Slice:
			return i.list(t, pointer, place)
		}
		return wrong()
	case string:
		switch {
		case t == reflect.TypeFor[Exact]():
			i.exact(v, pointer, place)
		case t.Kind() == reflect.String:
			i.word(v, pointer, place)
		default:
			return wrong()
		}
	case json.Number:
		x, err := v.Float64()
		switch {
		case err != nil:
			i.add(pointer, "number_out_of_range", "This number is larger than any that can be worked with.")
		case t.Kind() == reflect.Int:
			if _, err := strconv.Atoi(v.String()); err != nil {
				return wrong()
			}
			i.figure(x, pointer, place)
		case t.Kind() == reflect.Float64:
			i.figure(x, pointer, place)
		default:
			return wrong()
		}
	case bool:
		if t.Kind() != reflect.Bool {
			return wrong()
		}
	default: // null
		return wrong()
	}
	return nil
}

func (i *inspector) figure(x float64, pointer, place string) {
	if r, ok := rules[place]; ok && !r.holds(x) {
		i.outside(r, pointer, strconv.FormatFloat(x, 'g', 6, 64))
	}
}

// outside notes a figure beyond its range, with the reason for the range.
func (i *inspector) outside(r Rule, pointer, is string) {
	f := fault(pointer, "out_of_range", "This must be %s, not %s.", r, is)
	if r.Why != "" {
		f.Message = fmt.Sprintf("This must be %s, not %s: %s.", r, is, r.Why)
	}
	f.Range = r.String()
	i.note(f)
}

func (i *inspector) exact(text, pointer, place string) {
	r, ok := rules[place]
	if !ok {
		return
	}
	if !forms[r.Form].pattern.MatchString(text) {
		i.add(pointer, "wrong_form", "This must be %s.", forms[r.Form].words)
		return
	}
	d, err := decimal.Parse(text)
	if err != nil {
		i.add(pointer, "wrong_form", "This must be %s.", forms[r.Form].words)
		return
	}
	if x, _ := d.Float64(); !r.holds(x) {
		i.outside(r, pointer, text)
	}
}

func (i *inspector) word(text, pointer, place string) {
	r, ok := rules[place]
	switch {
	case !ok:
	case r.Words != nil:
		if !slices.Contains(r.Words, text) {
			i.add(pointer, "unknown_word", "This must be one of %s.", quoted(r.Words))
		}
	case r.Form != "":
		if !forms[r.Form].pattern.MatchString(text) {
			i.add(pointer, "wrong_form", "This must be %s.", forms[r.Form].words)
		}
	default:
		i.counted(float64(utf8.RuneCountInString(text)), r, pointer, "short", "long", "characters")
	}
}

// counted holds a number of rows, fields or characters against a rule.
func (i *inspector) counted(n float64, r Rule, pointer, few, many, what string) {
	if r.holds(n) {
		return
	}
	code := "too_" + many
	if n < r.Least {
		code = "too_" + few
	}
	f := fault(pointer, code, "This must have %s %s, not %g.", r, what, n)
	f.Range = r.String() + " " + what
	i.note(f)
}

func (i *inspector) list(t reflect.Type, pointer, place string) error {
	began, n := i.at, 0
	for ; i.text.More(); n++ {
		if err := i.value(t.Elem(), pointer+"/"+strconv.Itoa(n), place+"/*"); err != nil {
			return err
		}
	}
	i.size(n, began, pointer, place, "items")
	_, err := i.text.Token()
	return err
}

// size holds the rows of a list or map that began at a place against its rule.
func (i *inspector) size(n, began int, pointer, place, what string) {
	if r, ok := rules[place]; ok {
		at := i.at
		i.at = began
		i.counted(float64(n), r, pointer, "few_"+what, "many_"+what, what)
		i.at = at
	}
}

func (i *inspector) keyed(t reflect.Type, pointer, place string) error {
	began, n := i.at, 0
	seen := map[string]bool{}
	for ; i.text.More(); n++ {
		key, err := i.key()
		if err != nil {
			return err
		}
		at := Below(pointer, key)
		if err := i.value(t.Elem(), at, place+"/*"); err != nil {
			return err
		}
		switch length := utf8.RuneCountInString(key); {
		case seen[key]:
			i.add(at, "duplicate_key", "This key stands twice in its object; keep one.")
		case length == 0 || length > longestKey:
			i.add(at, "too_long", "A key has 1 to %d characters, not %d.", longestKey, length)
		}
		seen[key] = true
	}
	i.size(n, began, pointer, place, "fields")
	_, err := i.text.Token()
	return err
}

func (i *inspector) key() (string, error) {
	token, err := i.text.Token()
	if err != nil {
		return "", err
	}
	return token.(string), nil //nolint:forcetypeassert // a key of JSON is a text
}

func (i *inspector) object(t reflect.Type, pointer string) error {
	fields := map[string]reflect.StructField{}
	var known, needed []string
	for n := range t.NumField() {
		f := t.Field(n)
		key, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		fields[key], known = f, append(known, key)
		if !strings.Contains(options, "omit") {
			needed = append(needed, key)
		}
	}
	seen := map[string]bool{}
	for i.text.More() {
		key, err := i.key()
		if err != nil {
			return err
		}
		at := Below(pointer, key)
		f, ok := fields[key]
		var of reflect.Type
		if ok {
			of = f.Type
		}
		if err := i.value(of, at, t.Name()+"."+key); err != nil {
			return err
		}
		switch {
		case !ok:
			slices.Sort(known)
			i.add(at, "unknown_field", "There is no such field. Known here: %s.", strings.Join(known, ", "))
		case seen[key]:
			i.add(at, "duplicate_key", "This key stands twice in its object; keep one.")
		}
		seen[key] = true
	}
	i.at++
	for _, key := range needed {
		if !seen[key] {
			i.add(Below(pointer, key), "missing", "This must be given.")
		}
	}
	_, err := i.text.Token()
	return err
}

// anything notes where the parts of a value stand that has no type of its own.
func (i *inspector) anything(token json.Token, pointer string) error {
	open, _ := token.(json.Delim)
	for n := 0; open != 0 && i.text.More(); n++ {
		at := pointer + "/" + strconv.Itoa(n)
		if open == '{' {
			key, err := i.key()
			if err != nil {
				return err
			}
			at = Below(pointer, key)
		}
		if err := i.value(nil, at, ""); err != nil {
			return err
		}
	}
	if open == 0 {
		return nil
	}
	_, err := i.text.Token()
	return err
}

// skip reads the rest of a value.
func (i *inspector) skip(token json.Token) error {
	open, _ := token.(json.Delim)
	depth := 0
	if open == '{' || open == '[' {
		depth = 1
	}
	for depth > 0 {
		next, err := i.text.Token()
		if err != nil {
			return err
		}
		if d, ok := next.(json.Delim); ok {
			if d == '{' || d == '[' {
				depth++
			} else {
				depth--
			}
		}
	}
	return nil
}
