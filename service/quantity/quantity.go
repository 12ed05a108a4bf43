package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// MillimetersPerInch is the international inch, exact (ISO 80000-3).
const MillimetersPerInch = 25.4

// System is the system of units that a document speaks.
type System uint8

const (
	// Metric documents carry lengths in millimeters.
	Metric System = iota
	// Inch documents carry lengths in decimal inches.
	Inch
)

// ParseSystem reads the wire's name of a system: "mm" or "in".
func ParseSystem(name string) (System, error) {
	switch name {
	case "mm":
		return Metric, nil
	case "in":
		return Inch, nil
	}
	return Metric, fmt.Errorf("units %q: write \"mm\" or \"in\"", name)
}

// String returns the wire's name of the system: "mm" or "in".
func (s System) String() string {
	if s == Inch {
		return "in"
	}
	return "mm"
}

// Step returns the rounding step of lengths on the wire, in the system's own
// unit: 0.001 mm or 0.00001 in.
func (s System) Step() float64 {
	if s == Inch {
		return 0.00001
	}
	return 0.001
}

// Places returns the decimals of lengths on the wire: 3 for mm, 5 for inches.
func (s System) Places() int {
	if s == Inch {
		return 5
	}
	return 3
}

// Length returns a length of mm millimeters in the system's own unit, unrounded.
func (s System) Length(mm float64) float64 {
	if s == Inch {
		return mm / MillimetersPerInch
	}
	return mm
}

// Millimeters returns a length given in the system's own unit in millimeters.
func (s System) Millimeters(length float64) float64 {
	if s == Inch {
		return length * MillimetersPerInch
	}
	return length
}

// Unit is the unit of a Value, written as it appears on the wire of a metric
// document.
type Unit string

// The units that the core speaks.
const (
	Millimeter       Unit = "mm"
	SquareMillimeter Unit = "mm2"
	CubicMillimeter  Unit = "mm3"
	// MillimeterPerHour is rain.
	MillimeterPerHour Unit = "mm/h"
	Degree            Unit = "deg"
	Kilogram          Unit = "kg"
	Newton            Unit = "N"
	Kilopascal        Unit = "kPa"
	Celsius           Unit = "C"
	Percent           Unit = "%"
	Hour              Unit = "h"
	Day               Unit = "d"
	Minute            Unit = "min"
	Second            Unit = "s"
	Ratio             Unit = "ratio"
	Count             Unit = "count"
)

// power returns the power of length in the unit: 1, 2, 3, or 0 for a unit that
// is the same in both systems.
func (u Unit) power() int {
	switch u {
	case Millimeter, MillimeterPerHour:
		return 1
	case SquareMillimeter:
		return 2
	case CubicMillimeter:
		return 3
	default:
		return 0
	}
}

// IsLength reports whether a value of the unit is a length, or a length per hour.
func (u Unit) IsLength() bool { return u.power() == 1 }

// In returns the unit's name in the given system: "mm2" becomes "in2".
func (u Unit) In(s System) Unit {
	if s == Inch && u.power() > 0 {
		return "in" + u[len("mm"):]
	}
	return u
}

// Value is a magnitude with its unit.
type Value struct {
	Magnitude float64
	Unit      Unit
}

// Length makes a value of millimeters.
func Length(mm float64) Value { return Value{mm, Millimeter} }

// Angle makes a value of deg degrees.
func Angle(deg float64) Value { return Value{deg, Degree} }

// Of makes a value of any unit.
func Of(magnitude float64, unit Unit) Value { return Value{magnitude, unit} }

// In returns the magnitude in the given system's unit, unrounded.
func (v Value) In(s System) float64 {
	if s == Inch {
		switch v.Unit.power() {
		case 1:
			return v.Magnitude / MillimetersPerInch
		case 2:
			return v.Magnitude / (MillimetersPerInch * MillimetersPerInch)
		case 3:
			return v.Magnitude / (MillimetersPerInch * MillimetersPerInch * MillimetersPerInch)
		}
	}
	return v.Magnitude
}

// Text writes the value for a person: at most three decimals of a millimeter,
// four of an inch, with its unit; a ratio and a count stand bare.
func (v Value) Text(s System) string {
	places := 3
	switch {
	case v.Unit.power() > 1:
		places = 1
	case s == Inch && v.Unit.power() == 1:
		places = 4
	case v.Unit == Degree || v.Unit == Percent || v.Unit == Ratio || v.Unit == Hour:
		places = 2
	}
	text := Decimal(v.In(s), places)
	switch v.Unit {
	case Ratio, Count:
		return text
	case Degree:
		return text + "°"
	case Percent:
		return text + " %"
	case Celsius:
		return text + " °C"
	default:
		return text + " " + string(v.Unit.In(s))
	}
}

// Decimal writes x with at most places decimals and no trailing zeros.
func Decimal(x float64, places int) string {
	text := strconv.FormatFloat(x, 'f', places, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}

// Direction says which way a figure may be rounded without changing what it
// promises: a smallest allowed value only up, a largest allowed one only down.
type Direction int8

const (
	// Nearest rounds half away from zero.
	Nearest Direction = 0
	// Up rounds towards plus infinity.
	Up Direction = 1
	// Down rounds towards minus infinity.
	Down Direction = -1
)

// roundSlack is the share of a step that counts as the step itself when a value
// is rounded up or down: 0.3 mm kept as 0.30000000000000004 must not become
// 0.301. It is far above float64 noise (1e-16 relative on lengths up to 1e4 mm
// is 1e-9 of a step) and far below any dimension a shop can measure.
const roundSlack = 1e-6

// Round rounds x to a whole number of steps of 10^-places in the given direction.
func Round(x float64, places int, d Direction) float64 {
	scale := math.Pow10(places)
	y := x * scale
	switch d {
	case Up:
		y = math.Ceil(y - roundSlack)
	case Down:
		y = math.Floor(y + roundSlack)
	default:
		y = math.Round(y)
	}
	if y == 0 {
		return 0 // no negative zero on the wire
	}
	return y / scale
}
