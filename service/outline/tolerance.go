package outline

import "math"

// The tolerances below are relative to the size of an outline, which is the
// greater of its extent and its largest coordinate: rounding of a coordinate
// grows with the coordinate, so tolerances must too.
const (
	// fitTolerance is how much of the size the tangent lengths on an edge may
	// overlap and still count as touching, and how long an edge must be not to
	// count as a repeated corner. Rounding a coordinate loses 1e-16 of the size;
	// the chain of conversions and offsets a shape passes through loses a few
	// hundred times that, and a million times that is still a nanometre over a
	// metre, a hundred thousandth of what any shop can measure.
	fitTolerance = 1e-9

	// fitFloor, mm, is the least fitTolerance ever means. A shape inset to
	// almost nothing keeps the rounding errors of the large shape it came from;
	// a picometre is above those for any shape under a kilometre.
	fitFloor = 1e-9

	// collinearTolerance is how far, as a part of the size, a corner may lie
	// from the line through its neighbours and still be on it. It is ten
	// thousand times the rounding of a coordinate, yet a two-hundred-thousandth
	// of the sagitta at a corner of a regular 10,000-gon.
	collinearTolerance = 1e-12

	// sliverTolerance is the least area, as a part of the extent squared, that
	// counts as area. Thinner shapes have edges whose directions are mostly
	// rounding error.
	sliverTolerance = 1e-9

	// forcedReach is how many times fitTolerance a corner may move when an edge
	// shorter than twice fitTolerance is dropped ahead of its time: up to a turn
	// of some 160 degrees between the neighbours.
	forcedReach = 10

	// needleAngle, radians, is the least interior angle of a corner: a needle ten
	// thousand times as long as it is wide. The tangent length of a radius is
	// r/tan(t/2), so a sharper corner carries its arc, and the rounding of its
	// edges' directions with it, hundreds of meters off; nobody lays glass there.
	needleAngle = 1e-4

	// chordFloor is the least chord error [Outline.Sample] works to, as a part
	// of the arc's radius: about 55,000 points to a quarter circle, so that a
	// careless argument can not ask for all memory.
	chordFloor = 1e-10
)

const (
	// MaxCoordinate, mm, is the largest coordinate or radius taken: a thousand
	// kilometres. It keeps squares and products far from overflow.
	MaxCoordinate = 1e9

	// MinExtent, mm, is the least extent of an outline: a nanometre.
	MinExtent = 1e-6
)

// fit returns the absolute tolerance, mm, for lengths along the edges of an
// outline of the given size.
func fit(size float64) float64 { return math.Max(fitTolerance*size, fitFloor) }
