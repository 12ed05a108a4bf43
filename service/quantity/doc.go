// Package quantity names the units that figures carry and turns them into text
// and wire numbers.
//
// Inside the core every length is in millimeters, every angle in degrees, every
// mass in kilograms. A Value keeps its unit beside its magnitude, so that a
// finding or a drawing can be put into words in either system of units. The
// package refuses nothing: a Value is any finite number with a unit.
//
// Source of the factor: the international inch is 25.4 mm exactly (ISO 80000-3).
package quantity
