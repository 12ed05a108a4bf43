package profile

import "fmt"

// RadiusTooLargeError says that the arc at a vertex does not fit on its legs.
type RadiusTooLargeError struct {
	Vertex  int     // index of the vertex at fault
	Name    string  // its name
	Radius  float64 // what was asked for, mm
	Largest float64 // the largest that fits with the other radii held, mm
}

func (e *RadiusTooLargeError) Error() string {
	return fmt.Sprintf("profile: radius %g mm at vertex %d %q does not fit on its legs; the largest that does is %g mm", e.Radius, e.Vertex, e.Name, e.Largest)
}

// Reason says in what way vertices are no profile.
type Reason string

// The reasons of a [DegenerateError].
const (
	TooFewVertices Reason = "fewer than two vertices"
	NotFinite      Reason = "a coordinate or radius is not a finite number"
	TooLarge       Reason = "a coordinate or radius is above the largest taken"
	NegativeRadius Reason = "a radius is negative"
	RepeatedVertex Reason = "a vertex lies on the one before it"
	RoundedEnd     Reason = "the first and last vertex can not have a radius"
	TurnsBack      Reason = "the path turns straight back on itself"
)

// DegenerateError says that vertices are no profile. Vertex is the index of the
// one at fault, -1 where it is the whole.
type DegenerateError struct {
	Vertex int
	Name   string
	Reason Reason
}

func (e *DegenerateError) Error() string {
	if e.Vertex < 0 {
		return "profile: " + string(e.Reason)
	}
	return fmt.Sprintf("profile: %s (vertex %d %q)", e.Reason, e.Vertex, e.Name)
}

// Role tells the two profiles of a comparison apart.
type Role string

// The roles.
const (
	Outer Role = "outer"
	Inner Role = "inner"
)

// RangeError says that a profile does not cover a range of depths, Z0 to Z1, mm,
// or that the range is empty.
type RangeError struct {
	Role   Role
	Z0, Z1 float64
	// Low and High are the least and greatest depth the profile reaches.
	Low, High float64
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("profile: the %s profile runs from depth %g to %g mm and can not be compared from %g to %g mm", e.Role, e.Low, e.High, e.Z0, e.Z1)
}

// OverhangError says that a profile passes a depth more than once, so that it
// has no one offset there.
type OverhangError struct {
	Role Role
	Z    float64 // a depth it passes more than once, mm
}

func (e *OverhangError) Error() string {
	return fmt.Sprintf("profile: the %s profile overhangs: it passes depth %g mm more than once", e.Role, e.Z)
}
