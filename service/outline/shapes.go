package outline

import (
	"errors"
	"math"
)

func positive(name string, v float64) error {
	if !(v >= MinExtent && v <= MaxCoordinate) {
		return &DimensionError{name, v}
	}
	return nil
}

func radiusInRange(r float64) error {
	if !(r >= 0 && r <= MaxCoordinate) {
		return &DimensionError{"radius", r}
	}
	return nil
}

// Rectangle returns a rectangle centred on the origin, length along x, width
// along y, all four corners of the given radius, mm.
//
// Errors: *[DimensionError]; *[RadiusTooLargeError] with the largest common
// radius, which is half the shorter side.
func Rectangle(length, width, radius float64) (Outline, error) {
	if err := errors.Join(positive("length", length), positive("width", width), radiusInRange(radius)); err != nil {
		return Outline{}, first(err)
	}
	x, y := length/2, width/2
	return whole(radius, math.Min(x, y), []Corner{
		{Point{-x, -y}, radius}, {Point{x, -y}, radius}, {Point{x, y}, radius}, {Point{-x, y}, radius}})
}

// Obround returns a rectangle with half-round ends, centred on the origin, mm.
//
// Errors: *[DimensionError]; *[ProportionError] when length < width.
func Obround(length, width float64) (Outline, error) {
	if err := errors.Join(positive("length", length), positive("width", width)); err != nil {
		return Outline{}, first(err)
	}
	if length < width {
		return Outline{}, &ProportionError{"obround", length, width, width}
	}
	return Rectangle(length, width, width/2)
}

// Circle returns a circle about the origin, mm: a square whose corner radius is
// half its side. Errors: *[DimensionError].
func Circle(diameter float64) (Outline, error) {
	if err := positive("diameter", diameter); err != nil {
		return Outline{}, err
	}
	return Rectangle(diameter, diameter, diameter/2)
}

// Dee returns a rectangle whose forward end (+x) is half round and whose two
// after corners have the given radius, centred on the origin, mm.
//
//	 .---------._
//	(            \
//	|             )  -> x
//	(            /
//	 '---------'-
//
// Errors: *[DimensionError]; *[ProportionError] when length < width/2;
// *[RadiusTooLargeError] with the largest radius for the after corners.
func Dee(length, width, radius float64) (Outline, error) {
	if err := errors.Join(positive("length", length), positive("width", width), radiusInRange(radius)); err != nil {
		return Outline{}, first(err)
	}
	if length < width/2 {
		return Outline{}, &ProportionError{"dee", length, width, width / 2}
	}
	x, y := length/2, width/2
	return whole(radius, math.Min(y, length-y), []Corner{
		{Point{-x, -y}, radius}, {Point{x, -y}, y}, {Point{x, y}, y}, {Point{-x, y}, radius}})
}

// Taper returns an isosceles trapezoid centred on the origin, its after edge of
// width widthAft at -x and its forward edge of width widthFwd at +x, all corners
// of the given radius, mm. Widths are of the sharp corners.
//
// Errors: *[DimensionError]; *[RadiusTooLargeError] with the largest common
// radius.
func Taper(length, widthAft, widthFwd, radius float64) (Outline, error) {
	if err := errors.Join(positive("length", length), positive("width_aft", widthAft),
		positive("width_fwd", widthFwd), radiusInRange(radius)); err != nil {
		return Outline{}, first(err)
	}
	x, a, f := length/2, widthAft/2, widthFwd/2
	return whole(radius, -1, []Corner{
		{Point{-x, -a}, radius}, {Point{x, -f}, radius}, {Point{x, f}, radius}, {Point{-x, a}, radius}})
}

// whole is New for a shape with one radius to choose: a radius that does not fit
// is reported as the shape's, with the largest given, or the largest common one
// when that is negative.
func whole(radius, largest float64, corners []Corner) (Outline, error) {
	o, err := New(corners)
	var tooLarge *RadiusTooLargeError
	if errors.As(err, &tooLarge) {
		if largest < 0 {
			largest = tooLarge.Common
		}
		return Outline{}, &RadiusTooLargeError{Corner: -1, Radius: radius, Largest: largest, Common: tooLarge.Common}
	}
	return o, err
}

// first returns the first of joined errors.
func first(err error) error {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		return joined.Unwrap()[0]
	}
	return err
}
