// Package backlog is the shop's open work. It turns orders into what the schedule works
// on: the operation graph kept with an order, what the floor has left of it, and what the
// floor's reports teach about how long work really takes. A Backlog is worked out from a
// Snapshot: the plan, sampled futures, the material that is short. From it come lead
// times, what would shorten them, the shop's schedule and load, the days on which an
// order needs its material, and the cause when a promise moves.
//
// Hours are decimal, of one post with its whole crew; instants are instants. The
// package is pure: the time is an input, and searches ask a function whether to go on. It refuses plans that it cannot read;
// reports that nothing can be learned from are counted and passed over.
//
// Floors skip records. So whoever is recorded as begun or finished vouches for all
// that comes before: those operations are taken as done, though nobody wrote it
// down.
package backlog
