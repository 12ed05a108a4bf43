// Package outline holds the one plan shape everything else is made of: a
// closed convex curve of straight edges and tangent corner arcs, that is a
// convex polygon with a radius at each corner.
//
// Units are millimetres throughout; turn angles are radians where a docstring
// says so and degrees in [Outline.Rotate]. x runs along the boat, positive
// forward; y runs athwartships, positive to port. Corners go round
// counter-clockwise, seen with x to the right and y up:
//
//	y
//	^   3 <----------- 2       At of a corner is where its two edges would
//	|   |  .---------. ^       meet were they not rounded; Radius is the arc
//	|   v (           )|       put there, tangent to both edges.
//	|   0 -----------> 1
//	+-----------------------> x
//
// For a corner of interior angle t (turn angle p = pi - t) and radius r:
//
//	tangent length  r / tan(t/2)             = r tan(p/2)
//	arc length      r (pi - t)               = r p
//	area lost       r^2 (1/tan(t/2) - (pi - t)/2)
//
// (elementary trigonometry; any handbook's "fillet between two lines").
//
// # Offsets
//
// [Outline.Offset] moves every edge d along its outward normal and makes every
// radius max(r + d, 0); a corner whose radius is used up is sharp, and the
// result is then the exact mitred one. An edge between two sharp corners that
// vanishes is dropped, in the order the edges vanish. While no corner has gone
// sharp the parallel-curve law holds (J. Steiner, 1840; see L. A. Santalo,
// Integral Geometry and Geometric Probability, 1976, I.1):
//
//	L(d) = L + 2 pi d        A(d) = A + L d + pi d^2
//
// Past that, L is piecewise linear and A piecewise quadratic; [Outline.Law]
// gives the pieces, exactly.
//
// # What is refused
//
// Reflex corners ([ReflexError]), radii whose tangent lengths overlap
// ([RadiusTooLargeError], with the largest that fits), crossing, repeated,
// non-finite or area-less corners ([DegenerateError]), dimensions that are not
// positive ([DimensionError]), lengths too short for a shape
// ([ProportionError]), and inward offsets that leave no outline
// ([CollapseError], with the largest that does).
//
// Two kinds of inward offset leave no outline. Either no area is left, or the
// straight part of an edge is used up while the corner at one of its ends is
// still round: the true inset then meets an arc at an angle, which is no longer
// a curve of tangent lines and arcs. Both are refused; no approximate shape is
// ever returned.
//
// An Outline is an immutable value and safe for concurrent use. The zero
// Outline has no corners and measures nothing.
package outline
