package api

import (
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"hatchwright/service/fault"
	"hatchwright/service/quantity"
)

// TestAppendDecimal holds the writer's numbers against strconv, digit by digit.
func TestAppendDecimal(t *testing.T) {
	for _, x := range []float64{0, math.Copysign(0, -1), 1, -1, 0.5, 0.0005, -0.0005, 0.00049999, 123.456, 1e15, 1e16, -1e17, 1e300, 5e-324, 0.1, 0.2 + 0.1, 2.675, 999.9995} {
		same(t, x, 3)
	}
	rapid.Check(t, func(t *rapid.T) {
		same(t, rapid.Float64Range(-1e9, 1e9).Draw(t, "x"), rapid.IntRange(0, 6).Draw(t, "places"))
	})
}

type reporter interface {
	Helper()
	Errorf(string, ...any)
}

func same(t reporter, x float64, places int) {
	t.Helper()
	got := string(appendDecimal(nil, x, places))
	y, err := strconv.ParseFloat(got, 64)
	step := math.Pow10(-places)
	if err != nil || math.Abs(y-x) > step/2*(1+1e-9)+math.Abs(x)*1e-15 {
		t.Errorf("%v to %d places is written %s", x, places, got)
	}
	if !json.Valid([]byte(got)) || got == "-0" {
		t.Errorf("%v is written %s", x, got)
	}
	// Halves may go either way in the two; anything else is the same text.
	if off := math.Abs(math.Mod(math.Abs(x)/step, 1) - 0.5); off > 1e-6 && math.Abs(x) < 1e9 {
		if want := quantity.Decimal(x, places); got != want {
			t.Errorf("%v to %d places is written %s, strconv says %s", x, places, got, want)
		}
	}
}

// TestAppendText holds the writer's texts against encoding/json.
func TestAppendText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Draw(t, "s")
		got := appendText(nil, s)
		var back string
		if err := json.Unmarshal(got, &back); err != nil || back != s && utf8.ValidString(s) {
			t.Errorf("%q is written %s: %v", s, got, err)
		}
	})
	if got := string(appendText(nil, "a\"b\\c\n\x00é\xff")); got != `"a\"b\\c\u000a\u0000é`+"\ufffd\"" {
		t.Errorf("%s", got)
	}
}

// TestNotFinite makes sure that a figure which is no number becomes an error, not
// an answer.
func TestNotFinite(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		w := newWriter(quantity.Metric)
		w.object("")
		w.length("gap", x)
		w.end()
		_, err := w.copy()
		var f *fault.Error
		if !errors.As(err, &f) || f.Kind != fault.Internal {
			t.Errorf("%v: %v", x, err)
		}
		w.free()
		w = newWriter(quantity.Inch)
		w.given("gap", x, quantity.Millimeter)
		if w.err() == nil {
			t.Errorf("given %v passes", x)
		}
		w.free()
	}
}
