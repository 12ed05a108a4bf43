// Package register tells molds apart and finds those that would do: the face of a
// mold, its fingerprint for reuse of the very same one, and how far a mold is off
// the one that is asked for.
//
// Lengths are mm, angles degrees. Outlines lie in plan as in package outline,
// sections as in package profile: n outward, z down from the deck plane.
//
// What decides a face is the outlines it is built about and its section. Boards,
// filler, laminate and gelcoat do not: two hatches of different glass come out of
// one mold. Faces that can be laid on each other by moving and by turning through
// right angles are the same; mirrored ones are not.
//
// How far a mold is off is one number, the most that any size of the hatch that
// comes out of it differs from what was asked:
//
//	off = max( 2 H(outline, outline'),  |n - n'|, |z - z'|, |r - r'| of the section )
//
// with H the Hausdorff distance of the outlines laid middle on middle: an edge
// that is off by H on both sides makes a size off by 2 H.
//
// It refuses nothing: a mold of another kind, pattern or make-up is simply none
// that would do.
//
// Source: the rule that a size may be off is the customer's own; the distance of
// convex outlines by their support functions is theorem 1.8.11 of R. Schneider,
// Convex Bodies: The Brunn-Minkowski Theory, 2nd ed., Cambridge 2014 (from
// memory).
package register
