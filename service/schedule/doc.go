// Package schedule answers when work is finished: shop calendars, operation
// graphs placed on work centers of finite capacity, and the spread of the
// finish date under uncertain durations.
//
// Units and axes: durations are time.Duration, instants are time.Time; nothing
// here reads a clock, every instant is an input. Local dates and shift hours
// are wall-clock figures in the calendar's *time.Location; work is always real
// elapsed time, so a night shift over the spring change is an hour shorter.
//
// Two kinds of time pass in an operation. Labor runs only inside the shifts of
// its work center, stops at a shift's end and goes on at the next start; work that
// must not be broken off waits for a run of shifts that holds all of it.
// Waiting (gel, cure, drying) runs by the clock through nights and weekends.
//
//	Fri 08      16 |  Sat      Sun  | Mon 08
//	 [== labor ==].|................|.[labor goes on
//	             [~~~~~~ cure ~~~~~~~~]
//
// It refuses, with typed errors that name the culprit: a calendar without
// hours, overlapping shifts, reversed or endless closures, negative durations,
// unknown work centers and predecessors, and cycles in a routing.
//
// Serial places jobs on the centers; Verify checks a schedule by instants
// alone; Improve searches other orders on a budget of schedules; Load sums the
// work by day. NewProfiles samples the shop's free capacity under a backlog and
// Place answers one request from it with percentiles; Calibration learns how
// long work really takes and Coverage counts whether the percentiles held.
// Package rcpsp beside this one is another search, for projects in whole periods, held to
// published instances; nothing here uses it yet.
//
// Every function is deterministic: the same input gives the same bytes, random
// draws come from a seed that is an argument.
package schedule
