// Package drawing draws a hatch: plan, section and what else a shop works from,
// as one drawing model of lines, arcs, hatching, text and dimensions on sheets of
// paper, which every format is rendered from.
//
// A sheet's figures are millimeters of paper, x to the right and y down from the
// upper left corner. A [View] maps a model's millimeters onto it at a scale of
// the standard list. What is drawn comes from the same outlines and profiles that
// the numbers come from: no offset is made here that the core has not made, but the
// middle line of a gutter's floor, on which drains are proposed.
//
//	sheet                                   model, plan       model, section
//	+---------------------------> x           y                  +--------> n
//	|   view     view                         ^                  |
//	|                                         |                  |
//	|  title block                            +-----> x          v
//	v                                        (forward)           z, depth
//	y
//
// Meaning is carried by line types, widths and words, never by color. Lengths are
// written in mm, or in decimal inches with the nearest 1/32 beside. The bytes of
// a drawing depend on the request alone: the date is the caller's.
//
// # Renderers
//
// Rendered with own writers for SVG, PNG and DXF and with go-pdf/fpdf for PDF.
// tdewolff/canvas was tried on the section drawing: its SVG is 424 kB with its
// fonts in it and takes 43 ms (23 kB, 6 ms without), against 25 kB and 0.1 ms; its
// PDF is 21 kB in 7 ms against 32 kB in 9 ms, its PNG at 150 dpi 137 kB in 170 ms
// against 74 kB in 35 ms. It gains nothing here and sets ligatures, which break
// text search.
//
// Formats: SVG and PNG hold one sheet, PDF all of them, DXF the shapes in model
// space (R12 ASCII). Sources: line types and scales after ISO 128 and ISO 5455
// (values from memory), the rest is the shop's own.
package drawing
