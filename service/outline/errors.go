package outline

import "fmt"

// RadiusTooLargeError says that the tangent lengths of the corners at the two
// ends of an edge overlap.
type RadiusTooLargeError struct {
	// Corner is the index, in the order the caller gave, of the corner whose
	// radius is to be made smaller; -1 where one radius was asked of the whole
	// shape.
	Corner int
	// Radius is what was asked for, mm.
	Radius float64
	// Largest is the largest that fits, mm: with all other radii held when
	// Corner is an index, else the largest the whole shape takes.
	Largest float64
	// Common is the largest radius, mm, that fits when given to every corner.
	Common float64
}

func (e *RadiusTooLargeError) Error() string {
	if e.Corner < 0 {
		return fmt.Sprintf("outline: corner radius %g mm does not fit; the largest that does is %g mm", e.Radius, e.Largest)
	}
	return fmt.Sprintf("outline: radius %g mm of corner %d does not fit on its edges; with the others as they are the largest that does is %g mm", e.Radius, e.Corner, e.Largest)
}

// ReflexError says that a corner turns the wrong way, so that the shape is not
// convex. Corner is its index in the order the caller gave.
type ReflexError struct {
	Corner int
	At     Point
}

func (e *ReflexError) Error() string {
	return fmt.Sprintf("outline: corner %d at (%g, %g) is reflex; outlines are convex", e.Corner, e.At.X, e.At.Y)
}

// CollapseError says that an inward offset leaves no outline.
type CollapseError struct {
	// Inset is what was asked for, mm, positive inward.
	Inset float64
	// Largest, mm, is the inset at which the shape stops being an outline; any
	// inset below it by more than rounding works.
	Largest float64
	// Edge is -1 when no area is left at Largest; else the straight part of the
	// edge from corner Edge to the next is used up there while one of its two
	// corners is still round.
	Edge int
}

func (e *CollapseError) Error() string {
	if e.Edge >= 0 {
		return fmt.Sprintf("outline: inset by %g mm the straight part of edge %d is used up beside a corner that is still round; insets below %g mm work", e.Inset, e.Edge, e.Largest)
	}
	return fmt.Sprintf("outline: nothing is left when inset by %g mm; insets below %g mm work", e.Inset, e.Largest)
}

// Reason says in what way corners are no outline.
type Reason string

// The reasons of a [DegenerateError].
const (
	TooFewCorners  Reason = "fewer than three corners that turn"
	NotFinite      Reason = "a coordinate or radius is not a finite number"
	TooLarge       Reason = "a coordinate or radius is above the largest taken"
	NegativeRadius Reason = "a radius is negative"
	RepeatedCorner Reason = "a corner lies on the one before it"
	Spike          Reason = "a corner is a needle that turns back on itself"
	NoArea         Reason = "the corners enclose no area"
	Crossing       Reason = "the edges cross one another"
)

// DegenerateError says that corners are no outline at all. Corner is the index
// of the corner at fault in the order the caller gave, -1 where it is the whole.
type DegenerateError struct {
	Corner int
	Reason Reason
}

func (e *DegenerateError) Error() string {
	if e.Corner < 0 {
		return "outline: " + string(e.Reason)
	}
	return fmt.Sprintf("outline: %s (corner %d)", e.Reason, e.Corner)
}

// DimensionError says that a dimension of a shape is not a positive finite
// number in the range taken (a radius may be zero).
type DimensionError struct {
	Name  string // "length", "width", "width_aft", "width_fwd", "diameter", "radius", "scale", "offset"
	Value float64
}

func (e *DimensionError) Error() string {
	return fmt.Sprintf("outline: %s %g is out of range; it must be positive and at most %g", e.Name, e.Value, float64(MaxCoordinate))
}

// ProportionError says that a shape is too short for its width. LeastLength is
// the least length, mm, that works with that width. An obround shorter than it
// is wide is usually one whose length and width were swapped.
type ProportionError struct {
	Shape         string // "obround" or "dee"
	Length, Width float64
	LeastLength   float64
}

func (e *ProportionError) Error() string {
	if e.Shape == "obround" {
		return fmt.Sprintf("outline: obround length %g mm is less than its width %g mm; swap them", e.Length, e.Width)
	}
	return fmt.Sprintf("outline: %s of width %g mm needs a length of %g mm or more, not %g mm", e.Shape, e.Width, e.LeastLength, e.Length)
}

// SyntaxError says where [Parse] could not read on.
type SyntaxError struct {
	Offset int // bytes from the start
	Want   string
}

func (e *SyntaxError) Error() string {
	return fmt.Sprintf("outline: at byte %d: want %s", e.Offset, e.Want)
}
