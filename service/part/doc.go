// Package part holds what a customer asks for and what it means: a
// configuration, completed from the shop's defaults, turned into plan outlines
// and section profiles, and ruled on.
//
// Lengths are millimeters, angles degrees. Plan axes: x along the boat, y
// athwartships. Section axes: n outward from the reference outline, z down from
// the deck plane. The reference outline R0 is the theoretical sharp intersection
// of the flange plane (z = 0) and the recess wall.
//
//	           flange      R0
//	z = 0  ─────────────╮  │        ╭──────────────  lid, top at z = 0
//	                    │  ┊  gap   │
//	                    │           │ skirt, h = D - s
//	z = D               ╰───────────┴──╮  ledge, seal under the skirt's foot
//	                                   │
//	z = D + H                          │  trunk, trimmed open
//	        n > 0       n = 0      n < 0
//
// What cannot be made is told as findings, never as an error; errors are left for
// a program that breaks a rule of this package. Limits whose source is not a
// published one say so in the finding itself.
package part
