package profile

const (
	// fitTolerance is how much of its leg the tangent lengths at a leg's ends may
	// overlap, as a part of the profile's size, and still count as touching; it
	// is a million times the rounding of a coordinate, a nanometre in a metre.
	fitTolerance = 1e-9

	// straightTolerance, radians: a turn smaller than this is none, and its
	// vertex is passed without an arc. Over a metre of leg it is a nanometre.
	straightTolerance = 1e-9

	// depthTolerance is how far a depth may lie from the end of a segment, as a
	// part of the profile's size, and still be that end: some tens of roundings
	// of a coordinate. It is kept so small because an arc that runs out level
	// moves sideways by the square root of what its depth is off by: for an arc
	// of 6 mm at 20 mm depth, 1.6e-6 mm.
	depthTolerance = 1e-14

	// MaxCoordinate, mm, is the largest coordinate or radius taken.
	MaxCoordinate = 1e9
)
