// Package civil holds the date of a calendar on the wall: a year, a month and a day
// with no time and no zone, as a shop speaks of one.
//
// Dates are those of the Gregorian calendar, written as ISO 8601 has them, 2026-03-08.
// An instant becomes a date, and a date an instant, in a *time.Location that the caller
// names; nothing here reads a clock. What is no date is refused with an error; Valid
// says whether one that was put together by hand exists.
package civil
