// Package packet makes the shop packet of a hatch: one PDF that a person can work
// from at the bench, from the saw to the inspection.
//
// Pages, in order: cover (verdict, findings, cautions, contents), drawings, cut
// list and sheets, router steps, mold build sheets, stack section and laminate
// sheets, mixes over the shop's temperature, operations with boxes for actual
// times, inspection sheet with limits and boxes, buy list, templates at full size.
// Every page bears the configuration's digest, the date
// and its number; every figure its unit; nothing depends on color.
//
// Prices are not in it: it lies about in the shop. The bytes depend on the request
// alone. Lengths inside are millimeters, masses kilograms, labor
// hours.
package packet
