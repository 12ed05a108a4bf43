package drawing

import (
	"fmt"
	"math"

	"hatchwright/service/quantity"
)

// Scale is millimeters of paper per millimeter of the thing drawn.
type Scale float64

// scales are those of ISO 5455 (from memory), with 1:2.5 between, which shops use
// (common practice, no source), largest first.
var scales = []Scale{20, 10, 5, 2, 1, 1. / 2, 1. / 2.5, 1. / 5, 1. / 10, 1. / 20, 1. / 50, 1. / 100}

// String writes "2:1" or "1:5".
func (s Scale) String() string {
	switch {
	case s == 0:
		return "none"
	case s >= 1:
		return quantity.Decimal(float64(s), 2) + ":1"
	}
	return "1:" + quantity.Decimal(1/float64(s), 2)
}

// FitScale returns the largest standard scale at which w by h mm go into the room
// of maxW by maxH mm of paper, none above the given limit. What is too large for
// the list is drawn at its least.
func FitScale(w, h, maxW, maxH float64, limit Scale) Scale {
	for _, s := range scales {
		if s <= limit && w*float64(s) <= maxW && h*float64(s) <= maxH {
			return s
		}
	}
	return scales[len(scales)-1]
}

// lengthPlaces are the decimals of lengths on drawings: a hundredth of a
// millimeter and a thousandth of an inch, finer than a rule or caliper in wood.
const (
	metricPlaces = 2
	inchPlaces   = 3
)

// Length writes a length for a drawing: "520 mm", or "20.472 in (20 15/32)", the
// nearest 1/32 in brackets.
func Length(mm float64, s quantity.System) string {
	if s != quantity.Inch {
		return quantity.Decimal(mm, metricPlaces) + " mm"
	}
	in := mm / quantity.MillimetersPerInch
	text := fmt.Sprintf("%.*f in", inchPlaces, in)
	if f := Fraction(in); f != "" {
		text += " (" + f + ")"
	}
	return text
}

// Fraction writes inches to the nearest 1/32, reduced: "20 15/32"; empty where
// nothing is left to say: below 1/64 in, or a whole number.
func Fraction(in float64) string {
	const parts = 32
	n := int(math.Round(math.Abs(in) * parts))
	whole, rest := n/parts, n%parts
	if rest == 0 {
		return ""
	}
	d := parts
	for rest%2 == 0 {
		rest, d = rest/2, d/2
	}
	sign := ""
	if in < 0 {
		sign = "-"
	}
	if whole == 0 {
		return fmt.Sprintf("%s%d/%d", sign, rest, d)
	}
	return fmt.Sprintf("%s%d %d/%d", sign, whole, rest, d)
}

// Degrees writes an angle: "1.5°".
func Degrees(deg float64) string { return quantity.Decimal(deg, 2) + "°" }
