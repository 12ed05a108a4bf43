// Package shop holds the shop's own data: its profile (limits, defaults,
// standard laminates, tool crib, sheets, calendar, work centers, rates), its
// materials and its price book. Each is a document with a version; an answer says
// which versions it was worked out from.
//
// The documents are always metric: millimeters, degrees Celsius, kilograms,
// square meters where a key says so, hours. Decoding refuses unknown keys,
// figures that are not finite, rows without a key and references to rows that
// are not there.
//
// Example returns the documents of an invented shop. Its rates, waste, prices and
// transfer efficiencies are invented too, within the ranges that are common
// practice; its material properties name their sources row by row.
package shop
