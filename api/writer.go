package api

import (
	"fmt"
	"math"
	"strconv"
	"sync"
	"time"
	"unicode/utf8"

	"hatchwright/service/fault"
	"hatchwright/service/money"
	"hatchwright/service/quantity"
)

// writer writes a JSON answer into one buffer that is used again. Keys are plain
// ASCII from this package; "" is for the rows of a list. Lengths are turned into
// the document's unit and rounded here and nowhere else.
type writer struct {
	buf    []byte
	system quantity.System
	bad    string // key of a figure that was not finite
}

var writers = sync.Pool{New: func() any { return &writer{buf: make([]byte, 0, 32<<10)} }}

// largestKept keeps one huge answer from holding its memory for ever, bytes.
const largestKept = 1 << 20

func newWriter(s quantity.System) *writer {
	w := writers.Get().(*writer)
	w.buf, w.system, w.bad = w.buf[:0], s, ""
	return w
}

func (w *writer) free() {
	if cap(w.buf) <= largestKept {
		writers.Put(w)
	}
}

// err tells of a figure that JSON cannot hold.
func (w *writer) err() error {
	if w.bad == "" {
		return nil
	}
	return fault.Wrap(fault.Internal, fmt.Errorf("answer: the figure %q is not finite", w.bad), "Something went wrong that is not your doing.")
}

func (w *writer) copy() ([]byte, error) {
	return append([]byte(nil), w.buf...), w.err()
}

// key begins a member or a row.
func (w *writer) key(k string) {
	if n := len(w.buf); n > 0 {
		if c := w.buf[n-1]; c != '{' && c != '[' {
			w.buf = append(w.buf, ',')
		}
	}
	if k != "" {
		w.buf = append(w.buf, '"')
		w.buf = append(w.buf, k...)
		w.buf = append(w.buf, '"', ':')
	}
}

func (w *writer) object(k string) { w.key(k); w.buf = append(w.buf, '{') }
func (w *writer) end()            { w.buf = append(w.buf, '}') }
func (w *writer) list(k string)   { w.key(k); w.buf = append(w.buf, '[') }
func (w *writer) endList()        { w.buf = append(w.buf, ']') }
func (w *writer) null(k string)   { w.key(k); w.buf = append(w.buf, "null"...) }

func (w *writer) raw(k string, json []byte) { w.key(k); w.buf = append(w.buf, json...) }

// record writes a plain record.
func (w *writer) record(k string, v any) {
	body, err := encode(v)
	if err != nil {
		w.bad, body = k, []byte("null")
	}
	w.raw(k, body)
}

func (w *writer) boolean(k string, b bool) { w.key(k); w.buf = strconv.AppendBool(w.buf, b) }

func (w *writer) integer(k string, n int) { w.key(k); w.buf = strconv.AppendInt(w.buf, int64(n), 10) }

func (w *writer) text(k, s string) { w.key(k); w.buf = appendText(w.buf, s) }

func (w *writer) texts(k string, list []string) {
	w.list(k)
	for _, s := range list {
		w.text("", s)
	}
	w.endList()
}

// number writes x with at most places decimals.
func (w *writer) number(k string, x float64, places int) {
	w.key(k)
	if math.IsNaN(x) || math.IsInf(x, 0) {
		w.bad = k
		w.buf = append(w.buf, '0')
		return
	}
	w.buf = appendDecimal(w.buf, x, places)
}

// Decimals on the wire beyond those of lengths (quantity.System.Places). Areas
// and volumes are as fine as lengths of a hatch's size make them; a gram, a
// millionth of a degree and a third of a second are finer than anything that is
// weighed, set or planned.
const (
	massPlaces  = 3
	finePlaces  = 6 // of a kilogram: catalyst
	anglePlaces = 6
	ratioPlaces = 6
	flowPlaces  = 4 // liters, liters a minute, seconds of draining
	hourPlaces  = 4
	// quantityPlaces are those of bill quantities: a millionth of a unit.
	quantityPlaces = 6
)

func (w *writer) length(k string, mm float64) {
	w.number(k, w.system.Length(mm), w.system.Places())
}

func (w *writer) area(k string, mm2 float64) {
	places := 2
	if w.system == quantity.Inch {
		places = 5
	}
	w.number(k, quantity.Of(mm2, quantity.SquareMillimeter).In(w.system), places)
}

func (w *writer) volume(k string, mm3 float64) {
	places := 1
	if w.system == quantity.Inch {
		places = 5
	}
	w.number(k, quantity.Of(mm3, quantity.CubicMillimeter).In(w.system), places)
}

func (w *writer) mass(k string, kg float64)   { w.number(k, kg, massPlaces) }
func (w *writer) angle(k string, deg float64) { w.number(k, deg, anglePlaces) }
func (w *writer) ratio(k string, x float64)   { w.number(k, x, ratioPlaces) }
func (w *writer) hours(k string, h float64)   { w.number(k, h, hourPlaces) }

// given writes a figure of a configuration exactly as it was given: only the
// noise of turning it into millimeters and back is taken off.
func (w *writer) given(k string, x float64, unit quantity.Unit) {
	if isLength(unit) {
		x = given(w.system.Length(x))
	}
	w.key(k)
	if math.IsNaN(x) || math.IsInf(x, 0) {
		w.bad = k
		x = 0
	}
	w.buf = strconv.AppendFloat(w.buf, x, 'f', -1, 64)
}

// value writes a value of any unit, rounded as its unit is.
func (w *writer) value(k string, v quantity.Value) {
	switch v.Unit {
	case quantity.Millimeter:
		w.length(k, v.Magnitude)
	case quantity.SquareMillimeter:
		w.area(k, v.Magnitude)
	case quantity.CubicMillimeter:
		w.volume(k, v.Magnitude)
	default:
		w.number(k, v.In(w.system), ratioPlaces)
	}
}

func (w *writer) money(k string, a money.Amount) {
	w.object(k)
	w.text("amount", a.Value.String())
	w.text("currency", a.Currency)
	w.end()
}

// instant writes a time as RFC 3339, in the location it is in.
func (w *writer) instant(k string, t time.Time) {
	w.key(k)
	w.buf = append(w.buf, '"')
	w.buf = t.AppendFormat(w.buf, time.RFC3339)
	w.buf = append(w.buf, '"')
}

// largestInteger is 2^53: up to it a float64 holds every whole number.
const largestInteger = 1 << 53

var powers = [...]float64{1, 10, 100, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// appendDecimal writes a finite x with at most places decimals and no trailing
// zeros, as a whole number of steps: several times cheaper than looking for the
// shortest text of a float.
func appendDecimal(b []byte, x float64, places int) []byte {
	scale := powers[places]
	y := math.Round(x * scale)
	if math.Abs(y) >= largestInteger {
		return strconv.AppendFloat(b, x, 'f', -1, 64)
	}
	n := int64(y)
	if n < 0 {
		b = append(b, '-')
		n = -n
	}
	step := int64(scale)
	b = strconv.AppendInt(b, n/step, 10)
	rest := n % step
	if rest == 0 {
		return b
	}
	b = append(b, '.')
	for rest > 0 {
		step /= 10
		b = append(b, byte('0'+rest/step))
		rest %= step
	}
	return b
}

const hexDigits = "0123456789abcdef"

// appendText writes s as a JSON string.
func appendText(b []byte, s string) []byte {
	b = append(b, '"')
	for i := 0; i < len(s); {
		c := s[i]
		switch {
		case c == '"' || c == '\\':
			b = append(b, '\\', c)
			i++
		case c < 0x20:
			b = append(b, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
			i++
		case c < utf8.RuneSelf:
			b = append(b, c)
			i++
		default:
			r, n := utf8.DecodeRuneInString(s[i:])
			b = utf8.AppendRune(b, r)
			i += n
		}
	}
	return append(b, '"')
}
