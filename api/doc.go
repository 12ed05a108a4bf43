// Package api is the HTTP surface: it turns requests into calls of the use cases
// and their results into answers, after openapi/openapi.yaml.
//
// Lengths arrive in the unit that a document names and are millimeters from here
// inward; they are turned back and rounded once, here, when an answer is written.
// A configuration crosses by the table part.Parameters, in both directions, so
// that a figure cannot be known on one side only.
//
// It refuses, with a problem that points at each place: bodies that are not JSON
// in UTF-8, that have something after their end or a key twice, that nest deeply,
// that are larger than 1 MiB or break the document; figures out of any sensible
// range; figures that mean nothing for what is asked. What reads well but cannot
// be made is answered with findings.
//
// routes.go is the table of routes, problems.go the only map from faults to
// statuses, made.go the table of what changes are answered with. Plain records are
// structs (record.go), derivations and findings are written by writer.
package api
