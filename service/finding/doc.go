// Package finding holds what the rules say about a configuration, as data.
//
// A Finding names the rule (code), the place in the configuration (an RFC 6901
// pointer), what was measured, the limit it was held against and the mends: for
// each single parameter that can put it right, the value that does. Findings are
// never errors: a configuration that cannot be made still has a complete list of
// them. Units are the core's (mm, deg, kg, N); the text is put into words only
// when the system of units is known.
//
// The package refuses nothing and reads no source of its own; each finding
// carries the source of its limit.
package finding
