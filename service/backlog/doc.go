// Package backlog turns orders into what the schedule works on: the operation graph
// kept with an order, what the floor has left of it, and what the floor's reports
// teach about how long work really takes.
//
// Hours are decimal, of one post with its whole crew; instants are instants. The
// package is pure: the time is an input. It refuses plans that it cannot read;
// reports that nothing can be learned from are counted and passed over.
//
// Floors skip records. So whoever is recorded as begun or finished vouches for all
// that comes before: those operations are taken as done, though nobody wrote it
// down.
package backlog
