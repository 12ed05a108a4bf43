// Package fault holds the kinds of failure that a use case can end in, so that
// every caller (the HTTP API, the command line) tells them apart the same way.
//
// A fault is about a request or the service's state. What the rules say of a
// hatch is never a fault: see package finding. The package refuses nothing.
package fault
