// Package profile holds section profiles, paths of straight lines and tangent
// arcs in the (n, z) plane, and measures the surfaces made by sweeping one round
// an [outline.Outline].
//
// Units are millimetres; angles are radians in [Segment] and degrees where a
// function takes an included angle. n is the outward offset from the reference
// outline, inward negative; z is the depth below the deck plane, down positive:
//
//	  inward          n = 0         outward
//	 <-------------------+-------------------> n
//	                     |________________      z = 0, deck
//	                    (|   edge radius
//	                     |
//	                     |   wall
//	   ledge            /|
//	 ------------------' |   root radius
//	(                    v
//	| trunk wall         z
//
// A turn from +n towards +z is positive; drawn as above, with z down, that is
// clockwise.
//
// # Swept surfaces
//
// With L(n) and A(n) the perimeter and area of the outline offset by n,
//
//	area   = integral of L(n(s)) ds
//	volume = integral of A(n(z)) dz
//
// along the path. L is piecewise linear and A piecewise quadratic in n (see
// [outline.Law]), so on lines and arcs both have closed forms; segments are cut
// where a corner of the outline goes sharp or an edge of it is dropped. For a
// circle these are Pappus's and Guldin's theorems (P. Guldin, Centrobaryca,
// 1641).
//
// # What is refused
//
// Radii whose tangent lengths do not fit their legs ([RadiusTooLargeError], with
// the largest that does), paths with repeated, non-finite or back-turning
// vertices ([DegenerateError]), sweeps further in than the outline goes
// (*[outline.CollapseError]), depths a profile does not reach ([RangeError]) and
// comparisons by depth of profiles that overhang ([OverhangError]).
//
// A Profile is an immutable value and safe for concurrent use.
package profile
